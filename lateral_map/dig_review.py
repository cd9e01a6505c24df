"""A report to everything the excavator needs before the first bucket."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from lateral_map.analysis.depth_table import find_unread, table_depths
from lateral_map.analysis.dug_into import list_dug_into
from lateral_map.analysis.excavation import measure_excavation
from lateral_map.analysis.key_points import list_key_points
from lateral_map.analysis.methods import choose_walls, compare_methods
from lateral_map.analysis.null_depths import check_null_depths
from lateral_map.analysis.reach import propose_reaches
from lateral_map.analysis.refind import plan_refinds
from lateral_map.analysis.structures import find_structures
from lateral_map.analysis.surfaces import measure_surfaces
from lateral_map.analysis.trench_rules import read_trench_rules
from lateral_map.analysis.whitelines import clear_of, outline_dig
from lateral_map.model.dig import DigReview, OpenedGround, ReachReview
from lateral_map.model.results import Report

Progress = Callable[[str], None]


def build_dig_review(report: Report, progress: Progress | None = None) -> DigReview:
    """Return the dig review of a report.

    ``progress`` is called with a few words before each long step.
    """
    say = progress or (lambda _doing: None)
    site, route = report.site, report.route
    rules = read_trench_rules(site.dig)
    found = propose_reaches(route, report.findings, report.pipes, report.responsibility)
    stopped = bool(report.dangers)
    say("measuring the cuts")
    reaches = []
    for reach in found:
        begin, end = reach.begin.footage_m, reach.end.footage_m
        own = replace(rules, soil=reach.soil, layers=()) if reach.soil else rules
        excavation = measure_excavation(report.trench, begin, end, site.dig, own)
        middle = report.trench.between(begin, end).place_m
        structures = find_structures(site, report.trench, excavation, own)
        opened = []
        for cut in excavation.cuts:
            outline = outline_dig(report.trench, reach, cut.shape)
            opened.append(
                OpenedGround(
                    cut=cut,
                    surfaces=measure_surfaces(
                        site.plan, middle, cut.footprint, site.dig.pavement_cutback_m
                    ),
                    outline=outline,
                    kept_back=clear_of(outline, rules.value("spoil set-back")),
                )
            )
        methods = compare_methods(
            site,
            reach,
            excavation,
            tuple(one.surfaces for one in opened),
            structures,
            stopped=stopped,
        )
        chosen = choose_walls(site.dig.walls, methods)
        reaches.append(
            ReachReview(
                reach=reach,
                rules=own,
                excavation=excavation,
                opened=tuple(opened),
                structures=structures,
                methods=methods,
                chosen=chosen,
                dug_into=list_dug_into(chosen, excavation, structures, report.utilities),
            )
        )
    say("choosing tapes")
    keys = list_key_points(site, report.crossings, report.pipes, found, report.findings)
    return DigReview(
        report=report,
        rules=rules,
        reaches=tuple(reaches),
        refinds=plan_refinds(route, keys),
        depths=table_depths(route, report.stations, report.trench),
        nulls=check_null_depths(route),
        unread_m=find_unread(route, report.stations, report.trench),
    )
