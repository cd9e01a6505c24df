"""A report to everything the excavator needs before the first bucket."""

from __future__ import annotations

from collections.abc import Callable

from lateral_map.analysis.depth_table import table_depths
from lateral_map.analysis.excavation import measure_excavation
from lateral_map.analysis.key_points import list_key_points
from lateral_map.analysis.methods import compare_methods
from lateral_map.analysis.null_depths import check_null_depths
from lateral_map.analysis.reach import propose_reaches
from lateral_map.analysis.refind import plan_refinds
from lateral_map.analysis.structures import find_structures
from lateral_map.analysis.surfaces import measure_surfaces
from lateral_map.analysis.trench_rules import read_trench_rules
from lateral_map.analysis.whitelines import outline_dig
from lateral_map.model.dig import DigReview, NullCheck, ReachReview, RepairReach, TrenchRules
from lateral_map.model.results import Report
from lateral_map.model.trench import TrenchProfile, UtilityConflict
from lateral_map.units import format_length

Progress = Callable[[str], None]


def build_dig_review(report: Report, progress: Progress | None = None) -> DigReview:
    """Return the dig review of a report.

    ``progress`` is called with a few words before each long step.
    """
    say = progress or _say_nothing
    site, route = report.site, report.route
    rules = read_trench_rules(site.dig)
    profile = report.trench
    found = propose_reaches(route, report.findings, report.pipes, report.responsibility)
    say("measuring the cuts")
    reaches = tuple(_review_reach(report, profile, rules, reach) for reach in found)
    conflicts = report.utilities
    say("choosing tapes")
    keys = list_key_points(site, report.crossings, report.pipes, found)
    refinds = plan_refinds(route, keys)
    depths = table_depths(route, report.stations, profile)
    nulls = check_null_depths(route)
    return DigReview(
        report=report,
        rules=rules,
        profile=profile,
        reaches=reaches,
        conflicts=conflicts,
        refinds=refinds,
        depths=depths,
        nulls=nulls,
        warnings=tuple(_warnings(report, rules, reaches, conflicts, nulls)),
    )


def _say_nothing(_: str) -> None:
    """Take no notice of progress."""


def _review_reach(
    report: Report, profile: TrenchProfile, rules: TrenchRules, reach: RepairReach
) -> ReachReview:
    site = report.site
    begin, end = reach.begin.footage_m, reach.end.footage_m
    excavation = measure_excavation(profile, begin, end, site.dig, rules)
    middle = profile.between(begin, end).place_m
    shored, sloped = (
        measure_surfaces(site.plan, middle, cut.footprint, site.dig.pavement_cutback_m)
        for cut in (excavation.shored, excavation.sloped)
    )
    structures = find_structures(site, profile, excavation, rules)
    return ReachReview(
        reach=reach,
        excavation=excavation,
        surfaces_shored=shored,
        surfaces_sloped=sloped,
        structures=structures,
        methods=compare_methods(site, reach, excavation, (shored, sloped), structures, rules),
        white_lines=outline_dig(profile, reach, rules),
    )


def _warnings(
    report: Report,
    rules: TrenchRules,
    reaches: tuple[ReachReview, ...],
    conflicts: tuple[UtilityConflict, ...],
    nulls: tuple[NullCheck, ...],
) -> list[str]:
    said = []
    if not reaches:
        said.append(
            "No finding calls for a repair and site.toml names no [[reach]]: nothing is proposed"
        )
    if not report.site.plan.utilities:
        said.append("The plan shows no utilities at all: that is no sign that there are none")
    said += _rule_warnings(report, rules)
    if report.route.alternatives:
        said.append(
            "The readings fit more than one line: cuts, white lines, clearances and tapes are for "
            "the one drawn solid alone; one more tie settles it before digging"
        )
    unknown = [one.name for one in conflicts if one.depth_m is None and one.verdict != "clear"]
    if unknown:
        said.append(f"Depth unknown: {', '.join(unknown)}; expose by hand before digging near")
    said += [_null_words(report, check) for check in nulls if check.verdict == "suspect"]
    if report.suspects:
        said.append(
            f"{len(report.suspects)} readings disagree with the rest of the site: settle them "
            "before digging"
        )
    return said


def _rule_warnings(report: Report, rules: TrenchRules) -> list[str]:
    said = []
    if rules.soil in ("A", "stable rock"):
        said.append(
            f"The soil is given as {rules.soil}: ground that was dug before is never Type A "
            "(Appendix A, from memory), and a lateral's trench was; every slope here and the white "
            "lines rest on it"
        )
    said += [
        f"{rule.key}: the site's {rule.figure(report.site.unit)} asks less than the federal "
        "figure; a stricter rule comes first, so check its citation"
        for rule in rules.rules
        if rule.looser
    ]
    return said


def _null_words(report: Report, check: NullCheck) -> str:
    unit = report.site.unit
    nulls, read = (format_length(d, unit) for d in (check.nulls_depth_m, check.read_depth_m))
    return (
        f"SUSPECT: locate {check.locate} nulls: they say {nulls} to the transmitter, the read-out "
        f"says {read}; take both again before trusting either, and reckon with the deeper till then"
    )
