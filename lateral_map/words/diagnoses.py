"""What may have gone wrong in the notes, in a technician's words."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

from lateral_map.model.diagnosis import WORTH_DOUBT, Diagnosis, Slip, SlipName
from lateral_map.model.results import Report
from lateral_map.model.site import Plan, Site
from lateral_map.words.names import as_written_words, reading_name
from lateral_map.words.numbers import chance_words, in_full, length, range_95, tidy


def told_once(diagnoses: Iterable[Diagnosis]) -> list[Diagnosis]:
    """Return the diagnoses worth telling, most probable first; two that explain together once."""
    told: list[Diagnosis] = []
    paired: set[Slip] = set()
    for one in diagnoses:
        if one.probability >= WORTH_DOUBT and one.slip not in paired:
            told.append(one)
        paired |= set(one.together)
    return told


def diagnoses_told(report: Report) -> list[str]:
    """Return the diagnoses worth telling, most probable first, as sentences without a stop."""
    site = report.site
    return [diagnosis_words(one, site.plan, site.unit) for one in told_once(report.diagnoses)]


def undiagnosed_words(report: Report) -> str:
    """Say that no diagnosis was sought, and whether one is wanted; empty where it was sought."""
    if report.diagnosed:
        return ""
    said = "no diagnosis was sought: which slip in the notes would explain readings that disagree"
    count = len(report.suspects)
    if not count:
        return f"{said}; none of them does"
    disagree = "1 reading disagrees" if count == 1 else f"{count} readings disagree"
    return f"{said}; {disagree} here, and no verdict allows for what would explain it"


def applied_told(site: Site) -> list[str]:
    """Return the slips taken for true, in their order, as sentences without a stop."""
    told = []
    for one in site.applied:
        words = slip_words(one.slip, site.plan, site.unit, one.taken, one.written)
        told.append(f"taken so in site.toml{', and checked' if one.checked else ''}: {words}")
    return told


def diagnosis_words(diagnosis: Diagnosis, plan: Plan, unit: str) -> str:
    """Return a diagnosis as a sentence: what it is, what goes with it, how probable."""
    said = slip_words(diagnosis.slip, plan, unit, diagnosis.would_read)
    others = [slip_words(one, plan, unit) for one in diagnosis.besides]
    with_it = f", and {' and '.join(others)}" if others else ""
    # The prices of slips are a judgement, so no more is claimed than they can bear.
    sure = diagnosis.probability > 0.99
    share = "> 99 %" if sure else chance_words(diagnosis.probability)
    return f"{said}{with_it} ({share})"


_SAID: Final[dict[SlipName, str]] = {
    "bend not noted": "a bend nobody noted near {at}, about {turn} {side}",
    "bend turned the other way": "the bend at {at} turns the other way",
    "bend angle": "the bend at {at} turns {meant}, not as noted",
    "bend misplaced": "the bend at {at} is really at {meant}",
    "counter not at zero": "the counter stood {far} too {far_or_low} at the start",
    "counter slipped": "the counter slipped near {at} and reads {far} too {much} from there on",
    "counter scale": "the counter reads {share} too {far_or_low} all along",
    "riser left out": "a riser of {far} at the start was left out",
    "riser counted twice": "the riser was counted twice, in the footage and in the start's depth",
    "held above left out": "the locator was held {far} above the ground{there} and nobody noted it",
    "positions shifted together": "all GNSS fixes lie {far} off the same way",
    "tape from another point": "{name} was pulled from {point}",
    "another unit": "{name} was read in another unit: {reads}",
    "line mapped elsewhere": "{name}: it lies about {far} from where the map has it",
    "point mapped elsewhere": "{name}: it lies about {far} from where the map has it",
    "start elsewhere": "the start lies about {far} from where it was put",
    "azimuth": "the azimuth at the start is {turn} off",
    "position misread": "{name} is about {far} off",
}
_MISREAD: Final = "{name} was misread: {reads}"


def under_words(slip: Slip | None, plan: Plan, unit: str) -> str:
    """Return under what a verdict would be another: a slip, or that one taken for true is none."""
    return "what was taken so is not" if slip is None else slip_words(slip, plan, unit)


def slip_words(
    slip: Slip,
    plan: Plan,
    unit: str,
    would_read: float | None = None,
    written: float | None = None,
) -> str:
    """Return a slip in words, such as ``a bend nobody noted near 46 ft, about 40° left``.

    ``would_read`` is what the reading would then be; ``written``, what it is in its table, is given
    of a slip that is taken for true.
    """
    size = slip.size[0] if len(slip.size) == 1 else math.hypot(*slip.size)
    angle = slip.measure == "angle"
    far = f"{abs(size):.0f}°" if angle else length(abs(size), unit)
    meant = f"otherwise by {far}"
    sides = ("down", "up") if slip.id and slip.id.kind == "fall" else ("right", "left")
    if would_read is not None:
        turned = f"{abs(would_read):.0f}° {sides[0] if would_read > 0.0 else sides[1]}"
        meant = turned if angle else length(would_read, unit)
    said = _SAID.get(slip.slip, _MISREAD)
    reads = f"it would read {meant}"
    if written is not None and would_read is not None:
        reads = as_written_words(written, would_read, unit, is_angle=angle)
        if slip.sd and not angle:
            reads += f" {range_95(slip.sd, unit)}, by the other readings alone"
        said += "" if "{reads}" in said else " ({reads})"
    return said.format(
        name=tidy(reading_name(slip.id, plan)) if slip.id else "",
        point=in_full(slip.point),
        at="" if slip.footage_m is None else length(slip.footage_m, unit),
        there=f" at locate {in_full(slip.id.of)}" if slip.id else " everywhere",
        far=far,
        meant=meant,
        reads=reads,
        turn=f"{abs(size):.0f}°",
        share=f"{abs(100.0 * size):.1f} %",
        side=sides[0] if size > 0.0 else sides[1],
        much="much" if size > 0.0 else "little",
        far_or_low="high" if size > 0.0 else "low",
    )
