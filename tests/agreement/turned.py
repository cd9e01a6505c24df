"""Runs turned round: the camera pushed from the other end, the ground and the parties the same.

    python tests/agreement/turned.py                100 sites
    python tests/agreement/turned.py --first 12 --sites 1 --letters FOLDER

A made-up site is written twice from one truth: as it is, and as the same readings are noted by a
camera that came from the far end. Footages are counted from there, bends' hands and the sides of
boundaries swapped. Held against each other: each finding's verdict, party and probability, where
lines are crossed, depth at one place on the ground, the fall with the flow, whom letters ask what.

What may differ: the one knows the first end of the pipe, the other the last one, and footages err
more the farther they are counted. Two values may lie as far apart as half of both 95 % ranges
together; a verdict may be too close to call in one of the two where the probability is near 95 %
there. A stretch whose far part is past and whose beginning is in doubt is told as that from the one
end alone: from the other its end is in doubt, and it is too close to call. The verdict of such is
not compared; who surely answers for a part of it is, as of every finding.
Prints a line for each disagreement; exit code 1 where there is any.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
import tempfile
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
ROOT = Path(__file__).parents[2]
if __name__ == "__main__":
    sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import numpy as np  # noqa: E402

from agreement.sites import Floats, Maker, Traits, traits_of  # noqa: E402
from lateral_map.export.registry import make_referral  # noqa: E402
from lateral_map.frame import Frame  # noqa: E402
from lateral_map.model.chance import TWO_SIDED_95  # noqa: E402
from lateral_map.model.results import FindingResult, Report, Side  # noqa: E402
from lateral_map.reading.folder import load_site  # noqa: E402
from lateral_map.report import build_report  # noqa: E402

# Half of both 95 % ranges together: the two runs share all readings but those of their starts.
_APART: Final = TWO_SIDED_95 / 2.0
# Rounding of what the notes hold, and of what is compared.
_ROUNDED_M: Final = 0.02
# A verdict so near to 95 % may go either way.
_NEAR: Final = (0.02, 0.16)
_CLOSE: Final = "too close to call"
_MIRROR: Final = {"inside": "past", "past": "inside"}


def pair_traits(seed: int) -> Traits:
    """Return a seed's traits without what has no like from the other end.

    A run from the main never meets it; what lies behind one start lies before the other; and of
    dead reckoning from either end nothing is shared.
    """
    traits = traits_of(seed)
    rule = {"to the main": "curb", "line and main": "two lines"}.get(traits.rule, traits.rule)
    client = traits.client if rule == traits.rule else ""
    return replace(traits, rule=rule, client=client, behind=False, located=True)


class Turned(Maker):
    """The same truth, noted by a camera that came from the far end."""

    def back(self, footage: float, more_ft: float = 0.0) -> float:
        return round(self.length(self.end) - footage + self.length(more_ft), 3)

    def locates(self) -> list[dict[str, Any]]:
        # The transmitter rides half a foot behind the lens, whichever way it goes.
        rows = super().locates()
        return [row | {"footage": self.back(row["footage"], 1.0)} for row in rows[::-1]]

    def bend_rows(self) -> list[dict[str, Any]]:
        return [
            row | {"footage": self.back(row["footage"]), "turn": -row["turn"]}
            for row in super().bend_rows()[::-1]
        ]

    def findings(self) -> list[dict[str, Any]]:
        return [
            row
            | {
                "footage": self.back(row["to"] or row["footage"]),
                "to": self.back(row["footage"]) if row["to"] else "",
            }
            for row in super().findings()[::-1]
        ]

    def plan(self) -> list[dict[str, Any]]:
        (place,) = self.coordinates(self.place(self.end))
        known = {"kind": "reference", "name": "far end", "accuracy": self.length(0.15)}
        point = {"type": "Point", "coordinates": place}
        return [*super().plan(), {"type": "Feature", "properties": known, "geometry": point}]

    def begins(self) -> tuple[str, float, float]:
        east, north = -self.along(self.end)
        return "far end", self.deep(self.end), math.degrees(math.atan2(east, north)) % 360.0

    def goes_from_street(self) -> bool:
        return not self.traits.from_street

    def pipes(self) -> list[tuple[float, str, float]]:
        (_, first, small), (at, last, large) = super().pipes()
        return [(0.0, last, large), (self.end - at, first, small)]


def write_pair(folder: Path, seed: int) -> tuple[Path, Path]:
    """Write a site, and the same turned round; return both folders."""
    traits = pair_traits(seed)
    for name, maker in (("there", Maker), ("back", Turned)):
        maker(np.random.default_rng((seed, 2)), traits, says_direction=True).write(
            folder / name, seed
        )
    return folder / "there", folder / "back"


def compare(there: Report, back: Report) -> Iterator[str]:
    """Yield what two reports of one pipe say otherwise, the second's run turned round."""
    end_m = there.site.run.end_m
    pairs = list(match(there, back, end_m))
    if len(pairs) != len(there.findings):
        yield f"{len(pairs)} of {len(there.findings)} findings matched"
    frames = there.site.frame, back.site.frame
    for one, other in pairs:
        at = f"#{one.number} {one.finding.finding} at {one.finding.footage_m:.2f} m"
        yield from (f"{at}: {said}" for said in compare_findings(one, other, frames))
    yield from compare_crossings(there, back)
    yield from compare_depths(there, back, end_m)
    yield from compare_falls(there, back, end_m)
    yield from compare_letters(there, back, pairs)


def match(
    there: Report, back: Report, end_m: float
) -> Iterator[tuple[FindingResult, FindingResult]]:
    """Yield each finding and what it is called from the other end."""
    left = list(back.findings)
    for one in there.findings:
        begin = end_m - (one.finding.to_m or one.finding.footage_m)
        wanted = (one.finding.finding, one.finding.note, one.finding.severity)
        for other in left:
            found = other.finding
            same = (found.finding, found.note, found.severity) == wanted
            if (
                same
                and abs(found.footage_m - begin) < 1e-2
                and (found.to_m is None) == (one.finding.to_m is None)
            ):
                left.remove(other)
                yield one, other
                break


def compare_findings(
    one: FindingResult, other: FindingResult, frames: tuple[Frame, Frame]
) -> Iterator[str]:
    ends = list(zip(one.ends, other.ends[::-1], strict=True))
    near = False
    for (place, sides), (place_back, sides_back) in ends:
        yield from places_apart(place, place_back, frames)
        by_line = {side.line: side for side in sides_back}
        for side in sides:
            yield from sides_apart(side, by_line[side.line])
            near = near or is_near(side) or is_near(by_line[side.line])
    if set(one.may_answer) != set(other.may_answer) and not near:
        yield f"may be {one.may_answer}, turned round {other.may_answer}"
    if not near:
        yield from sure_apart(one, other)
    if is_told_from_one_end(one, other):
        return
    verdict = _MIRROR.get(other.verdict or "", other.verdict)
    same_line = one.deciding and other.deciding and one.deciding.line == other.deciding.line
    if same_line and one.verdict != verdict and not near:
        yield f"{one.verdict} by {one.deciding.line}, turned round {other.verdict}"
    if set(one.answers) != set(other.answers) and not near:
        yield f"{one.verdict}, answers {one.answers}, turned round {other.verdict} {other.answers}"


def sure_apart(one: FindingResult, other: FindingResult) -> Iterator[str]:
    """Yield whom else the run turned round says to answer surely for a part, or at an end."""
    if set(one.surely_answers) != set(other.surely_answers):
        yield f"surely {one.surely_answers}, turned round {other.surely_answers}"
    ends, turned = (one.begins_with, one.ends_with), (other.ends_with, other.begins_with)
    if ends != turned:
        yield f"ends surely {ends}, turned round {turned}"


def is_told_from_one_end(one: FindingResult, other: FindingResult) -> bool:
    """Say whether a far part that is past is, from the other end, a beginning that is inside."""
    return "past from within" in (one.verdict, other.verdict)


def is_near(side: Side) -> bool:
    """Say whether a side's verdict hangs on little."""
    low, high = _NEAR
    return low < min(side.probability_past, 1.0 - side.probability_past) < high


def sides_apart(side: Side, back: Side) -> Iterator[str]:
    reach = _APART * math.hypot(side.sd_past_m, back.sd_past_m) + _ROUNDED_M
    if abs(side.past_m + back.past_m) > reach:
        yield (
            f"{side.line}: past {side.past_m:.2f} ± {side.sd_past_m:.2f} m, turned round "
            f"{-back.past_m:.2f} ± {back.sd_past_m:.2f}"
        )
    turned = {side.verdict, _MIRROR.get(back.verdict, back.verdict)}
    if turned == {"inside", "past"}:
        yield f"{side.line}: {side.verdict}, turned round {back.verdict}"
    if len(turned) > 1 and not is_near(side) and not is_near(back):
        yield (
            f"{side.line}: {side.verdict} with {side.probability_past:.3f}, turned round "
            f"{back.verdict} with {back.probability_past:.3f}"
        )


def apart_m(place: Any, back: Any, frames: tuple[Frame, Frame]) -> float:
    """Return how far two places lie apart; each run has a plane of its own."""
    frame, other = frames
    xy = other.from_plane(back.easting_m, back.northing_m)
    east, north = frame.to_plane(*xy)
    return math.hypot(float(east) - place.easting_m, float(north) - place.northing_m)


def places_apart(place: Any, back: Any, frames: tuple[Frame, Frame]) -> Iterator[str]:
    apart = apart_m(place, back, frames)
    if apart > (place.semi_major_m + back.semi_major_m) / 2.0 + _ROUNDED_M:
        of = f"{place.semi_major_m:.2f} and {back.semi_major_m:.2f}"
        yield f"lies {apart:.2f} m elsewhere, of {of}"
    reach = _APART * math.hypot(place.sd_depth_m, back.sd_depth_m) + _ROUNDED_M
    if abs(place.depth_m - back.depth_m) > reach:
        yield f"{place.depth_m:.2f} m deep, turned round {back.depth_m:.2f}, of {reach:.2f}"


def compare_crossings(there: Report, back: Report) -> Iterator[str]:
    crossed = {(one.boundary, one.decides): one for one in there.crossings if one.decides}
    turned = {(one.boundary, one.decides): one for one in back.crossings if one.decides}
    if crossed.keys() != turned.keys():
        yield f"crosses {sorted(map(str, crossed))}, turned round {sorted(map(str, turned))}"
    for key in crossed.keys() & turned.keys():
        one, other = crossed[key], turned[key]
        apart = apart_m(one, other, (there.site.frame, back.site.frame))
        reach = _APART * math.hypot(one.sd_footage_m, other.sd_footage_m) + _ROUNDED_M
        # Of the two the looser may lie aside as well.
        aside = max(float(r.stations.across_sd_m.max()) for r in (there, back)) * _APART
        if apart > reach + aside:
            yield f"crosses {one.line} {apart:.2f} m elsewhere, of {reach + aside:.2f}"
        deep = _APART * math.hypot(one.sd_depth_m, other.sd_depth_m) + _ROUNDED_M
        if abs(one.depth_m - other.depth_m) > deep:
            yield f"{one.line}: {one.depth_m:.2f} m deep, turned round {other.depth_m:.2f}"


def compare_depths(there: Report, back: Report, end_m: float) -> Iterator[str]:
    """Depths at one place on the ground: the nearest of the other run's line."""
    for at in np.linspace(0.05, 0.95, 10) * end_m:
        xy = there.site.frame.from_plane(*there.route.positions(at)[0][:2])
        place = np.array(back.site.frame.to_plane(*xy))
        footages = np.linspace(0.0, end_m, 400)
        line = back.route.positions(footages)[:, :2]
        nearest = float(footages[np.argmin(np.hypot(*(line - place).T))])
        (deep,), (sd,) = there.route.depths(at)
        (other,), (other_sd,) = back.route.depths(nearest)
        reach = _APART * math.hypot(sd, other_sd) + 2.0 * _ROUNDED_M
        if abs(deep - other) > reach:
            yield f"at {at:.1f} m {deep:.2f} m deep, turned round {other:.2f}, of {reach:.2f}"


def compare_falls(there: Report, back: Report, end_m: float) -> Iterator[str]:
    for one in there.falls:
        middle = end_m - (one.from_m + one.to_m) / 2.0
        for other in back.falls:
            if not other.from_m < middle < other.to_m:
                continue
            reach = _APART * math.hypot(one.sd_ratio, other.sd_ratio) + 0.002
            if abs(one.ratio - other.ratio) > reach:
                yield f"falls {one.ratio:.3f}, turned round {other.ratio:.3f}, of {reach:.3f}"
            if {one.verdict, other.verdict} == {"enough fall", "falls back"}:
                yield f"{one.verdict}, turned round {other.verdict}"
            if one.flow_said != other.flow_said:
                yield "which way the sewage flows is said of one alone"


def compare_letters(
    there: Report, back: Report, pairs: Iterable[tuple[FindingResult, FindingResult]]
) -> Iterator[str]:
    if there.client != back.client:
        yield f"client {there.client}, turned round {back.client}"
    asked = {one.party for one in there.letters}
    turned = {one.party for one in back.letters}
    if asked != turned:
        yield f"letters to {sorted(asked)}, turned round to {sorted(turned)}"
    called = {other.number: one.number for one, other in pairs}
    sure = {
        one.number for one, other in pairs
        if not any(is_near(s) for r in (one, other) for _, sides in r.ends for s in sides)
    }  # fmt: skip
    for letter in there.letters:
        for other in back.letters:
            if letter.party != other.party:
                continue
            for group in ("theirs", "shared", "close"):
                own = {one.number for one in getattr(letter, group)} & sure
                theirs = {called[one.number] for one in getattr(other, group)} & sure
                if own != theirs:
                    yield f"letter to {letter.party}, {group}: {own}, turned round {theirs}"


def check_seed(seed: int, letters: Path | None = None) -> list[str]:
    with tempfile.TemporaryDirectory() as folder:
        there, back = (build_report(load_site(one)) for one in write_pair(Path(folder), seed))
    if letters is not None:
        for name, report in (("there", there), ("back", back)):
            for file, content in make_referral(report).items():
                letters.mkdir(parents=True, exist_ok=True)
                (letters / f"{seed}_{name}_{file}").write_bytes(content)
    met = [one.boundary for one in there.crossings]
    if len(met) > len(set(met)):
        # Gone over and come back over, a line has both ends inside it: nothing is to be swapped.
        return []
    return list(compare(there, back))


def main() -> int:
    parser = argparse.ArgumentParser(description="Hold runs against the same turned round.")
    parser.add_argument("--sites", type=int, default=100)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--letters", type=Path, help="a folder for the letters of both")
    asked = parser.parse_args()
    count = 0
    with ProcessPoolExecutor(asked.jobs) as pool:
        seeds = range(asked.first, asked.first + asked.sites)
        waiting = [(seed, pool.submit(check_seed, seed, asked.letters)) for seed in seeds]
        for seed, site in waiting:
            error = site.exception()
            found = [f"cannot be made: {error!r}"] if error else site.result()
            count += len(found)
            sys.stdout.writelines(f"site {seed}: {said}\n" for said in found)
            sys.stdout.flush()
    sys.stdout.write(f"{asked.sites} sites turned round, {count} disagreements\n")
    return 1 if count else 0


__all__ = ["Floats", "check_seed", "compare", "write_pair"]

if __name__ == "__main__":
    sys.exit(main())
