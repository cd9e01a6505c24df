"""Who answers for which stretch, and where the readings cannot say."""

from __future__ import annotations

from lateral_map.draw.plan.scene import Layer, line_along
from lateral_map.draw.style import PARTY_LINES
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.results import Report
from lateral_map.words.numbers import label, tidy
from lateral_map.words.picked import UNDECIDED_WORDS, Detail, party_picked


def responsibility_layer(report: Report) -> Layer:
    """Return a band along the line for each party, and one where the change is uncertain."""
    parties = party_styles(report)
    items = [
        line_along(
            report,
            stretch.from_m,
            stretch.to_m,
            parties[stretch.party],
            party_picked(report, stretch),
            label(stretch.party),
        )
        for stretch in report.responsibility
        if stretch.to_m > stretch.from_m
    ]
    items += [
        line_along(report, low, high, "party undecided", Detail(UNDECIDED_WORDS))
        for low, high in undecided(report)
    ]
    legend = [(style, tidy(party)) for party, style in parties.items()]
    if undecided(report):
        legend.append(("party undecided", UNDECIDED_WORDS))
    return Layer("responsibility", "Who answers", tuple(items), tuple(legend), shown=False)


def party_styles(report: Report) -> dict[str, str]:
    """Return a style key for each party, in order along the line."""
    names = dict.fromkeys(stretch.party for stretch in report.responsibility)
    return {party: f"party {index % len(PARTY_LINES)}" for index, party in enumerate(names)}


def undecided(report: Report) -> tuple[tuple[float, float], ...]:
    """Return footages (m) from-to, clipped to the run, within 95 % of each change of party."""
    first = float(report.stations.footage_m[0])
    last = float(report.stations.footage_m[-1])
    spans = (
        (
            max(stretch.to_m - TWO_SIDED_95 * stretch.sd_to_m, first),
            min(stretch.to_m + TWO_SIDED_95 * stretch.sd_to_m, last),
        )
        for stretch in report.responsibility
        if stretch.sd_to_m > 0.0
    )
    return tuple(span for span in spans if span[1] > span[0])
