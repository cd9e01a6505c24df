"""Marks on the plan, each asking for its label."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from lateral_map.draw.plan.bends import bends_layer
from lateral_map.draw.plan.crossings import crossings_layer
from lateral_map.draw.plan.findings import findings_layer
from lateral_map.draw.plan.locates import locates_layer, points_layer
from lateral_map.draw.plan.route import route_layer
from lateral_map.draw.plan.scene import ALWAYS, MINOR, Layer, Mark
from lateral_map.draw.sheet.labels import Box
from lateral_map.draw.sheet.marks import draw_mark, mark_half
from lateral_map.draw.sheet.plan_panel import LABEL_PT, SMALL_PT, PlanPanel
from lateral_map.draw.sheet.styles import MARKS
from lateral_map.words.numbers import label

# With more findings on a sheet than this the plan carries their numbers alone.
_MOST_NAMED: Final = 14


def draw_marks(plan: PlanPanel) -> None:
    """Draw every mark on this sheet and ask for its label."""
    report = plan.report
    layers = (
        _only_marks(route_layer(report)),
        points_layer(report),
        crossings_layer(report),
        bends_layer(report),
        locates_layer(report),
        _numbered(plan, findings_layer(report)),
    )
    for layer in layers:
        for item in layer.items:
            if isinstance(item, Mark):
                _mark(plan, item)


def _only_marks(layer: Layer) -> Layer:
    return replace(layer, items=tuple(item for item in layer.items if isinstance(item, Mark)))


def _numbered(plan: PlanPanel, layer: Layer) -> Layer:
    """Give findings their numbers alone where the sheet carries many."""
    here = [
        item
        for item in layer.items
        if isinstance(item, Mark) and item.footage_m is not None and plan.cut.holds(item.footage_m)
    ]
    many = len(here) > _MOST_NAMED
    items = tuple(
        replace(
            item,
            caption=item.short if many else item.caption,
            scale=item.scale * (0.75 if many else 1.0),
        )
        if isinstance(item, Mark)
        else item
        for item in layer.items
    )
    return replace(layer, items=items)


def _mark(plan: PlanPanel, mark: Mark) -> None:
    if mark.footage_m is not None and not plan.cut.holds(mark.footage_m):
        return
    x, y = (float(v) for v in plan.cut.window.to_paper([[mark.easting_m, mark.northing_m]])[0])
    style = MARKS[mark.style]
    half = mark_half(style, mark.scale)
    box = Box.around(x, y, half)
    if not plan.setting.panels.plan.grown(-1.0).holds(box):
        return
    turn = plan.cut.window.paper_angle_deg(mark.turn_deg) if mark.turn_deg else 0.0
    draw_mark(plan.canvas, x, y, style, turn_deg=turn, scale=mark.scale)
    plan.placer.keep_off(box)
    if mark.caption:
        # Names of points to tape from are cheap to lead away; a level's only stands beside it.
        reach = 20.0 if mark.style == "level" else 230.0
        plan.wish(
            label(mark.caption, 34), (x, y), half, weight=mark.weight, bold=mark.weight >= ALWAYS,
            reach_pt=reach, size_pt=SMALL_PT if mark.weight <= MINOR else LABEL_PT,
        )  # fmt: skip
