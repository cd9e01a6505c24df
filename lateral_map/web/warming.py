"""Everything slow done once before the first save: imports, fonts, the first solution."""

from __future__ import annotations

import logging

from lateral_map.draw.data import map_data
from lateral_map.errors import LateralMapError
from lateral_map.frame import local_frame
from lateral_map.model.site import Accuracy, Locate, PositionTie, Run, Site, Start
from lateral_map.report import build_report
from lateral_map.web.entering import Entering


def warm_up(entering: Entering) -> None:
    """Solve and draw the site, and a line of our own where there is none yet."""
    try:
        entering.state()
        entering.profile(narrow=False)
        map_data(build_report(_plain_line()))
    except LateralMapError:
        logging.getLogger(__name__).debug("nothing to warm up with", exc_info=True)


def _plain_line() -> Site:
    """Return a straight line of one locate."""
    return Site(
        name="warm",
        frame=local_frame("m"),
        unit="m",
        start=Start(0.0, 0.0, 0.1, depth_m=1.0),
        accuracy=Accuracy(),
        run=Run(10.0),
        locates=(Locate("A", 5.0, depth_m=1.1, ties=(PositionTie(0.0, 4.85, 0.05, "xy"),)),),
    )
