"""Sites for the sheets: any length, any number of findings, shapes whose true size is known."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon
from truth.simulate import FOOT, default_accuracy

from lateral_map.frame import local_frame
from lateral_map.model.results import Report
from lateral_map.model.site import (
    Bend,
    Boundary,
    DigRules,
    Finding,
    Locate,
    PipeRun,
    Plan,
    PlanArea,
    PlanLine,
    PlanPoint,
    PositionTie,
    Run,
    Site,
    Start,
    UtilityLine,
)
from lateral_map.report import build_report

WORDS = ("roots", "crack", "offset joint", "broken pipe", "standing water")
SHED_M = (1.6, 2.4)  # the shed's true width and depth


def line_site(
    length_ft: float = 100.0,
    findings: int = 10,
    bends: tuple[tuple[float, float], ...] = (),
    *,
    unit: Any = "ft",
    seed: int = 1,
    **changes: Any,
) -> Site:
    """Return a site running east by north; ``bends`` are (footage in ft, degrees)."""
    rng = np.random.default_rng(seed)
    place = _track(length_ft, bends)
    curb, street = place(0.7 * length_ft), np.array([-0.1, 1.0])
    fields: dict[str, Any] = {
        "name": "Line of known size",
        "frame": local_frame(unit),
        "unit": unit,
        "start": Start(0.0, 0.0, 0.1, depth_m=4.0 * FOOT, azimuth_deg=80.0),
        "accuracy": default_accuracy(),
        "run": Run(length_ft * FOOT),
        "pipes": (
            PipeRun(0.0, "clay", 0.1524),
            PipeRun(0.7 * length_ft * FOOT, "pvc", 0.1016),
        ),
        "boundaries": (Boundary("curb", "owner", "city", decides=True),),
        "bends": tuple(Bend(at * FOOT, turn) for at, turn in bends),
        "locates": tuple(
            Locate(
                f"{index}",
                at * FOOT,
                (4.0 + 0.01 * at) * FOOT,
                ties=(PositionTie(*(place(at - 0.5) + rng.normal(0, 0.05, 2)), 0.05, "xy"),),
            )
            for index, at in enumerate(np.arange(10.0, length_ft, 24.0), start=1)
        ),
        "findings": tuple(
            Finding(
                float(at) * FOOT,
                WORDS[index % len(WORDS)],
                (float(at) + 1.0) * FOOT if index % 9 == 0 else None,
                (None, "minor", "moderate", "severe")[index % 4],
                "seen twice",
            )
            for index, at in enumerate(np.sort(rng.uniform(3.0, length_ft - 2.0, findings)))
        ),
        "plan": Plan(
            lines=(
                PlanLine("curb", "curb", np.stack([curb - 20 * street, curb + 20 * street]), 0.15),
            ),
            utilities=(
                _utility("gas main", "gas", curb + np.array([2.0, 0.0]), street, 0.9),
                _utility("water main", "water", curb + np.array([5.0, 0.0]), street, None),
            ),
            points=(PlanPoint("house corner", 0.5, 4.0, 0.03),),
            areas=(
                PlanArea("shed", "building", _shed()),
                PlanArea("lawn", "surface", _band(-1.0, float(curb[0]) - 3.0), "lawn"),
            ),
        ),
        "dig": DigRules(tolerance_zone_m=0.6096, rule="made up for a test"),
    }
    return Site(**(fields | changes))


def line_report(*given: Any, **changes: Any) -> Report:
    """Return the report of ``line_site``."""
    return build_report(line_site(*given, **changes))


def _track(length_ft: float, bends: tuple[tuple[float, float], ...]) -> Any:
    heading, at, here = np.radians(80.0), 0.0, np.zeros(2)
    footages, places = [0.0], [here]
    for footage, turn in (*bends, (length_ft, 0.0)):
        here = here + (footage - at) * FOOT * np.array([np.sin(heading), np.cos(heading)])
        footages.append(footage)
        places.append(here)
        heading, at = heading + np.radians(turn), footage
    line = np.array(places)

    def place(footage: float) -> NDArray[np.float64]:
        return np.array([np.interp(footage, footages, line[:, i]) for i in (0, 1)])

    return place


def _utility(name: str, kind: Any, through: Any, along: Any, depth_m: float | None) -> UtilityLine:
    return UtilityLine(name, kind, np.stack([through - 20 * along, through + 20 * along]), depth_m)


def _shed() -> Polygon:
    """Return a shed beside the start, small enough to show whole at every scale."""
    width, depth = SHED_M
    return Polygon([(1.0, 1.5), (1.0 + width, 1.5), (1.0 + width, 1.5 + depth), (1.0, 1.5 + depth)])


def _band(west: float, east: float) -> Polygon:
    return Polygon([(west, -6.0), (east, -6.0), (east, 25.0), (west, 25.0)])
