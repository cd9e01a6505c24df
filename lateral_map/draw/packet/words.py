"""A report's facts as the sentences and table cells of the packet."""

from __future__ import annotations

from typing import Final

from lateral_map.draw.packet.sorting import Sorted, deciding_boundary, deciding_crossing
from lateral_map.model.chance import POOR_FIT, TWO_SIDED_95
from lateral_map.model.results import FindingResult, Report, Side
from lateral_map.model.site import Locate, OffsetTie, PositionTie, TapeTie, Tie
from lateral_map.words.names import finding_words, readings_listed
from lateral_map.words.notices import as_sentence, grazing_words
from lateral_map.words.numbers import (
    chance_words,
    decimals_for,
    label,
    length,
    listed,
    plus_minus,
    range_95,
    tidy,
)
from lateral_map.words.technician import settling_words

_NOTE: Final = 240


def the_line(name: str) -> str:
    """Return a plan line's name as a sentence takes it: ``the curb``."""
    shown = label(name)
    return shown if shown.lower().startswith("the ") else f"the {shown}"


def footage_words(report: Report, each: Sorted) -> str:
    """Return a finding's footage, or the stretch's."""
    unit, finding = report.site.unit, each.result.finding
    start = length(finding.footage_m, unit)
    return start if finding.to_m is None else f"{start} to {length(finding.to_m, unit)}"


def position_words(report: Report, easting_m: float, northing_m: float) -> tuple[str, ...]:
    """Return a place as latitude, longitude (not for a sketch) and as x, y."""
    frame = report.site.frame
    x, y = frame.from_plane(easting_m, northing_m)
    decimals = decimals_for(report.site.unit)
    grid = (f"x {float(x):.{decimals}f}", f"y {float(y):.{decimals}f}")
    lonlat = frame.plane_to_lonlat(easting_m, northing_m)
    if lonlat is None:
        return grid
    return (f"lat {float(lonlat[1]):.7f}", f"lon {float(lonlat[0]):.7f}", *grid)


def _unit_name(name: str) -> str:
    return {"us_ft": "US survey ft"}.get(name, name)


def past_words(report: Report, each: Sorted) -> tuple[str, ...]:
    """Return how far past the line a finding lies, with its 95 % range; both ends of a stretch."""
    unit = report.site.unit
    sides = [side for side in (each.near, each.far) if side]
    return tuple(_past(side, unit) for side in sides)


def _past(side: Side, unit: str) -> str:
    where = "past" if side.past_m >= 0.0 else "short"
    carried = "; line carried on past its mapped end" if side.extended else ""
    return f"{plus_minus(abs(side.past_m), side.sd_past_m, unit)} {where}{carried}"


def odds_words(each: Sorted) -> tuple[str, ...]:
    """Return the probability of lying past the line, for both ends of a stretch."""
    return tuple(chance_words(side.probability_past) for side in (each.near, each.far) if side)


def mapped_words(report: Report, line: str) -> str:
    """Return how well a plan line is mapped, as its 95 % range."""
    return range_95(report.site.plan.line(line).sd_m, report.site.unit)


def ties_words(report: Report, each: Sorted) -> str:
    """Return the readings a finding's side rests on most."""
    return readings_listed(each.result.rests_on, report.site.plan, 5)


def rests_words(report: Report, each: Sorted) -> str:
    """Return what a finding's side rests on: the ties, the line and how well it is mapped."""
    words = [ties_words(report, each)] if each.result.rests_on else []
    if each.near:
        line = each.near.line
        words.append(f"{label(line)} mapped to {mapped_words(report, line)}")
    words.append(f"line here {each.result.near.basis}")
    return "; ".join(words)


def depth_words(report: Report, result: FindingResult) -> str:
    """Return a finding's depth to invert with its 95 % range."""
    return plus_minus(result.near.depth_m, result.near.sd_depth_m, report.site.unit)


def finding_row(report: Report, each: Sorted) -> dict[str, object]:
    """Return one finding as the plain values a template shows."""
    result = each.result
    return {
        "number": each.number,
        "group": each.group,
        "footage": footage_words(report, each),
        "words": finding_words(result),
        "note": tidy(result.finding.note, _NOTE),
        "depth": depth_words(report, result),
        "position": _paired(position_words(report, result.near.easting_m, result.near.northing_m)),
        "ellipse": f"{range_95(result.near.semi_major_m / TWO_SIDED_95, report.site.unit)} (95 %)",
        "past": past_words(report, each),
        "odds": odds_words(each),
        "rests_on": rests_words(report, each),
        "ties": ties_words(report, each),
        "basis": result.near.basis,
        "settle": tidy(settling_words(result.settling, report.site.unit), _NOTE),
    }


def _paired(position: tuple[str, ...]) -> tuple[str, ...]:
    """Return a place two to a line, latitude and longitude bare as maps take them."""
    bare = [words.removeprefix("lat ").removeprefix("lon ") for words in position]
    return tuple(", ".join(pair) for pair in zip(bare[::2], bare[1::2], strict=True))


def numbers_words(findings: tuple[Sorted, ...], most: int = 12) -> str:
    """Return findings by number for a sentence: ``finding 3``, ``findings 3, 5 and 6``."""
    if not findings:
        return ""
    word = "finding" if len(findings) == 1 else "findings"
    return f"{word} {listed([str(each.number) for each in findings], most)}"


def crossing_sentence(report: Report) -> str:
    """Return where the run crosses the line that decides, in one sentence."""
    boundary, crossing = deciding_boundary(report), deciding_crossing(report)
    if boundary is None:
        return "The site names no line at which responsibility changes."
    if crossing is None:
        return f"The run does not cross {the_line(boundary.line)}."
    unit = report.site.unit
    words = (
        f"It crosses {the_line(boundary.line)} at "
        f"{plus_minus(crossing.footage_m, crossing.sd_footage_m, unit)}, the invert "
        f"{plus_minus(crossing.depth_m, crossing.sd_depth_m, unit)} below the ground."
    )
    return f"{words} {as_sentence(grazing_words(crossing, unit))}".strip()


def fit_sentences(report: Report) -> tuple[str, ...]:
    """Return in plain words how well the readings agree."""
    fit = report.fit
    counts = (
        f"{fit.observations} observations, prior knowledge included, fixed {fit.unknowns} unknowns."
    )
    if fit.degrees_of_freedom <= 0:
        return (counts, "Nothing is left over to check the readings against one another.")
    agree = (
        "The readings agree with one another as well as their stated accuracies promise"
        if fit.p_value >= POOR_FIT
        else "The readings disagree with one another more than their stated accuracies allow"
    )
    figures = (
        f"(chi-square {fit.chi_square:.1f} on {fit.degrees_of_freedom} degrees of freedom; a fit "
        f"at least this poor happens by chance with probability {fit.p_value:.2g})."
    )
    return (counts, f"{agree} {figures}")


def locate_row(report: Report, locate: Locate) -> tuple[str, ...]:
    """Return one locate as it was read: mark, footage, depth, height held, ties, used or not."""
    unit = report.site.unit
    return (
        label(locate.mark, 16),
        length(locate.footage_m, unit),
        "" if locate.depth_m is None else length(locate.depth_m, unit),
        length(locate.held_above_m, unit) if locate.held_above_m else "",
        "; ".join(_tie_words(tie, unit) for tie in locate.ties) or "none",
        "yes" if locate.use else "no",
        tidy(locate.note, _NOTE),
    )


def _tie_words(tie: Tie, unit: str) -> str:
    """Return a tie with 1 sd turned to its 95 % range."""
    if isinstance(tie, TapeTie):
        return (
            f"{length(tie.distance_m, unit)} from {label(tie.point)} ({range_95(tie.sd_m, unit)})"
        )
    if isinstance(tie, PositionTie):
        how = "GNSS" if tie.method == "gnss" else "surveyed x, y"
        return f"{how} ({range_95(tie.sd_m, unit)} each axis)"
    if isinstance(tie, OffsetTie):
        side = "right" if tie.offset_m >= 0.0 else "left"
        return (
            f"{length(abs(tie.offset_m), unit)} {side} of {label(tie.line)} "
            f"({range_95(tie.sd_m, unit)})"
        )
    return f"{length(tie.along_m, unit)} along {label(tie.line)} ({range_95(tie.sd_m, unit)})"


def reference_rows(report: Report) -> list[tuple[str, ...]]:
    """Return the points taped from and the lines measured to, with how well each is mapped."""
    unit, plan = report.site.unit, report.site.plan
    rows: list[tuple[str, ...]] = [
        (
            label(point.name, 40),
            "point to tape from",
            ", ".join(position_words(report, point.easting_m, point.northing_m)),
            f"{range_95(point.sd_m, unit)} each axis",
        )
        for point in plan.points
    ]
    rows += [
        (
            label(line.name, 40),
            line.kind.replace("_", " "),
            "",
            f"{range_95(line.sd_m, unit)} across",
        )
        for line in plan.lines
    ]
    return rows


def run_length(report: Report) -> str:
    """Return the length of the run, to the footage's own accuracy."""
    footage = report.stations.footage_m
    return length(float(footage[-1] - footage[0]), report.site.unit)


def coordinates_sentence(report: Report) -> str:
    """Return which system the coordinates are in, and through which datum shift."""
    frame, unit = report.site.frame, report.site.unit
    if frame.is_local:
        return f"Coordinates are x, y of a sketch in {_unit_name(unit)}, tied to no place on earth."
    words = (
        f"Latitude and longitude are WGS 84; x, y are {label(frame.crs, 60)} in "
        f"{_unit_name(frame.unit_name)}."
    )
    if frame.lonlat_operation:
        accuracy = frame.lonlat_accuracy_m
        words += f" Between them: {frame.lonlat_operation}"
        words += f", good to {length(accuracy, unit)}." if accuracy else "."
    return words
