"""overview.html: every route of a programme on one page that asks nothing of the network.

The page's data stands in a block of its own, written a site at a time; its script puts numbers on
one canvas and text on the page as text. Seen from far off, sites are gathered in counted discs.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np
import shapely
from markupsafe import Markup

from lateral_map.batch.store import Kept
from lateral_map.batch.tables import PAST, TABLES, Row
from lateral_map.draw.data import data_json
from lateral_map.draw.page import asset, content_policy, leaflet_css, leaflet_js, page_template
from lateral_map.draw.style import OKABE_ITO
from lateral_map.model.diagnosis import WORTH_DOUBT
from lateral_map.words.cautions import PROGRAMME_CAUTION
from lateral_map.words.names import VERDICT_WORDS
from lateral_map.words.programme import CLASS_WORDS, SKETCH

# Beyond these the page would be too heavy to open: routes become points, then there is no page.
_HOME: Final = "lateral_map.batch"
MOST_ROUTES: Final = 50_000
MOST_SITES: Final = 200_000
_PER_DEGREE: Final = 1e7  # a unit of the page's places: 1 cm
# What a site is shown as, the first that holds; each has a shape as well as a colour.
CLASSES: Final = {
    "danger": (OKABE_ITO["black"], "octagon"),
    "past": (OKABE_ITO["vermillion"], "diamond"),
    "undecided": (OKABE_ITO["orange"], "triangle"),
    "doubtful": (OKABE_ITO["reddish purple"], "square"),
    "inside": (OKABE_ITO["blue"], "disc"),
}
_NAMES: Final = tuple(CLASSES)


class OverviewWriter:
    """Writes the page a site at a time; a context manager, whole when it is left."""

    def __init__(self, path: Path, title: str, unit: str, sites: int) -> None:
        self._lines = sites <= MOST_ROUTES
        self._file = None
        if sites <= MOST_SITES:
            styles = (leaflet_css(), asset("batch.css", _HOME))
            script = (leaflet_js(), asset("overview.js", _HOME))
            whole = page_template("overview.html.j2", _HOME).render(
                policy=content_policy(styles, script),
                styles=[Markup(style) for style in styles],  # noqa: S704  # our own files
                scripts=[Markup(one) for one in script],  # noqa: S704  # our own files
                title=title,
                caution=PROGRAMME_CAUTION,
                lines=self._lines,
                data=Markup("\0"),
            )
            before, _, self._after = whole.partition("\0")
            self._file = path.open("w", encoding="utf-8")
            head = {
                "unit": "m" if unit == "m" else "ft",
                "classes": [
                    {"words": CLASS_WORDS[name], "colour": colour, "shape": shape}
                    for name, (colour, shape) in CLASSES.items()
                ],
                "verdicts": VERDICT_WORDS,
                "sketch": SKETCH,
            }
            self._file.write(before)
            self._file.write(f'{{"head": {data_json(head)}, "sites": [')
        self._first = True

    def __enter__(self) -> OverviewWriter:
        return self

    def add(self, kept: Kept, rows: dict[str, list[Row]]) -> None:
        """Write one site; a sketch tied to no place on earth is found by its name alone."""
        facts = kept.facts
        if self._file is None:
            return
        placed = facts["lon"] is not None
        origin = np.array([facts["lon"], facts["lat"]]) if placed else np.zeros(2)
        route = [shape for shape, _ in rows["routes"] if shape]
        line = self._units(shapely.get_coordinates(shapely.from_wkb(route[:1])), origin)
        steps = np.diff(line, axis=0, prepend=0)
        at = {name: place for place, name in enumerate(TABLES["findings"].columns)}
        found = [shape for shape, _ in rows["findings"] if shape]
        places = iter(
            self._units(shapely.get_coordinates(shapely.from_wkb(found)), origin).tolist()
        )
        findings = [
            [
                *(next(places) if shape else (None, None)),
                cells[at["finding"]],
                cells[at["footage"]],
                _NAMES.index(finding_class(cells[at["class"]], cells[at["verdict"]])),
                cells[at["verdict"]],
            ]
            for shape, cells in rows["findings"]
        ]
        entry = [
            kept.name,
            facts["name"],
            facts["date"],
            *(np.rint(origin * _PER_DEGREE).astype(int).tolist() if placed else (None, None)),
            _NAMES.index(class_of(facts)),
            steps.ravel().tolist() if self._lines else [],
            findings,
            [facts["length"], facts["greatest_depth"], facts["past"], facts["dangers"]],
            facts["diagnosis"] if is_open(facts) else None,
            facts["worst_verdict"],
        ]
        self._file.write(("\n" if self._first else ",\n") + data_json(entry))
        self._first = False

    def __exit__(self, *_: object) -> None:
        if self._file is not None:
            self._file.write(f"]}}{self._after}")
            self._file.close()

    @staticmethod
    def _units(places: Any, origin: Any) -> Any:
        return np.rint((places - origin) * _PER_DEGREE).astype(int)


def finding_class(finding: str, verdict: str | None) -> str:
    """Return what a finding of that class and verdict is shown as."""
    if finding == "danger":
        return "danger"
    if verdict == "too close to call":
        return "undecided"
    return "past" if verdict in PAST else "inside"


def class_of(facts: dict[str, Any]) -> str:
    """Return what a site is shown as."""
    if facts["dangers"]:
        return "danger"
    if facts["past"]:
        return "past"
    if facts["worst_verdict"] == "too close to call":
        return "undecided"
    return "doubtful" if is_open(facts) else "inside"


def is_open(facts: dict[str, Any]) -> bool:
    """Say whether readings of a site disagree and nobody has settled why."""
    if not facts["diagnosed"]:
        return bool(facts["suspects"])
    return (facts["diagnosis_probability"] or 0.0) >= WORTH_DOUBT
