"""A plan panel being drawn: where it stands, what is taken, the labels asked for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray
from shapely import box as shapely_box
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from lateral_map.draw.along import line_between
from lateral_map.draw.paint.fonts import text_width
from lateral_map.draw.paint.svg import Canvas
from lateral_map.draw.sheet.cuts import Cut, Setting
from lateral_map.draw.sheet.labels import Box, Placer, Wish
from lateral_map.draw.style import PAPER
from lateral_map.model.results import Report

Floats = NDArray[np.float64]

LABEL_PT: Final = 6.6
SMALL_PT: Final = 5.6
CAPTION_PT: Final = 6.2


@dataclass(slots=True)
class PlanPanel:
    """One plan panel being drawn."""

    canvas: Canvas
    report: Report
    cut: Cut
    setting: Setting
    placer: Placer
    words: dict[int, tuple[str, bool, float]] = field(default_factory=dict)
    wishes: list[Wish] = field(default_factory=list)

    @property
    def frame(self) -> BaseGeometry:
        """The panel as a shape on the paper."""
        box = self.setting.panels.plan
        return shapely_box(box.left, box.top, box.right, box.bottom)

    def wish(
        self,
        words: str,
        at: tuple[float, float],
        clear_pt: float,
        *,
        weight: int,
        size_pt: float = LABEL_PT,
        bold: bool = False,
        reach_pt: float = 230.0,
    ) -> None:
        """Ask for a label beside a place, once where two marks there bear the same name."""
        if any(
            self.words[other.key][0] == words and np.hypot(other.x - at[0], other.y - at[1]) < 12.0
            for other in self.wishes
        ):
            return
        key = len(self.wishes)
        self.words[key] = (words, bold, size_pt)
        width = text_width(words, size_pt, bold=bold) + 2.0
        self.wishes.append(Wish(key, *at, width, size_pt * 1.2, clear_pt + 1.5, weight, reach_pt))


def lines_on(plan: PlanPanel, at_m: Floats) -> list[Floats]:
    """Return a line on the paper, cut to the panel."""
    paper = plan.cut.window.to_paper(at_m)
    if len(paper) < 2:
        return []
    return list(line_parts(LineString(paper).intersection(plan.frame)))


def line_parts(cut: BaseGeometry) -> Iterator[Floats]:
    """Yield the lines of a geometry as (n, 2) points, specks left out."""
    for part in getattr(cut, "geoms", [cut]):
        if isinstance(part, LineString) and part.length > 0.01:
            yield np.asarray(part.coords)


def stretch_on(plan: PlanPanel, from_m: float, to_m: float) -> list[Floats]:
    """Return the part of a stretch of footage that is on this sheet, on the paper."""
    low, high = max(from_m, plan.cut.from_m), min(to_m, plan.cut.to_m)
    return lines_on(plan, line_between(plan.report, low, high)) if high > low else []


def across_line(plan: PlanPanel, footage_m: float) -> tuple[Floats, Floats]:
    """Return a footage's place on the paper and the unit vector across the line there."""
    route = plan.report.route
    place = plan.cut.window.to_paper(route.positions([footage_m])[:, :2])[0]
    heading = float(route.headings_deg([footage_m])[0][0])
    turn = np.radians(plan.cut.window.paper_angle_deg(heading))
    return place, np.array([np.cos(turn), np.sin(turn)])


def lay_plate(canvas: Canvas, box: Box) -> None:
    """Lay paper under words, so that they read over hatches and lines."""
    canvas.area(
        [
            [
                (box.left, box.top),
                (box.right, box.top),
                (box.right, box.bottom),
                (box.left, box.bottom),
            ]
        ],
        PAPER,
        opacity=0.82,
    )
