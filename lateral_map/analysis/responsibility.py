"""Who answers for which stretch of the pipe, and so who is to be asked about what?"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from lateral_map.model.boundaries import deciding_crossings, parties_named
from lateral_map.model.past import measure_past
from lateral_map.model.results import (
    Crossing,
    FindingResult,
    PartyLetter,
    PlaceAlong,
    ResponsibilityStretch,
)
from lateral_map.model.route import Route
from lateral_map.model.site import Boundary, Site


@dataclass(frozen=True, slots=True)
class _Change:
    """A footage where another party takes over, or several that the boundaries name."""

    footage_m: float
    sd_m: float
    line: str
    parties: tuple[str, ...]


def share_responsibility(
    route: Route,
    crossings: Iterable[Crossing],
    along: Sequence[PlaceAlong] = (),
) -> tuple[ResponsibilityStretch, ...]:
    """Return the stretches of the run and who answers for each; empty where no boundary decides.

    The run's own ends carry no sd; in between, a stretch ends at a crossing of a deciding boundary,
    as sure as that crossing is. Round places ``along`` it, in order, at which several may answer
    nobody is named. Nor is anybody where the boundaries contradict each other.
    """
    site = route.site
    deciding = {b.key: b for b in site.deciding_boundaries()}
    if not deciding:
        return ()
    met = deciding_crossings(site, crossings)
    first, *after = parties_named(site, met)
    if not first:  # all of the run lies where its end does
        past = [b for b in deciding.values() if b.kind == "line" and _is_past(route, b)]
        first = (past[-1].outside if past else next(iter(deciding.values())).inside,)
    changes = [_Change(site.counter.zero_m, 0.0, "", first)]
    changes += [
        _Change(one.footage_m, one.sd_footage_m, one.line, parties)
        for one, parties in zip(met, after, strict=True)
    ]
    changes.append(_Change(site.run.end_m, 0.0, "", ()))
    stretches: list[ResponsibilityStretch] = []
    for begin, end in itertools.pairwise(changes):
        # Beyond the main at the run's own end nothing was seen.
        if round(end.footage_m - begin.footage_m, 6) <= 0.0 and len(changes) > 2:
            continue
        several = _several(site, begin.parties)
        stretches.append(
            ResponsibilityStretch(
                from_m=begin.footage_m,
                to_m=end.footage_m,
                party="" if several else begin.parties[0],
                sd_from_m=begin.sd_m,
                sd_to_m=end.sd_m,
                line_from=begin.line,
                line_to=end.line,
                may_answer=several,
            )
        )
    return _joined(part for stretch in stretches for part in _opened(stretch, along, site))


def _joined(parts: Iterable[ResponsibilityStretch]) -> tuple[ResponsibilityStretch, ...]:
    """Return parts in order, neighbours for which the same parties answer as one."""
    joined: list[ResponsibilityStretch] = []
    for part in parts:
        if joined and joined[-1].parties == part.parties:
            joined[-1] = replace(
                joined[-1], to_m=part.to_m, sd_to_m=part.sd_to_m, line_to=part.line_to
            )
        else:
            joined.append(part)
    return tuple(joined)


def _opened(
    stretch: ResponsibilityStretch, along: Sequence[PlaceAlong], site: Site
) -> Iterator[ResponsibilityStretch]:
    """Yield a stretch's parts, halfway between places of which one is told and the other not."""
    places = [one for one in along if stretch.from_m <= one.footage_m <= stretch.to_m]
    # Near a crossing its own range tells the doubt: what is open up to there is open up to it.
    apart = [
        one
        for one in places
        if not one.near_crossing
        or (len(one.parties) > 1 and stretch.from_m < one.footage_m < stretch.to_m)
    ]
    inside = [(one.footage_m, _several(site, one.parties)) for one in apart or places]
    if not any(may for _, may in inside):
        yield stretch
        return
    begin = stretch
    for (at, may), (following, then) in itertools.pairwise(inside):
        if then != may:
            cut = (at + following) / 2.0
            told = replace(begin, to_m=cut, sd_to_m=0.0, line_to="")
            yield _named(told, may)
            begin = replace(begin, from_m=cut, sd_from_m=0.0, line_from="")
    yield _named(begin, inside[-1][1])


def _several(site: Site, parties: Collection[str]) -> tuple[str, ...]:
    """Return parties as site.toml orders them, nobody where it is one alone."""
    return tuple(one for one in _parties(site) if one in parties) if len(parties) > 1 else ()


def _named(stretch: ResponsibilityStretch, may: tuple[str, ...]) -> ResponsibilityStretch:
    return replace(stretch, party="", may_answer=may) if may else stretch


def _is_past(route: Route, boundary: Boundary) -> bool:
    return bool(measure_past(route, boundary.line, [route.site.run.end_m]).past_m[0] > 0.0)


def name_client(site: Site, stretches: tuple[ResponsibilityStretch, ...]) -> tuple[str, bool]:
    """Return the party the sender speaks for, and whether that is only assumed.

    That is the one the referral names. Where it names none, a technician works for the one party
    whose name says owner; where that does not tell either, the one at the start is assumed. Empty
    where no boundary names any party.
    """
    if site.referral.client:
        return site.referral.client, False
    parties = _parties(site)
    owners = [party for party in parties if "owner" in party.lower().split()]
    if len(owners) == 1:
        return owners[0], False
    if stretches:
        return stretches[0].parties[0], True
    return (parties[0], True) if parties else ("", False)


def address_letters(
    site: Site,
    client: str,
    findings: Iterable[FindingResult],
    crossings: Iterable[Crossing],
) -> tuple[PartyLetter, ...]:
    """Return one letter for each party that the sender does not speak for; defects only."""
    findings = tuple(findings)
    defects = [one for one in findings if one.finding_class == "defect"]
    dangers = tuple(one for one in findings if one.finding_class == "danger")
    decided = [crossing for crossing in crossings if crossing.decides]
    deciding = [boundary for boundary in site.boundaries if boundary.decides]
    letters = []
    for party in _parties(site):
        if party == client:
            continue
        parting = (b for b in deciding if (b.inside == party) != (b.outside == party))
        begins = next(parting, None)
        met = [c for c in decided if begins is not None and c.boundary == begins.key]
        letters.append(
            PartyLetter(
                party=party,
                line=begins.line if begins else "",
                crossing=met[0] if met else None,
                theirs=tuple(one for one in defects if _wholly(one, party)),
                shared=tuple(
                    one
                    for one in defects
                    if party in one.surely_answers and not _wholly(one, party)
                ),
                close=tuple(
                    one
                    for one in defects
                    if party in one.may_answer and party not in one.surely_answers
                ),
                dangers=dangers,
            )
        )
    return tuple(letters)


def _parties(site: Site) -> tuple[str, ...]:
    """Return every party that a deciding boundary names, each once, as site.toml has them."""
    deciding = [boundary for boundary in site.boundaries if boundary.decides]
    return tuple(dict.fromkeys(party for b in deciding for party in (b.inside, b.outside)))


def _wholly(result: FindingResult, party: str) -> bool:
    return result.may_answer == (party,)
