"""Where things stand on a sheet, at what scale, and which stretch of the line goes on which.

The plan stands above, the profile under it, the title strip along the foot. Stationing is the
footage along the pipe. A stretch is turned so that it runs from left to right and takes as little
height as can be.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from lateral_map.draw.paint.flags import PlacedFlag
from lateral_map.draw.paint.labels import Box
from lateral_map.draw.plan.scales import Paper, Scale, papers_for, scales_for, upright_scales
from lateral_map.draw.plan.window import Window, laid_along
from lateral_map.draw.profile.events import LANE_PT, events_above, findings_below, lanes_pt
from lateral_map.draw.profile.frame import Frame, heights_shown
from lateral_map.draw.profile.rows import ROW_PT
from lateral_map.errors import AnalysisError
from lateral_map.model.results import Report

BORDER_PT: Final = 28.0
AXIS_PT: Final = 54.0
ROWS: Final = 5
_SMALL_IN: Final = 9.0
_HEADING_PT: Final = 13.0


@dataclass(frozen=True, slots=True)
class Panels:
    """The boxes of one sheet, in points.

    ``graph`` is the profile's own grid as it is where its labels fill ``lanes_above`` over it and
    ``lanes_below`` under it; ``rows`` the figures at its foot.
    """

    border: Box
    plan: Box
    profile: Box
    heading: Box
    graph: Box
    rows: Box
    strip: Box
    lanes_above: int
    lanes_below: int


def panels_on(paper: Paper) -> Panels:
    """Lay out a sheet of ``paper``."""
    border = Box(BORDER_PT, BORDER_PT, paper.width_pt - BORDER_PT, paper.height_pt - BORDER_PT)
    small = paper.height_in < _SMALL_IN
    strip_height = 158.0 if small else 138.0
    strip = Box(border.left, border.bottom - strip_height, border.right, border.bottom)
    room = strip.top - border.top
    split = border.top + (0.44 if small else 0.445) * room
    plan = Box(border.left, border.top, border.right, split)
    profile = Box(border.left, split, border.right, strip.top)
    above, below = (4, 3) if small else (6, 4)
    left, right = profile.left + AXIS_PT, profile.right - AXIS_PT
    heading = replace(profile, bottom=profile.top + _HEADING_PT)
    rows = Box(left, profile.bottom - ROWS * ROW_PT, right, profile.bottom)
    graph = Box(
        left, heading.bottom + above * LANE_PT + 4.0, right, rows.top - below * LANE_PT - 6.0
    )
    return Panels(border, plan, profile, heading, graph, rows, strip, above, below)


# Round the line inside the plan panel, in points: room for labels.
_MARGIN_PT: Final = 40.0
# More marks than this for an inch of line do not read.
_MOST_MARKS_PER_INCH: Final = 6.0
# Scales up to here (metres for an inch) read in comfort: a larger paper comes before a coarser one.
_COMFORTABLE: Final = 3.06
_MOST_SHEETS: Final = 60
# A profile lower than this shows nothing.
_LEAST_GRAPH_PT: Final = 36.0
# A profile drawn flatter than it lies hides its fall.
_LEAST_EXAGGERATION: Final = 1.0 - 1e-9
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
    a line too long or too crowded for one takes several. No profile is drawn flatter than it lies
    where another scale or paper holds its heights. Raises ``AnalysisError`` where what was asked
    for does not exist or would take more than 60 sheets.
    """
    unit = report.site.unit
    papers, scales = papers_for(unit, paper), scales_for(unit, scale)
    fine = [one for one in scales if one.metres_per_inch <= _COMFORTABLE]
    coarse = [one for one in scales if one.metres_per_inch > _COMFORTABLE]
    on_one = [(sheet, one) for sheet in papers for one in fine]
    on_one += [(sheet, one) for one in coarse for sheet in reversed(papers)]
    flat: Setting | None = None
    for sheet, one in on_one:
        panels = panels_on(sheet)
        if _needed(report, panels, one) == 1 and (scale or _reads(report, one, 1)):
            setting = _cut(report, sheet, one, panels, 1)
            if setting.exaggeration >= _LEAST_EXAGGERATION:
                return setting
            flat = flat or setting
    panels = panels_on(papers[-1])
    for one in reversed(scales) if flat is None else ():
        needed = _needed(report, panels, one)
        if needed and (_reads(report, one, needed) or one is scales[0]):
            setting = _cut(report, papers[-1], one, panels, needed)
            if setting.exaggeration >= _LEAST_EXAGGERATION:
                return setting
            flat = flat or setting
    if flat is not None:
        return flat
    raise AnalysisError(
        f"the line would take more than {_MOST_SHEETS} sheets at {scales[-1].words}; "
        "ask for a coarser scale or a larger paper"
    )


def _reads(report: Report, scale: Scale, sheets: int) -> bool:
    """Say whether the marks along the line stay far enough apart to be told apart."""
    site = report.site
    marks = len(site.findings) + len(site.locates) + len(site.bends) + len(report.crossings)
    inches = float(np.ptp(report.stations.footage_m)) / scale.metres_per_inch
    return marks <= _MOST_MARKS_PER_INCH * inches or (sheets == 1 and marks <= 40)


def _spans(report: Report, count: int) -> list[tuple[float, float]]:
    """Return the run's footages (m) in so many equal stretches."""
    footage = report.stations.footage_m
    return list(pairwise(np.linspace(footage[0], footage[-1], count + 1).tolist()))


def _needed(report: Report, panels: Panels, scale: Scale) -> int:
    """Return how many sheets a scale takes, 0 where it is too many."""
    room = np.array([panels.plan.width - _MARGIN_PT, panels.plan.height - 2.0 * _MARGIN_PT])
    for count in range(1, _MOST_SHEETS + 1):
        spans = _spans(report, count)
        if (spans[0][1] - spans[0][0]) * scale.points_per_metre > panels.graph.width:
            continue
        laid = (laid_along(report.line_between(*span))[1] for span in spans)
        if all((size_m * scale.points_per_metre <= room).all() for size_m in laid):
            return count
    return 0


def _cut(report: Report, paper: Paper, scale: Scale, panels: Panels, count: int) -> Setting:
    cuts = tuple(
        Cut(
            number=k,
            from_m=low,
            to_m=high,
            window=Window.along(
                report.line_between(low, high), scale.points_per_metre, panels.plan
            ),
            is_first=k == 1,
            is_last=k == count,
        )
        for k, (low, high) in enumerate(_spans(report, count), start=1)
    )
    # The finest vertical scale that holds every sheet's heights, at most ten times the plan's.
    family = upright_scales("m" if scale.family == "ratio" else report.site.unit)
    room = [
        (low, high, label_graph(report, panels, scale, cut).frame.box.height)
        for cut in cuts
        for low, high in [heights_shown(report, cut.from_m, cut.to_m)]
    ]
    fitting = (
        one
        for one in family
        if scale.metres_per_inch / one.metres_per_inch <= 10.001
        and all(_AIR * one.points_per_metre * (high - low) <= pt for low, high, pt in room)
    )
    return Setting(paper, scale, next(fitting, family[-1]), panels, cuts)


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
    top = panels.heading.bottom + lanes_pt(above)
    bottom = panels.rows.top - lanes_pt(below) - 2.0
    # Labels that may not be joined leave the profile a height that shows something all the same.
    short = max(_LEAST_GRAPH_PT - (bottom - top), 0.0)
    box = replace(box, top=top - short / 2.0, bottom=bottom + short / 2.0)
    return LabelledGraph(replace(frame, box=box), above, below)
