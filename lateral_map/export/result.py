"""result.json: what other programs read. The contract's own keys come first in every record.

Lengths are in the site's unit, x and y in the declared system's unit, angles in degrees, azimuths
clockwise from declared grid north.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from lateral_map import __version__
from lateral_map.export.outward import Outward, all_rounded, lay_out, outward, rounded
from lateral_map.words.diagnoses import diagnosis_words, slip_words, under_words
from lateral_map.words.names import reading_name, taken_words
from lateral_map.words.notices import grazing_words, report_notices, uncrossed_words
from lateral_map.words.technician import (
    enough_words,
    fall_remark,
    next_locate_words,
    settling_words,
)

if TYPE_CHECKING:
    from lateral_map.model.diagnosis import Applied, Diagnosis, Slip
    from lateral_map.model.identity import ReadingId
    from lateral_map.model.results import (
        Crossing,
        FindingResult,
        ReadingCheck,
        Report,
        Side,
    )
    from lateral_map.model.site import Site
    from lateral_map.model.trench import UtilityConflict

Record = dict[str, Any]

FORMAT = 1


def result_json(report: Report) -> str:
    """Return result.json's text: one record a line, the same bytes for the same site."""
    return lay_out(result_record(report))


def result_record(report: Report) -> Record:
    """Return the whole result as plain data, the contract's keys first."""
    out, site, fit, proposal = outward(report), report.site, report.fit, report.next_locate
    return {
        "format": FORMAT,
        "unit": out.unit,
        "crs": out.frame.crs,
        "fit": {
            "observations": fit.observations,
            "unknowns": fit.unknowns,
            "degrees_of_freedom": fit.degrees_of_freedom,
            "chi_square": rounded(fit.chi_square),
            "p_value": rounded(fit.p_value, 9),
        },
        "stations": station_records(report, out),
        **told_records(report, out),
        "applied": [_applied(one, out) for one in site.applied],
        "utilities": [utility_record(one, out) for one in report.utilities],
        "program": {"name": "lateral-map", "version": __version__},
        "site": {"name": site.name, "date": site.date.isoformat() if site.date else None},
        "coordinate_unit": out.frame.unit_name,
        "run": {
            "start": out.length(site.counter.zero_m),
            "end": out.length(site.run.end_m),
            "reached_main": site.run.reached_main,
            "ended_at": site.run.end,
        },
        "uncrossed": [uncrossed_words(short, out.unit) for short in report.uncrossed],
        **_stretches(report, out),
        "client": report.client,
        "job": job_record(report),
        "main": main_record(report, out),
        "dig": {"tolerance": out.length(report.dig.tolerance_m), "rule": report.dig.rule},
        "next_locate": proposal
        and {
            "footage": out.length(proposal.footage_m),
            **out.place(proposal.easting_m, proposal.northing_m),
            "reason": next_locate_words(proposal, site),
            "sd_before": out.length(proposal.sd_before_m),
            "sd_after": out.length(proposal.sd_after_m),
        },
        "enough": enough_words(report) or None,
        "planned_locates": [
            {
                "footage": out.length(one.footage_m),
                "counter": out.length(one.lens_m),
                **out.place(one.easting_m, one.northing_m),
                "tape_from": one.line or None,
            }
            for one in (report.planned.locates if report.planned else ())
        ],
        "alternatives": [out.places(*one.line_m.T) for one in report.route.alternatives],
        "notices": list(report_notices(report)),
    }


def told_records(report: Report, out: Outward) -> Record:
    """Return crossings, findings, readings and diagnoses, a list of records each."""
    out.learn([*report.crossings, *(one.near for one in report.findings)])
    return {
        "crossings": [crossing_record(crossing, out) for crossing in report.crossings],
        "findings": [finding_record(finding, out) for finding in report.findings],
        "readings": [reading_record(reading, report.site, out) for reading in report.readings],
        # Not sought is not none.
        "diagnoses": [diagnosis_record(one, out) for one in report.diagnoses]
        if report.diagnosed
        else None,
    }


def station_records(report: Report, out: Outward) -> list[Record]:
    """Return one record a station, in order of footage."""
    s = report.stations
    unknown: list[float | None] = [None] * len(s.footage_m)
    columns: dict[str, Sequence[Any]] = {
        "footage": out.lengths(s.footage_m),
        "place": out.places(s.easting_m, s.northing_m),
        "depth_to_invert": out.lengths(s.depth_m),
        "depth_sd": out.lengths(s.depth_sd_m),
        "ellipse_95": out.ellipses(s.semi_major_m, s.semi_minor_m, s.ellipse_azimuth_deg),
        "basis": s.basis,
        "events": [list(each) for each in s.events],
        "ground_elevation": out.lengths(s.ground_m) if s.ground_known else unknown,
        "invert_elevation": out.lengths(s.elevation_m) if s.ground_known else unknown,
        "heading": all_rounded(out.frame.grid_azimuth_deg(s.heading_deg)),
        "heading_sd": all_rounded(s.heading_sd_deg),
        "across_sd": out.lengths(s.across_sd_m),
        "along_sd": out.lengths(s.along_sd_m),
        "dig_half_width": out.lengths(report.dig.half_width_m),
    }
    return [
        {"footage": footage, **place, **dict(zip(list(columns)[2:], rest, strict=True))}
        for footage, place, *rest in zip(*columns.values(), strict=True)
    ]


def crossing_record(crossing: Crossing, out: Outward) -> Record:
    """Return one crossing."""
    place = out.place(crossing.easting_m, crossing.northing_m)
    return {
        "line": crossing.line,
        "footage": out.length(crossing.footage_m),
        "footage_sd": out.length(crossing.sd_footage_m),
        "x": place["x"],
        "y": place["y"],
        "depth_to_invert": out.length(crossing.depth_m),
        "lat": place["lat"],
        "lon": place["lon"],
        "depth_sd": out.length(crossing.sd_depth_m),
        "kind": crossing.kind,
        "angle": rounded(crossing.angle_deg),
        "decides": crossing.decides,
        "outward": crossing.outward,
        "line_extended": crossing.carried_m > 0.0,
        "line_carried": out.length(crossing.carried_m),
        "note": grazing_words(crossing, out.unit),
        "footage_without": [
            {
                "reading": reading_name(one.reading, out.plan),
                "footage": out.length(one.footage_m),
                "depth_to_invert": out.length(one.depth_m),
            }
            for one in crossing.footage_without
        ],
        "rests_on": _names(crossing.rests_on, out),
    }


def _doubts_record(result: FindingResult, out: Outward) -> Record:
    """Return what a finding's verdict would be without a suspect, or with a diagnosis mended."""
    return {
        "verdict_without": [
            {"reading": reading_name(one.reading, out.plan), "verdict": one.verdict}
            for one in result.verdict_without
        ],
        "verdict_under": [
            {
                "slip": None if one.slip is None else one.slip.slip,
                "says": under_words(one.slip, out.plan, out.unit),
                "verdict": one.verdict,
            }
            for one in result.verdict_under
        ],
    }


def finding_record(result: FindingResult, out: Outward) -> Record:
    """Return one finding, with its side of every line."""
    finding, near, far = result.finding, result.near, result.far
    place = out.place(near.easting_m, near.northing_m)
    return {
        "footage": out.length(finding.footage_m),
        "finding": finding.finding,
        "x": place["x"],
        "y": place["y"],
        "depth_to_invert": out.length(near.depth_m),
        "sides": [_side(side, out) for side in result.sides],
        "to": out.length(finding.to_m),
        "sides_to": [_side(side, out) for side in result.sides_to],
        "severity": finding.severity,
        "note": finding.note,
        "footage_noted": out.length(finding.noted_m),
        "clock": finding.clock,
        "video": finding.video,
        "video_time": finding.video_time,
        "lat": place["lat"],
        "lon": place["lon"],
        "depth_sd": out.length(near.sd_depth_m),
        "ellipse_95": out.ellipse(near.semi_major_m, near.semi_minor_m, near.ellipse_azimuth_deg),
        "basis": near.basis,
        "number": result.number,
        "class": result.finding_class,
        "verdict": result.verdict,
        "verdict_line": result.deciding.line if result.deciding else None,
        "answers": list(result.answers),
        "may_answer": list(result.may_answer),
        "surely_answers": list(result.surely_answers),
        "left_open": result.left_open,
        **_doubts_record(result, out),
        "depth_without": [
            {
                "reading": reading_name(one.reading, out.plan),
                "depth_to_invert": out.length(one.depth_m),
            }
            for one in result.depth_without
        ],
        "line_turns_at": out.length(result.turns_m),
        "far_end": far
        and {
            **out.place(far.easting_m, far.northing_m),
            "depth_to_invert": out.length(far.depth_m),
            "depth_sd": out.length(far.sd_depth_m),
            "basis": far.basis,
        },
        "settle": settling_words(result.settling, out.unit),
        "rests_on": _names(result.rests_on, out),
        "extra": dict(finding.extra),
    }


def job_record(report: Report) -> Record:
    """Return what a desk's form asks for, empty where nobody said."""
    return {key: value or "" for key, value in asdict(report.site.job).items()}


def main_record(report: Report, out: Outward) -> Record:
    """Return the main the lateral joins, and how far along it, by the plan and as read."""
    main, tap = report.site.main, report.tap
    return {
        "asset": main.asset,
        "upstream": main.upstream,
        "downstream": main.downstream,
        "tap": tap
        and {
            "from": tap.manhole,
            "by_plan": out.length(tap.station_m),
            "by_plan_sd": out.length(tap.sd_station_m),
            "as_read": out.length(tap.typed_m),
            "as_read_sd": out.length(tap.sd_typed_m),
            "disagree": tap.disagrees,
            "off_main": out.length(tap.gap_m),
            "off_main_sd": out.length(tap.sd_gap_m),
        },
    }


def _names(readings: tuple[ReadingId, ...], out: Outward) -> list[str]:
    return [reading_name(one, out.plan) for one in readings]


def _id_record(one: ReadingId) -> Record:
    return {"kind": one.kind, "of": one.of, "column": one.column}


def _side(side: Side, out: Outward) -> Record:
    return {
        "line": side.line,
        "past": out.length(side.past_m),
        "past_sd": out.length(side.sd_past_m),
        "probability_past": rounded(side.probability_past, 9),
        "verdict": side.verdict,
        "line_extended": side.carried_m > 0.0,
        "line_carried": out.length(side.carried_m),
    }


def reading_record(check: ReadingCheck, site: Site, out: Outward) -> Record:
    """Return one reading's check."""
    return {
        "reading": reading_name(check.id, out.plan),
        "residual": _in_own_unit(check.residual, check, out),
        "standardised": rounded(check.standardised),
        "redundancy": rounded(check.redundancy),
        "verdict": check.verdict,
        "id": _id_record(check.id),
        "residual_unit": "degrees" if check.is_angle else out.unit,
        "locate": check.id.mark,
        "footage": out.length(check.footage_m),
        "taken_so": taken_words(site, check.id) or None,
        "set_aside_first": check.set_aside_first,
        "likely_error": _in_own_unit(check.likely_error, check, out),
        "would_read": _in_own_unit(check.would_read, check, out),
        "smallest_seen": _in_own_unit(check.smallest_seen, check, out),
        "moves_deciding": out.length(check.moves_deciding_m),
    }


def _in_own_unit(value: float | None, check: ReadingCheck, out: Outward) -> float | None:
    if value is None or not check.is_angle:
        return out.length(value)
    return rounded(value)


def _applied(one: Applied, out: Outward) -> Record:
    """Return a slip taken for true: what was written, what it is taken as."""
    slip = one.slip
    return {
        "slip": slip.slip,
        "id": slip.id and _id_record(slip.id),
        "footage": out.length(slip.footage_m),
        "size": [_sized(each, slip, out) for each in slip.size],
        "written": _sized(one.written, slip, out),
        "taken": _sized(one.taken, slip, out),
        "point": slip.point or None,
        "checked": one.checked,
        "says": slip_words(slip, out.plan, out.unit, one.taken, one.written),
    }


def diagnosis_record(diagnosis: Diagnosis, out: Outward) -> Record:
    """Return one diagnosis: lengths in the site's unit, angles in degrees, a scale as a share."""
    slip = diagnosis.slip
    return {
        "slip": slip.slip,
        "id": slip.id and _id_record(slip.id),
        "footage": out.length(slip.footage_m),
        "size": _sized(slip.size[0] if len(slip.size) == 1 else math.hypot(*slip.size), slip, out),
        "would_read": _sized(diagnosis.would_read, slip, out),
        "probability": rounded(diagnosis.probability, 6),
        # Of any size: what is more than four figures is rounding, and other on another processor.
        "likelihood_ratio": rounded(float(f"{diagnosis.likelihood_ratio:.4g}")),
        "says": diagnosis_words(diagnosis, out.plan, out.unit),
        "point": slip.point or None,
        "together_with": [slip_words(one, out.plan, out.unit) for one in diagnosis.besides],
    }


def _sized(value: float | None, slip: Slip, out: Outward) -> float | None:
    if value is None or slip.measure == "length":
        return out.length(value)
    return rounded(value, 6)


def _stretches(report: Report, out: Outward) -> Record:
    """Return the stretches of the run by who answers, by fall and by pipe."""
    return {
        "responsibility": [
            {
                "from": out.length(stretch.from_m),
                "from_sd": out.length(stretch.sd_from_m),
                "from_line": stretch.line_from,
                "to": out.length(stretch.to_m),
                "to_sd": out.length(stretch.sd_to_m),
                "to_line": stretch.line_to,
                "party": stretch.party or None,
                "may_answer": list(stretch.parties),
            }
            for stretch in report.responsibility
        ],
        "falls": [
            {
                "from": out.length(stretch.from_m),
                "to": out.length(stretch.to_m),
                "ratio": rounded(stretch.ratio),
                "ratio_sd": rounded(stretch.sd_ratio),
                "minimum": rounded(stretch.minimum),
                "rule": stretch.rule,
                "verdict": stretch.verdict,
                "words": fall_remark(stretch),
                "below_ground_line": stretch.below_ground_line,
                "turns": stretch.turns,
            }
            for stretch in report.falls
        ],
        "pipes": [
            {
                "from": out.length(stretch.from_m),
                "to": out.length(stretch.to_m),
                "material": stretch.material,
                "nominal_size": out.length(stretch.size_m),
                "outside_diameter": out.length(stretch.outside_diameter_m),
                "source": stretch.source,
                "is_guess": stretch.is_guess,
            }
            for stretch in report.pipes
        ],
    }


def utility_record(one: UtilityConflict, out: Outward) -> Record:
    """Return a utility against the pipe and its trench, the same in every file."""
    return {
        "name": one.name,
        "utility": one.utility,
        "relation": one.relation,
        "from": out.length(one.from_m),
        "to": out.length(one.to_m),
        "clearance": out.length(one.clearance_m),
        "clearance_sd": out.length(one.sd_clearance_m),
        "depth_known": one.depth_known,
        "in_trench": one.in_trench,
        "joins": one.joins,
        "verdict": one.verdict,
    }
