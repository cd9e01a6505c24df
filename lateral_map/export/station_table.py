"""stations.csv: the route station by station, for a spreadsheet."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from lateral_map.export.outward import outward
from lateral_map.export.result import station_records

if TYPE_CHECKING:
    from lateral_map.model.results import Report

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_LENGTHS = (
    "ground_elevation", "invert_elevation", "depth_to_invert", "depth_sd",
    "across_sd", "along_sd", "dig_half_width",
)  # fmt: skip


def stations_csv(report: Report) -> bytes:
    """Return the stations as UTF-8 CSV with a byte-order mark, which spreadsheets need.

    A length's column names its unit; x and y are in the declared system's unit.
    """
    out = outward(report)
    unit, rows = out.unit, []
    # To a thousandth of a foot, here as in every other file.
    ours, theirs = (4 if one == "m" else 3 for one in (unit, report.site.frame.unit_name))
    for record in station_records(report, out):
        lengths = {f"{name}_{unit}": _fixed(record[name], ours) for name in _LENGTHS}
        ellipse = record["ellipse_95"]
        rows.append(
            {
                f"footage_{unit}": _fixed(record["footage"], ours),
                "x": _fixed(record["x"], theirs),
                "y": _fixed(record["y"], theirs),
                "lat": _fixed(record["lat"], 9),
                "lon": _fixed(record["lon"], 9),
                **lengths,
                f"ellipse_95_semi_major_{unit}": _fixed(ellipse["semi_major"], ours),
                f"ellipse_95_semi_minor_{unit}": _fixed(ellipse["semi_minor"], ours),
                "ellipse_95_azimuth_deg": _fixed(ellipse["azimuth"], 1),
                "heading_deg": _fixed(record["heading"], 2),
                "heading_sd_deg": _fixed(record["heading_sd"], 2),
                "basis": record["basis"],
                "events": neutralise_formula("; ".join(record["events"])),
            }
        )
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=list(rows[0]), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode("utf-8-sig")


def _fixed(value: float | None, decimals: int) -> str:
    return "" if value is None else f"{value:.{decimals}f}"


def neutralise_formula(text: str) -> str:
    """Return ``text`` so that a spreadsheet shows it rather than runs it as a formula."""
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text
