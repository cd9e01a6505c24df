"""Plan features as a file holds them, before their kinds and places are judged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from shapely.geometry.base import BaseGeometry

from lateral_map.reading.words import LONGEST_TEXT, clean_name, plain


@dataclass(frozen=True, slots=True)
class Feature:
    """One feature: where it stands in its file, in words, its properties and its geometry."""

    label: str
    properties: Mapping[str, object]
    geometry: BaseGeometry


@dataclass(frozen=True, slots=True)
class FeatureFile:
    """A plan file's features.

    ``coordinates`` says what they are in: WGS 84 longitude and latitude, or the site's declared
    system, x before y in both. ``lost`` are names of features left out for a fault of their own.
    """

    file: str
    features: tuple[Feature, ...]
    coordinates: Literal["lonlat", "declared"]
    lost: frozenset[str] = frozenset()


def name_of(properties: object) -> str:
    """Return the name among a feature's properties, empty where it has none."""
    if not isinstance(properties, Mapping):
        return ""
    name = next((value for key, value in properties.items() if plain(str(key)) == "name"), None)
    return clean_name(name[:LONGEST_TEXT]) if isinstance(name, str) else ""


def label_of(place: str, properties: object) -> str:
    """Return what a feature is called in a message: its place in the file, and its name."""
    name = name_of(properties)[:40]
    return f"{place} {name!r}" if name else place
