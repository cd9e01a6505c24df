"""The scale a sheet states against the coordinates in its own PDF, within 0.2 %."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pdfplumber
import pikepdf
import pytest
from paper import page_texts
from sheets.builder import SHED_M, line_report

from lateral_map.draw.plan.scales import PAPERS, plan_scales
from lateral_map.draw.sheet.document import SheetSet
from lateral_map.draw.sheet.setting import choose_setting
from lateral_map.model.results import Report

Drawn = Callable[..., SheetSet]
Printed = Callable[..., bytes]
WITHIN = 0.002
# ANSI/ASME Y14.1: A 8.5 x 11 in, B 11 x 17 in. ISO 216: A4 210 x 297 mm, A3 297 x 420 mm.
SIZES_PT = {
    "letter": (11 * 72, 8.5 * 72),
    "tabloid": (17 * 72, 11 * 72),
    "A4": (297 / 25.4 * 72, 210 / 25.4 * 72),
    "A3": (420 / 25.4 * 72, 297 / 25.4 * 72),
}
# What an inch of paper stands for on the ground, in metres, worked out by hand.
METRES_PER_INCH = {
    "1 in = 5 ft": 1.524,
    "1 in = 10 ft": 3.048,
    "1 in = 20 ft": 6.096,
    "1 in = 30 ft": 9.144,
    "1 in = 40 ft": 12.192,
    "1:50": 1.27,
    "1:100": 2.54,
    "1:200": 5.08,
}
BUILDING = (0xCF / 255, 0xC9 / 255, 0xC0 / 255)


@pytest.fixture(scope="session")
def report() -> Report:
    """The line with one finding: how many there are makes no scale another one."""
    return line_report(100.0, 1)


def shed_sides_pt(page: Any) -> list[float]:
    """Return the lengths of the sides of the one building in a page's plan."""
    for shape in (*page.curves, *page.rects):
        colour = shape["non_stroking_color"]
        if shape["fill"] and len(colour or ()) == 3 and np.allclose(colour, BUILDING, atol=0.003):
            corners = np.array(shape["pts"][:4], float)
            return [float(each) for each in np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)]
    raise AssertionError("no building on the page")


@pytest.mark.parametrize(
    ("paper", "scale"),
    [("letter", "1 in = 20 ft"), ("tabloid", "1 in = 10 ft"), ("A4", "1:200"), ("A3", "1:100")],
)
def test_plan_is_true_to_the_stated_scale(
    report: Report, drawn: Drawn, printed: Printed, paper: str, scale: str
) -> None:
    content = printed(report, paper=paper, scale=scale)
    page = pdfplumber.open(io.BytesIO(content)).pages[0]
    assert (page.width, page.height) == pytest.approx(SIZES_PT[paper], abs=0.02)
    assert f"Plan {scale}" in page_texts(content)[0]
    assert drawn(report, paper=paper, scale=scale).setting.scale.words == scale
    wanted = np.sort(np.array([*SHED_M, *SHED_M])) * 72.0 / METRES_PER_INCH[scale]
    assert np.sort(shed_sides_pt(page)) == pytest.approx(wanted, rel=WITHIN)


def test_profile_is_true_to_both_its_scales(report: Report, drawn: Drawn, printed: Printed) -> None:
    sheets = drawn(report, paper="tabloid", scale="1 in = 10 ft")
    content = printed(report, paper="tabloid", scale="1 in = 10 ft")
    words = pdfplumber.open(io.BytesIO(content)).pages[0].extract_words(x_tolerance=1)
    profile = [each for each in words if each["top"] > sheets.setting.panels.profile.top]
    footages = {
        float(each["text"]): (each["x0"] + each["x1"]) / 2.0
        for each in profile
        if abs(each["top"] - sheets.setting.panels.rows.top) < 8.0 and each["text"].isdigit()
    }
    across = (footages[80.0] - footages[20.0]) / 60.0
    assert across * 10.0 / 72.0 == pytest.approx(1.0, rel=WITHIN)
    # The depths along the graph's left edge, below a ground taken as level.
    levels = {
        float(each["text"]): -each["top"]
        for each in profile
        if re.fullmatch(r"\d+(\.\d+)?", each["text"])
        and each["top"] < sheets.setting.panels.rows.top - 5.0
        and -14.0 < each["x1"] - footages[0.0] < 0.0
    }
    assert len(levels) > 2
    lowest, highest = min(levels), max(levels)
    down = (levels[lowest] - levels[highest]) / (highest - lowest)
    per_inch = 0.3048 * float(re.findall(r"[\d.]+", sheets.setting.upright.words)[1])
    assert down * per_inch / 0.3048 / 72.0 == pytest.approx(1.0, rel=WITHIN)
    steep = 3.048 / per_inch
    assert f"Vertical exaggeration {steep:.3g}" in page_texts(content)[0]


@pytest.mark.parametrize("unit", ["ft", "us_ft", "m"])
def test_scale_bar_is_as_long_as_it_says(unit: str) -> None:
    report = line_report(90.0, 5, unit=unit)
    for scale in plan_scales(unit):
        for paper in PAPERS:
            window = choose_setting(report, paper=paper, scale=scale.words).cuts[0].window
            ends = window.to_paper([[0.0, 0.0], [3.0, 4.0]])
            long = float(np.hypot(*(ends[1] - ends[0])))
            assert long == pytest.approx(5.0 * 72.0 / scale.metres_per_inch, rel=1e-12)
            # us_ft and ft differ by 2 parts in a million: far inside the bar.
            per_inch = METRES_PER_INCH[scale.words]
            assert scale.metres_per_inch == pytest.approx(per_inch, rel=1e-5)


@pytest.fixture
def catalog(report: Report, printed: Printed) -> Iterator[pikepdf.Object]:
    """What a PDF says of itself."""
    content = printed(report, paper="letter", scale="1 in = 20 ft")
    with pikepdf.open(io.BytesIO(content)) as pdf:
        yield pdf.Root


def test_pdf_asks_not_to_be_shrunk(catalog: pikepdf.Object) -> None:
    assert catalog.ViewerPreferences.PrintScaling == "/None"


def test_pdf_is_tagged_and_archival_with_its_fonts(catalog: pikepdf.Object) -> None:
    assert bool(catalog.MarkInfo.Marked) is True
    assert "/StructTreeRoot" in catalog
    # ISO 19005-3: the XMP packet names part 3, conformance A, and an output intent stands beside.
    xmp = catalog.Metadata.read_bytes()
    assert b"part>3<" in xmp or b'part="3"' in xmp
    assert b"conformance>A<" in xmp or b'conformance="A"' in xmp
    assert len(catalog.OutputIntents)
    fonts = {
        str(font.BaseFont) for page in catalog.Pages.Kids for font in page.Resources.Font.values()
    }
    assert fonts
    assert all("+" in name for name in fonts)  # a subset prefix: the face is inside
