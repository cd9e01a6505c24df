"""Names in scripts that run from right to left take no number beside them along."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path

import pdfplumber
import pytest

from lateral_map import build_report, load_site
from lateral_map.dig_review import build_dig_review
from lateral_map.draw.dig.page import dig_page
from lateral_map.draw.packet.document import letter_css
from lateral_map.draw.page import map_page
from lateral_map.draw.paint.svg import Canvas
from lateral_map.draw.sheet.document import SheetSet
from lateral_map.draw.sheet.setting import choose_setting
from lateral_map.export.pdf import html_to_pdf
from lateral_map.words.numbers import apart

DEMO = Path(__file__).parents[2] / "demo_sites" / "plain_lot"
NAMES = {
    "right of way": "גבול הרחוב",
    "curb": "الرصيف",
    "city": "העירייה",
    "hydrant": "ברז 7 כיבוי",
}
ADDRESSES = ("רחוב 7, עיר", "שדרה 12/3, עיר (צפון), מחוז", "شارع 7، مدينة", "شارع 7, مدينة")
# Of each "a ± b" that is seen: its text, and where the two numbers stand on the screen.
RANGES = r"""() => {
  for (const each of document.querySelectorAll("details")) each.open = true;
  const found = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const node = walk.currentNode;
    for (const match of node.textContent.matchAll(/(\d+\.\d+) ± (\d+\.\d+)/g)) {
      const at = (text, from) => {
        const range = document.createRange();
        const start = node.textContent.indexOf(text, from);
        range.setStart(node, start);
        range.setEnd(node, start + text.length);
        return range.getBoundingClientRect();
      };
      const one = at(match[1], match.index), two = at(match[2], match.index + match[1].length);
      // Over a line's end they stand one below the other, and turned text runs upwards.
      const isOneLine = one.width && Math.abs(one.top - two.top) < 2;
      const words = node.parentElement.closest(":not(.whole)").textContent;
      if (isOneLine) found.push([words, one.left, two.left]);
    }
  }
  return found;
}"""


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    """Return a site's report whose lines, points and parties have names that run leftward."""
    folder = tmp_path_factory.mktemp("leftward")
    for path in DEMO.iterdir():
        if path.is_file() and path.suffix in (".csv", ".toml", ".geojson"):
            text = path.read_text("utf-8")
            for name, leftward in NAMES.items():
                # As a name, not as a kind of line.
                said = rf'(?<!"kind": )"{name}"'
                text = re.sub(said, f'"{leftward}"', text)
                text = text.replace(f",{name},", f",{leftward},")
            (folder / path.name).write_text(text, "utf-8")
    return build_report(load_site(folder))


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 390])
def test_a_range_reads_from_left_to_right_whatever_stands_beside_it(report, open_page, width):
    for page in (map_page(report), dig_page(build_dig_review(report))):
        shown = open_page(page, width=width)
        ranges = shown.run(RANGES)
        beside = [one for one in ranges if any(name in one[0] for name in NAMES.values())]
        assert len(beside) > 2
        assert [text for text, one, two in ranges if one >= two] == []


def test_only_what_runs_leftward_is_set_apart():
    assert apart("curb 66.0 ± 0.7 ft") == "curb 66.0 ± 0.7 ft"
    assert apart("é – 7") == "é – 7"
    assert apart("to גבול 7 צפון 2.0 ft") == "to \u2068גבול 7 צפון\u2069 2.0 ft"
    assert apart(apart("الرصيف: 2.0")) == "\u2068الرصيف\u2069: 2.0"


@pytest.mark.parametrize("address", ADDRESSES)
def test_an_address_is_one_name(address):
    assert apart(address) == f"\u2068{address}\u2069"
    assert apart(apart(address)) == apart(address)
    # A distance beside a name is none of it.
    assert apart(f"{address} 2.0 ft").endswith("\u2069 2.0 ft")
    assert apart(f"{address} 2.0, {address}").count("\u2068") > 1


@pytest.mark.parametrize("between", [" 2.0, ", " 12, ", " 2.0 ", " 0.5 – 7.5 "])
def test_numbers_between_two_leftward_names_belong_to_neither(between):
    told = f"גבול{between}الرصيف 3"
    assert apart(told) == f"\u2068גבול\u2069{between}\u2068الرصيف\u2069 3"


@pytest.fixture(scope="module")
def printed():
    """Return a PDF's drawing of names that run leftward, and where each of its letters stands."""
    canvas = Canvas.sheet(400.0, 200.0, "names")
    alone = "\u200c".join(NAMES["curb"])  # U+200C keeps letters from joining
    mixed = "curb גבול 7 צפון 66.0 ± 0.7 ft"
    for index, said in enumerate((*NAMES.values(), mixed, alone, *ADDRESSES[:2])):
        canvas.text(200.0, 15.0 + 18.0 * index, said, 10.0, anchor=("end", "middle")[index % 2])
    page = f"<html lang='en'><title>names</title><body>{canvas.to_text()}</body></html>"
    with pdfplumber.open(io.BytesIO(html_to_pdf(page))) as document:
        return [
            sorted(line["chars"], key=lambda one: one["x0"])
            for line in document.pages[0].extract_text_lines(return_chars=True)
        ]


def test_a_drawing_in_a_pdf_runs_leftward_where_the_page_does(printed):
    for line, said in zip(printed, NAMES.values(), strict=False):
        letters = [one["text"] for one in line if one["text"].isalpha()]
        assert "".join(reversed(letters)) == re.sub(r"[ \d]", "", said)
    mixed = "".join(one["text"] for one in printed[len(NAMES)])
    assert mixed == "curb" + "".join(reversed("גבול7צפון")) + "66.0±0.7ft"


@pytest.mark.parametrize("index", [0, 1])
def test_an_address_in_a_drawing_is_read_from_its_right_end_to_its_left(printed, index):
    said, line = ADDRESSES[index], printed[len(NAMES) + 2 + index]
    words = re.findall(r"[^\W\d]+", said)
    shown = "".join(one["text"] for one in line)
    places = [shown.index(word[::-1]) for word in words]
    assert places == sorted(places, reverse=True)
    # The number stands between the first word and the second, itself from left to right.
    number = re.findall(r"\d+", said)[0]
    assert places[1] < shown.index(number) < places[0]


def test_arabic_in_a_drawing_is_joined(printed):
    """Joined letters are narrower than the same letters each standing alone."""
    joined, alone = printed[list(NAMES).index("curb")], printed[len(NAMES) + 1]
    widths = [sum(one["x1"] - one["x0"] for one in each) for each in (joined, alone)]
    assert len(joined) == len(alone)
    assert widths[0] < 0.9 * widths[1]


def test_brackets_read_as_they_are_drawn_after_leftward_words():
    """In leftward words brackets are drawn turned; all others were then read turned too."""
    said = "found (both) [one] {two}"
    name = f"{NAMES['right of way']} (א) [ב] {{ג}}"
    style = "<style>body { font-family: 'Sheet Sans', sans-serif }</style>"
    page = f"<html lang='en'><title>a</title>{style}<p>{name}<p>{said}"
    with pdfplumber.open(io.BytesIO(html_to_pdf(page))) as document:
        assert said in document.pages[0].extract_text()


def test_a_leftward_name_runs_leftward_at_the_foot_of_a_page_too(report):
    """Word for word set apart, the name's words would stand in the order of English ones."""
    named = replace(report, site=replace(report.site, name="מגרש התאנה צפון"))
    css = letter_css(named, SheetSet(choose_setting(named), (), ()))
    page = f"<html lang='en'><title>a</title><style>{css}</style><p>letter"
    with pdfplumber.open(io.BytesIO(html_to_pdf(page))) as document:
        foot = document.pages[0].extract_text().splitlines()[-1]
    assert foot.startswith("".join(reversed(named.site.name)) + ": not a utility locate")
