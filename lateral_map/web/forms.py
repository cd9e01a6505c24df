"""The forms of the entry page: each field's label, unit, help and choices, once.

A field's ``kind`` says how it is entered: ``length``, ``number``, ``angle``, ``text``, ``name`` of
a plan point or line, ``choice``, ``date``, ``flag``. ``unit`` is what stands behind the field:
``length`` (the site's own), ``size`` (inches, millimetres on a metric site), ``xy`` (the coordinate
system's), or the text itself. The names are those of the site's files.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Final, get_args

from lateral_map.model.site import (
    Cover,
    FallCodeName,
    LineKind,
    Material,
    Peak,
    Severity,
    UtilityKind,
)


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a form; ``keep`` carries its last value on to the next row.

    A ``free`` choice may be in other words; a ``required`` one cannot be taken back.
    """

    name: str
    label: str
    kind: str = "text"
    unit: str = ""
    help: str = ""
    choices: tuple[str, ...] = ()
    keep: bool = False
    default: str = ""
    free: bool = False
    required: bool = False


@dataclass(frozen=True, slots=True)
class Group:
    """Fields shown together; one that is ``optional`` is opened by its title's button."""

    title: str
    fields: tuple[Field, ...]
    optional: bool = False
    key: str = ""
    help: str = ""
    path: str = ""


def _length(name: str, label: str, help: str = "", **more: Any) -> Field:  # noqa: A002
    return Field(name, label, "length", "length", help, **more)


def _tape(number: int) -> tuple[Field, Field]:
    nth = ("first", "second", "third")[number - 1]
    return (
        Field(f"tape{number}_from", f"{nth.capitalize()} tape from", "point", keep=True),
        _length(f"tape{number}", "Distance"),
    )


LOCATE: Final = (
    Group(
        "",
        (
            Field("mark", "Mark"),
            _length("footage", "Footage"),
            _length("depth", "Depth shown"),
            _length("held_above", "Held above ground", keep=True),
        ),
    ),
    Group(
        "Tapes",
        (*_tape(1), *_tape(2), *_tape(3)),
        optional=True,
        key="tapes",
        help="Held level, from the point to the paint mark.",
    ),
    Group(
        "Plan line",
        (
            Field("line", "Plan line", "line", keep=True),
            _length("past", "Past it", "Beyond a boundary as seen from the start; before it −."),
            _length("along", "Along it", "From the line's first end."),
            _length("offset", "Off it", "Right of its direction; left is −."),
        ),
        optional=True,
        key="line",
    ),
    Group(
        "Position",
        (
            Field("lat", "Latitude", "number", "°"),
            Field("lon", "Longitude", "number", "°"),
            Field("x", "x (east)", "number", "xy"),
            Field("y", "y (north)", "number", "xy"),
            _length(
                "accuracy",
                "Accuracy",
                "1 sd, each axis. Empty: 4 ft for latitude and longitude, 0.1 ft for x and y.",
            ),
        ),
        optional=True,
        key="position",
    ),
    Group(
        "More",
        (
            _length("ground", "Ground level here"),
            Field("peak", "Peak used", "choice", choices=get_args(Peak)),
            _length("nulls", "Between the two nulls", "On the ground, along the pipe."),
            Field("note", "Note"),
        ),
        optional=True,
        key="more",
    ),
)

BEND: Final = (
    Group(
        "",
        (
            _length("footage", "Footage", "The counter's reading at the bend."),
            Field(
                "turn",
                "Turn",
                "angle",
                "°",
                "Right is +, left is −.",
                ("-90", "-45", "-22.5", "-11.25", "11.25", "22.5", "45", "90"),
            ),
            Field("fall", "Fall", "angle", "°", "Down is +, up is −."),
            Field(
                "how",
                "Known by",
                "choice",
                help="Its fitting, or judged by eye on the screen.",
                choices=("fitting", "eye"),
                keep=True,
                default="fitting",
            ),
            Field("note", "Note"),
        ),
    ),
)

FINDING: Final = (
    Group(
        "",
        (
            _length("footage", "Footage", "Where it is, or begins."),
            _length("to", "To", "Where a stretch ends; else empty."),
            Field(
                "finding",
                "Finding",
                "choice",
                choices=(
                    "roots", "crack", "offset joint", "broken pipe", "standing water",
                    "grease", "tap", "transition", "other",
                ),
                free=True,
            ),
            Field("severity", "Severity", "choice", choices=get_args(Severity)),
            Field("note", "Note"),
        ),
    ),
)  # fmt: skip

SITE: Final = (
    Group(
        "Site",
        (
            Field("name", "Name"),
            Field("date", "Day of the inspection", "date"),
            Field("unit", "Unit of lengths", "choice", choices=("ft", "us_ft", "m"), required=True),
            Field(
                "crs",
                "Coordinate system",
                help="local for a sketch tied to no place on earth, else a projected system such "
                "as EPSG:6499. GNSS needs a projected one.",
            ),
            Field(
                "fall_code",
                "Plumbing code for the fall",
                "choice",
                choices=get_args(FallCodeName),
                help="Without one, the IPC's least fall is used.",
            ),
        ),
        path="site",
    ),
    Group(
        "Start of the footage",
        (
            Field("point", "At the reference point", "point"),
            Field("x", "or x (east)", "number", "xy"),
            Field("y", "and y (north)", "number", "xy"),
            Field("lat", "or latitude", "number", "°"),
            Field("lon", "and longitude", "number", "°"),
            _length("accuracy", "Accuracy", "1 sd, each axis."),
            _length("depth", "Depth to invert", "Below ground, at the start."),
            _length("depth_accuracy", "Depth accuracy", "1 sd."),
            _length("ground", "Ground level there"),
            _length("riser", "Riser", "Footage spent going straight down first."),
            Field("azimuth", "Direction it leaves in", "angle", "°", "Clockwise from grid north."),
            Field("azimuth_accuracy", "Direction accuracy", "number", "°", "1 sd."),
        ),
        path="start",
        help="Give one of: a point, x and y, or latitude and longitude.",
    ),
    Group(
        "End of the run",
        (
            _length("end_footage", "Footage at the end"),
            Field("end", "It ended at", "choice", choices=("main", "not reached")),
        ),
        path="run",
    ),
    Group(
        "Footage counter",
        (
            _length("zero", "Reading at the start"),
            _length("zero_accuracy", "Zero accuracy", "1 sd."),
            Field("scale_accuracy", "Scale accuracy", "number", "", "1 sd, as a fraction: 0.01."),
            _length("reading_accuracy", "Reading accuracy", "1 sd."),
        ),
        optional=True,
        path="counter",
    ),
    Group(
        "Transmitter",
        (
            _length("behind_lens", "Behind the lens"),
            _length("above_invert", "Above the invert"),
            Field("depth_accuracy", "Depth accuracy", "number", "", "1 sd, as a fraction: 0.05."),
            _length("depth_floor", "Never better than"),
        ),
        optional=True,
        path="transmitter",
    ),
    Group(
        "Digging",
        (
            _length(
                "tolerance_zone",
                "Tolerance zone",
                "Each side of the pipe's outside wall, from the local rule: 24 in.",
            ),
            Field("rule", "The local rule, in words"),
            Field("soil", "Soil", "choice", choices=("stable rock", "A", "B", "C")),
            _length("trench_width", "Trench width", "At the bottom: 24 in."),
            _length("bedding", "Bedding", "Dug below the pipe: 6 in."),
        ),
        optional=True,
        path="dig",
    ),
    Group(
        "Accuracies",
        (
            _length("tape", "Tape"),
            Field("tape_fraction", "Tape, of its length", "number"),
            _length("mark", "Paint mark"),
            Field("mark_fraction", "Paint mark, of the depth", "number"),
            _length("offset", "Along or off a line"),
            _length("ground", "Ground level"),
            Field("fitting", "Bend by its fitting", "number", "°"),
            Field("eye", "Bend by eye", "number", "°"),
            Field("wander", "Wander in plan", "number", "°/√"),
            Field("fall", "Expected grade", "number", "", "A ratio: 0.02 is 2 %."),
            Field("fall_accuracy", "Grade accuracy", "number"),
            Field("fall_wander", "Wander in profile", "number", "°/√"),
            _length("mapped_line", "Mapped line"),
            _length("mapped_point", "Mapped point"),
        ),
        optional=True,
        path="accuracy",
        help="All 1 sd; an empty field is the usual value.",
    ),
)

PIPE: Final = (
    Group(
        "",
        (
            _length("from", "From footage"),
            Field("material", "Material", "choice", choices=get_args(Material), keep=True),
            Field("size", "Nominal size", "length", "size"),
            _length("joint_length", "Length of one pipe", "Joint to joint; else empty."),
        ),
    ),
)

BOUNDARY: Final = (
    Group(
        "",
        (
            Field("line", "Plan line", "line"),
            Field("inside", "Who answers before it", help="On the start's side."),
            Field("outside", "Who answers past it"),
            Field("decides", "Responsibility changes here", "flag"),
        ),
    ),
)

_NAMED: Final = Field("name", "Name")
_ACCURATE: Final = _length("accuracy", "Accuracy of its place", "1 sd. Empty: the usual.")
PLAN_KINDS: Final[dict[str, dict[str, Any]]] = {
    "reference": {
        "title": "Reference point", "shape": "Point",
        "words": "A corner, hydrant, meter or pole to tape from.",
        "fields": (_NAMED, _ACCURATE, _length("z", "Level there")),
    },
    "ground": {
        "title": "Spot level", "shape": "Point", "words": "A measured ground level.",
        "fields": (_NAMED, _length("z", "Level there")),
    },
    "curb": {"title": "Curb", "shape": "LineString", "fields": (_NAMED, _ACCURATE)},
    "right_of_way": {
        "title": "Right-of-way line", "shape": "LineString", "fields": (_NAMED, _ACCURATE),
    },
    "property_line": {
        "title": "Property line", "shape": "LineString", "fields": (_NAMED, _ACCURATE),
    },
    "centreline": {"title": "Centreline", "shape": "LineString", "fields": (_NAMED, _ACCURATE)},
    "utility": {
        "title": "Utility", "shape": "LineString",
        "words": "As marked on the ground or from a record.",
        "fields": (
            _NAMED,
            Field("utility", "What it is", "choice", choices=get_args(UtilityKind)),
            _length("depth", "Depth to its top", "Empty: unknown."),
            _ACCURATE,
            Field("source", "Where this is from", help="Paint marks on site, a record drawing ..."),
        ),
    },
    "building": {"title": "Building", "shape": "Polygon", "fields": (_NAMED,)},
    "surface": {
        "title": "Surface", "shape": "Polygon",
        "fields": (_NAMED, Field("cover", "Cover", "choice", choices=get_args(Cover))),
    },
}  # fmt: skip
LINE_KINDS: Final = get_args(LineKind)


def form_values() -> dict[str, Any]:
    """Return every form in plain values for the page."""
    forms = {
        "locates.csv": LOCATE, "bends.csv": BEND, "findings.csv": FINDING, "site": SITE,
        "pipe": PIPE, "boundary": BOUNDARY,
    }  # fmt: skip
    kinds = {
        key: {"words": "", **kind, "fields": [asdict(field) for field in kind["fields"]]}
        for key, kind in PLAN_KINDS.items()
    }
    return {
        **{name: [asdict(group) for group in groups] for name, groups in forms.items()},
        "plan": kinds,
    }
