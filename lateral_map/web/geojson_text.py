"""A GeoJSON file as its own text: one feature can change while every other byte stays as it was."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

_SPACE: Final = re.compile(r"[ \t\r\n]*")
_DECODER: Final = json.JSONDecoder()
EMPTY_PLAN: Final = '{\n"type": "FeatureCollection",\n"features": [\n]\n}\n'


@dataclass(frozen=True, slots=True)
class PlanText:
    """A feature collection. ``head`` and ``tail`` are the text round the features' own texts.

    ``gaps[i]`` is what stands before feature ``i``: nothing before the first, else a comma and the
    space round it.
    """

    head: str
    features: tuple[str, ...]
    gaps: tuple[str, ...]
    tail: str

    def text(self) -> str:
        """Return the file's text."""
        body = "".join(gap + feature for gap, feature in zip(self.gaps, self.features, strict=True))
        return self.head + body + self.tail

    def feature(self, index: int) -> dict[str, Any]:
        """Return one feature as values; an entry that is no object gives an empty one."""
        value = json.loads(self.features[index])
        return value if isinstance(value, dict) else {}

    def find(self, feature_text: str, near: int) -> int | None:
        """Return the index of the feature written so, the closest to ``near``; else None."""
        found = [i for i, text in enumerate(self.features) if text == feature_text]
        return min(found, key=lambda i: abs(i - near)) if found else None

    def with_feature(self, feature_text: str, at: int | None = None) -> PlanText:
        """Return the file with one more feature, at its end or before feature ``at``."""
        at = len(self.features) if at is None else min(at, len(self.features))
        features = (*self.features[:at], feature_text, *self.features[at:])
        gap = self.gaps[-1] if len(self.gaps) > 1 else ",\n"
        gaps = ("", *self.gaps[1:], gap)[: len(features)]
        tail = self.tail if self.features else "\n" + self.tail.lstrip("\r\n")
        return PlanText(self.head, features, gaps, tail)

    def with_feature_text(self, index: int, feature_text: str) -> PlanText:
        """Return the file with feature ``index`` written as ``feature_text``."""
        features = (*self.features[:index], feature_text, *self.features[index + 1 :])
        return PlanText(self.head, features, self.gaps, self.tail)

    def without_feature(self, index: int) -> PlanText:
        """Return the file without feature ``index``."""
        features = (*self.features[:index], *self.features[index + 1 :])
        gaps = ("", *self.gaps[1:][: len(features) - 1]) if features else ()
        return PlanText(self.head, features, gaps, self.tail)


def parse_plan(text: str) -> PlanText:
    """Read a feature collection's text; ``parse_plan(text).text() == text``.

    Raises ``ValueError`` where the text is no JSON object with a list of features.
    """
    start, end = _features_span(text)
    features: list[str] = []
    gaps: list[str] = []
    position = _after_space(text, start + 1)
    head_end = written = position
    while text[position] != "]":
        _, stop = _DECODER.raw_decode(text, position)
        gaps.append(text[written:position] if features else "")
        features.append(text[position:stop])
        written = stop
        position = _after_space(text, stop)
        if text[position] == ",":
            position = _after_space(text, position + 1)
    if end != position + 1:
        raise ValueError("the list of features does not end where it should")
    return PlanText(text[:head_end], tuple(features), tuple(gaps), text[written:])


def feature_text(
    properties: Mapping[str, Any], geometry: Mapping[str, Any], old: Mapping[str, Any] | None = None
) -> str:
    """Return a feature on one line; members of an ``old`` one that are not replaced are kept."""
    feature = {"type": "Feature", **(old or {})}
    feature["properties"] = {**((old or {}).get("properties") or {}), **properties}
    feature["geometry"] = dict(geometry)
    kept = {k: v for k, v in feature["properties"].items() if v is not None}
    return json.dumps({**feature, "properties": kept}, ensure_ascii=False)


def _features_span(text: str) -> tuple[int, int]:
    """Return where the top-level ``features`` list begins and ends."""
    position = _after_space(text, 1 if text.startswith("\ufeff") else 0)
    if text[position : position + 1] != "{":
        raise ValueError("the file is no JSON object")
    position = _after_space(text, position + 1)
    span: tuple[int, int] | None = None
    while text[position : position + 1] != "}":
        key, position = _DECODER.raw_decode(text, position)
        colon = _after_space(text, position)
        if text[colon : colon + 1] != ":":
            raise ValueError("a colon is missing")
        begin = _after_space(text, colon + 1)
        value, position = _DECODER.raw_decode(text, begin)
        if key == "features" and isinstance(value, list):
            span = (begin, position)
        position = _after_space(text, position)
        if text[position : position + 1] == ",":
            position = _after_space(text, position + 1)
    if span is None:
        raise ValueError("the file has no list of features")
    return span


def _after_space(text: str, position: int) -> int:
    match = _SPACE.match(text, position)
    return match.end() if match else position
