"""route.kml: what people wrote, as viewers show it."""

from __future__ import annotations

import io
from dataclasses import replace

import fastkml
from exports.conftest import HOSTILE

from lateral_map.export.kml import route_kml
from lateral_map.model.results import Report
from lateral_map.report import build_report


def test_no_name_and_no_value_opens_a_tag_in_a_viewers_balloon(reports: dict[str, Report]) -> None:
    """XML read back is what a viewer puts into its own HTML: it must hold no tag."""
    site = next(one.site for one in reports.values() if not one.site.frame.is_local)
    findings = tuple(replace(one, finding=HOSTILE, note=HOSTILE) for one in site.findings)
    locates = tuple(replace(one, note=HOSTILE) for one in site.locates)
    report = build_report(replace(site, name=HOSTILE, findings=findings, locates=locates))
    (document,) = fastkml.KML.parse(io.BytesIO(route_kml(report))).features
    marks = [mark for folder in document.features for mark in folder.features]
    words = [document.name, *(one.name for one in (*document.features, *marks))]
    for mark in marks:
        words += [text for each in mark.extended_data.elements for text in (each.name, each.value)]
    assert sum("img onerror" in text for text in words) > 1 + 2 * len(findings)
    assert not any(sign in text for text in words for sign in "<>")
