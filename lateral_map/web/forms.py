"""The forms of the entry page: which keys and columns stand together, in which order.

What a field is called, what it means, its unit and its choices are the site format's own.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Final

from lateral_map.errors import Fault, Key
from lateral_map.reading.plan import PLAN_KINDS, FeatureProperties
from lateral_map.reading.vocabulary import VOCABULARY, Described, describe
from lateral_map.words.entering import MEANINGS, USUAL_ERROR


@dataclass(frozen=True, slots=True)
class Group:
    """Fields shown together; one that is ``optional`` is opened by its title's button.

    After a field's name, ``?`` shows below it what it means, and ``+`` carries its value on.
    ``path`` is the table of site.toml the fields are in.
    """

    title: str
    fields: str
    optional: bool = False
    key: str = ""
    help: str = ""
    path: str = ""


# A new row starts with these; and these are the turns most often met.
_PRESELECTED: Final = {"how": "fitting"}
_TOLD: Final = ("accuracy", "depth", "source")  # properties of the plan that need a word more
_PICKS: Final = {  # by the field's title
    "Turn": ("-90", "-45", "-22.5", "-11.25", "11.25", "22.5", "45", "90"),
    "Then turn": ("-90", "-45", "45", "90"),
}

_OFF: Final = {"use"}  # a button of the row
FORMS: Final[dict[str, tuple[Group, ...]]] = {
    "locates.csv": (
        Group("", "mark footage depth held_above+"),
        Group(
            "Tapes",
            "tape1_from+ tape1 tape2_from+ tape2 tape3_from+ tape3",
            optional=True,
            key="tapes",
            help="Held level, from the point to the paint mark.",
        ),
        Group("Plan line", "line+ past? along? offset?", optional=True, key="line"),
        Group("Position", "lat lon x y accuracy?", optional=True, key="position"),
        Group("No locate", "no_locate?", optional=True, key="no_locate"),
        Group("More", "ground peak nulls? nulls_held_above note", optional=True, key="more"),
    ),
    "sketch.csv": (
        Group("", "what name from to distance turn side?"),
        Group("Along and square", "along? offset", optional=True, key="square"),
        Group(
            "Tapes",
            "tape1_from tape1 tape2_from tape2 tape3_from tape3",
            optional=True,
            key="tapes",
            help="Two tapes leave two places: say on which side above.",
        ),
        Group("A line", "line through? basis?", optional=True, key="line"),
        Group("Known place", "lat lon x y", optional=True, key="position"),
        Group("More", "accuracy? azimuth? note", optional=True, key="more"),
    ),
    "bends.csv": (Group("", "footage? turn? fall? how?+ note"),),
    "findings.csv": (
        Group("", "footage? to? finding severity note", key="finding"),
        Group("More", "clock? video video_time", optional=True, key="more"),
    ),
    "site": (
        Group("Site", "name date unit crs? fall_code?", path="site"),
        Group(
            "Start of the footage",
            "point x y lat lon accuracy? depth? depth_accuracy? ground riser? azimuth? "
            "azimuth_accuracy?",
            path="start",
            help="Give one of: a point, x and y, or latitude and longitude.",
        ),
        Group("End of the run", "end_footage? end?", path="run"),
        Group(
            "Which way the camera went",
            "camera_direction",
            path="job",
            help="The pipe is taken to fall with the flow: say so of a run against it, such as one "
            "from a manhole toward the house.",
        ),
        Group(
            "Footage counter",
            "zero zero_accuracy? scale_accuracy? reading_accuracy?",
            optional=True,
            path="counter",
        ),
        Group(
            "Transmitter",
            "behind_lens? above_invert? depth_accuracy? depth_floor?",
            optional=True,
            path="transmitter",
        ),
        Group(
            "Digging",
            "tolerance_zone? rule soil? walls? box_height? trench_width? bedding?",
            optional=True,
            path="dig",
        ),
        Group(
            "For the utility's desk",
            "address parcel permit work_order owner contact inspector certificate access_point "
            "video video_time vertical_datum urgency urgency_ground?",
            optional=True,
            path="job",
            help="What the utility's own form asks for. What is left empty stands in no letter.",
        ),
        Group(
            "The main",
            "asset? line? upstream? downstream? from? distance? accuracy?",
            optional=True,
            path="main",
        ),
        Group(
            "The letter",
            "client? to from date? reference question? signature",
            optional=True,
            path="referral",
        ),
        Group("An earlier run", "earlier?", optional=True, path="site"),
        Group(
            "A picture underneath",
            "file? accuracy? crs? source date licence?",
            optional=True,
            key="picture",
            path="picture",
            help="An aerial, a scanned plan, a photographed sketch: it lies under the map, and "
            "places can be tapped on it.",
        ),
        Group(
            "Accuracies",
            "tape tape_fraction mark mark_fraction offset ground corner? square? fitting eye "
            "wander? fall? fall_accuracy fall_wander? mapped_line? mapped_point?",
            optional=True,
            path="accuracy",
            help="Each a usual error: two readings of three are nearer than that, one is farther "
            "off. An empty field is the usual value.",
        ),
    ),
    "pipe": (Group("", "from material+ size? joint_length?"),),
    "boundary": (Group("", "line at? footage? name? inside? outside decides"),),
    "picture_point": (Group("", "column? row point x y lat lon"),),
}


_PLAN_WORDS: Final = describe(FeatureProperties)


def title_of(table: str, name: str) -> str:
    """Return what a form calls a key of a table of site.toml, or a column of a file."""
    words = VOCABULARY.get(table, _PLAN_WORDS)
    title = words[name].title if name in words else name
    return title.removeprefix("or ").removeprefix("and ")


def titled(table: str, name: str) -> str:
    """Return a field's title in a sentence, between quotation marks."""
    return f"“{title_of(table, name)}”"


def setting_title(path: str) -> str:
    """Return what a form calls a setting, by its dotted path; a whole entry by its table."""
    table, *_, name = path.split(".")
    return table.replace("_", " ") if name.isdigit() or name == table else title_of(table, name)


def form_words(fault: Fault) -> str:
    """Return what is wrong, of the forms' own fields as they are called there."""
    settings = fault.file == "site.toml"
    own = re.split(r"[.\[]", fault.field)[0] if settings else fault.file

    def label(key: Key) -> str:
        there = " under Site" if key.table not in ("", own) else ""
        return titled(key.table or own, key.name) + there

    return fault.in_form(label)


def _fields(entries: str, words: Mapping[str, Described]) -> list[dict[str, Any]]:
    """Return fields by their entries; a ``required`` choice cannot be taken back."""
    fields = []
    for entry in entries.split():
        name = entry.rstrip("?+")
        word = words[name]
        told = word.description.replace("1 sd", USUAL_ERROR)
        fields.append(
            {
                "name": name,
                "label": word.title,
                "kind": word.kind,
                "unit": word.unit,
                "help": told[:1].upper() + told[1:] if "?" in entry else "",
                "choices": _PICKS.get(word.title, word.choices),
                "keep": "+" in entry,
                "default": _PRESELECTED.get(name, ""),
                "free": word.free,
                "required": word.required and not word.free,
            }
        )
    return fields


def form_values() -> dict[str, Any]:
    """Return every form in plain values for the page."""
    forms: dict[str, Any] = {}
    for name, groups in FORMS.items():
        entries = [group.fields for group in groups]
        if name.endswith(".csv"):
            # A column that no group names stands in the last one, with what it means.
            named = {entry.rstrip("?+") for fields in entries for entry in fields.split()}
            entries[-1] += "".join(
                f" {one}?" for one in VOCABULARY[name] if one not in named | _OFF
            )
        forms[name] = [
            asdict(group) | {"fields": _fields(fields, VOCABULARY[group.path or name])}
            for group, fields in zip(groups, entries, strict=True)
        ]
    forms["plan"] = {
        name: {
            "title": kind.title,
            "shape": kind.shape,
            "words": kind.words,
            "fields": _fields(
                " ".join(f"{one}?" if one in _TOLD else one for one in kind.properties),
                _PLAN_WORDS,
            ),
        }
        for name, kind in PLAN_KINDS.items()
    }
    forms["meanings"] = list(MEANINGS.items())
    return forms
