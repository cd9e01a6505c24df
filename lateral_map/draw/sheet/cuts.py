"""Which stretch of the line goes on which sheet, how each is turned, and at what scale.

Stationing is the footage along the pipe. A stretch is turned so that it runs from left to right
and takes as little height as can be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lateral_map.draw.paint.flags import PlacedFlag
from lateral_map.draw.paint.labels import Box
from lateral_map.draw.plan.scales import Scale, scales_for, upright_scales
from lateral_map.draw.plan.window import Window, laid_along
from lateral_map.draw.profile.events import events_above, findings_below, lanes_pt
from lateral_map.draw.profile.frame import Frame, heights_shown
from lateral_map.draw.sheet.panels import Panels, panels_on
from lateral_map.draw.sheet.paper import Paper, papers_for
from lateral_map.errors import AnalysisError
from lateral_map.model.results import Report

Floats = NDArray[np.float64]

# Round the line inside the plan panel, in points: room for labels.
_MARGIN_PT: Final = 40.0
# More marks than this for an inch of line do not read.
_MOST_MARKS_PER_INCH: Final = 6.0
# Scales up to here (metres for an inch) read in comfort: a larger paper comes before a coarser one.
_COMFORTABLE: Final = 3.06
_MOST_SHEETS: Final = 60
# Air over and under a profile's heights, as a share of them.
_AIR: Final = 1.05


@dataclass(frozen=True, slots=True)
class Cut:
    """One sheet's stretch of footage (m), its plan window, and where its neighbours go on."""

    number: int
    from_m: float
    to_m: float
    window: Window
    is_first: bool
    is_last: bool

    def holds(self, footage_m: float) -> bool:
        """Say whether a footage belongs on this sheet; a match line's to the sheet that begins."""
        after = self.is_first or footage_m >= self.from_m
        return after and (self.is_last or footage_m < self.to_m)


@dataclass(frozen=True, slots=True)
class Setting:
    """What every sheet of a set shares: paper, scales, panels, and how the line is cut."""

    paper: Paper
    scale: Scale
    upright: Scale
    panels: Panels
    cuts: tuple[Cut, ...]

    @property
    def exaggeration(self) -> float:
        """How many times steeper the profile is drawn than it lies."""
        return self.scale.metres_per_inch / self.upright.metres_per_inch


def choose_setting(
    report: Report, *, paper: str | None = None, scale: str | None = None
) -> Setting:
    """Choose paper and scale, or take those asked for, and cut the line into sheets.

    The finest scale at which the whole line reads on one sheet, small paper first, comes first;
    a line too long or too crowded for one takes several. Raises ``AnalysisError`` where what was
    asked for does not exist or would take more than 60 sheets.
    """
    unit = report.site.unit
    papers, scales = papers_for(unit, paper), scales_for(unit, scale)
    tried = _order(papers, scales)
    for one_paper, one_scale in tried:
        panels = panels_on(one_paper)
        if _needed(report, panels, one_scale) == 1 and (scale or _reads(report, one_scale, 1)):
            return _set(report, one_paper, one_scale, panels)
    for one_paper, one_scale in [(papers[-1], each) for each in reversed(scales)]:
        panels = panels_on(one_paper)
        needed = _needed(report, panels, one_scale)
        if needed and (_reads(report, one_scale, needed) or one_scale is scales[0]):
            return _set(report, one_paper, one_scale, panels)
    raise AnalysisError(
        f"the line would take more than {_MOST_SHEETS} sheets at {scales[-1].words}; "
        "ask for a coarser scale or a larger paper"
    )


def _order(papers: Sequence[Paper], scales: Sequence[Scale]) -> list[tuple[Paper, Scale]]:
    fine = [scale for scale in scales if scale.metres_per_inch <= _COMFORTABLE]
    coarse = [scale for scale in scales if scale.metres_per_inch > _COMFORTABLE]
    comfortable = [(paper, scale) for paper in papers for scale in fine]
    return comfortable + [(paper, scale) for scale in coarse for paper in reversed(papers)]


def _reads(report: Report, scale: Scale, sheets: int) -> bool:
    """Say whether the marks along the line stay far enough apart to be told apart."""
    site = report.site
    marks = len(site.findings) + len(site.locates) + len(site.bends) + len(report.crossings)
    first, last = _ends(report)
    inches = (last - first) / scale.metres_per_inch
    return marks <= _MOST_MARKS_PER_INCH * inches or (sheets == 1 and marks <= 40)


def _ends(report: Report) -> tuple[float, float]:
    footage = report.stations.footage_m
    return float(footage[0]), float(footage[-1])


def _needed(report: Report, panels: Panels, scale: Scale) -> int:
    """Return how many sheets a scale takes, 0 where it is too many."""
    first, last = _ends(report)
    for count in range(1, _MOST_SHEETS + 1):
        edges = np.linspace(first, last, count + 1)
        if (edges[1] - edges[0]) * scale.points_per_metre > panels.graph.width:
            continue
        spans = pairwise(edges)
        if all(_fits(report, panels.plan, scale, float(a), float(b)) for a, b in spans):
            return count
    return 0


def _fits(report: Report, box: Box, scale: Scale, from_m: float, to_m: float) -> bool:
    _, span = laid_along(report.line_between(from_m, to_m))
    room = np.array([box.width - _MARGIN_PT, box.height - 2.0 * _MARGIN_PT])
    return bool((span * scale.points_per_metre <= room).all())


def _set(report: Report, paper: Paper, scale: Scale, panels: Panels) -> Setting:
    first, last = _ends(report)
    count = _needed(report, panels, scale)
    edges = np.linspace(first, last, count + 1)
    cuts = tuple(
        Cut(
            number=k + 1,
            from_m=float(edges[k]),
            to_m=float(edges[k + 1]),
            window=Window.along(
                report.line_between(float(edges[k]), float(edges[k + 1])),
                scale.points_per_metre,
                panels.plan,
            ),
            is_first=k == 0,
            is_last=k == count - 1,
        )
        for k in range(count)
    )
    return Setting(paper, scale, _upright(report, panels, scale, cuts), panels, cuts)


def _upright(report: Report, panels: Panels, scale: Scale, cuts: tuple[Cut, ...]) -> Scale:
    """Return the finest vertical scale that holds every sheet's heights, at most ten times plan."""
    family = upright_scales("m" if scale.words.startswith("1:") else report.site.unit)
    room = [
        (low, high, label_graph(report, panels, scale, cut).frame.box.height)
        for cut in cuts
        for low, high in [heights_shown(report, cut.from_m, cut.to_m)]
    ]
    for upright in family:
        steep = scale.metres_per_inch / upright.metres_per_inch
        per_m = _AIR * upright.points_per_metre
        if steep <= 10.001 and all(per_m * (high - low) <= pt for low, high, pt in room):
            return upright
    return family[-1]


@dataclass(frozen=True, slots=True)
class LabelledGraph:
    """A sheet's graph between the labels over and under it; its heights are still to be chosen."""

    frame: Frame
    above: tuple[PlacedFlag, ...]
    below: tuple[PlacedFlag, ...]


def label_graph(report: Report, panels: Panels, scale: Scale, cut: Cut) -> LabelledGraph:
    """Place the labels of a sheet's profile: they decide where its graph begins and ends."""
    half = (cut.to_m - cut.from_m) * scale.points_per_metre / 2.0
    middle = panels.graph.middle[0]
    box = replace(panels.graph, left=middle - half, right=middle + half)
    frame = Frame(box, cut.from_m, cut.to_m, 0.0, 1.0, cut.is_first, cut.is_last)
    # The words of a match line stand beside the graph.
    right = panels.profile.right - 3.0 if cut.is_last else box.right + 33.0
    above = events_above(report, frame, panels.lanes_above, right)
    below = findings_below(report, frame, panels.lanes_below, right)
    box = replace(
        box,
        top=panels.heading.bottom + lanes_pt(above),
        bottom=panels.rows.top - lanes_pt(below) - 2.0,
    )
    return LabelledGraph(replace(frame, box=box), above, below)
