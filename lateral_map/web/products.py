"""The files the page offers to take away: whatever this installation can make of a report."""

from __future__ import annotations

import io
import zipfile
from dataclasses import dataclass
from typing import Final

from lateral_map.export.registry import PRODUCTS, make_products
from lateral_map.model.results import Report

_TYPES: Final = {
    "html": "text/html",
    "svg": "image/svg+xml",
    "png": "image/png",
    "json": "application/json",
    "geojson": "application/geo+json",
    "csv": "text/csv",
    "pdf": "application/pdf",
    "zip": "application/zip",
}


@dataclass(frozen=True, slots=True)
class Offer:
    """One product: the word it is asked by, and what it is."""

    name: str
    summary: str


@dataclass(frozen=True, slots=True)
class Made:
    """A finished file: its name, its type, its bytes."""

    file: str
    media_type: str
    content: bytes


def offers() -> tuple[Offer, ...]:
    """Return what can be asked for."""
    return tuple(Offer(product.name, product.summary) for product in PRODUCTS.values())


def make_product(report: Report, name: str) -> Made:
    """Make one product; several files come as one zip. Raises ``KeyError``, ``ExportError``."""
    contents = make_products(report, [PRODUCTS[name].name])
    if len(contents) == 1:
        ((file, content),) = contents.items()
        ending = file.rpartition(".")[2]
        return Made(file, _TYPES.get(ending, "application/octet-stream"), content)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as folder:
        for file, content in contents.items():
            folder.writestr(file, content)
    return Made(f"{name}.zip", _TYPES["zip"], packed.getvalue())
