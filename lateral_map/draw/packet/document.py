"""The packet's pages as HTML: referral with its cover letter, sheet and owner's summary.

A letter's template is the program's own, or the user's in a sandbox. It sees plain text, numbers
and lists of them, nothing of the program; it reads no file, imports nothing, and what it prints of
other people's words is escaped. A user's letter is a document of its own: no style or markup of it
reaches the other pages.
"""

from __future__ import annotations

import base64
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any, Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from lateral_map.draw.packet.sandbox import enclose_letter, fill_template
from lateral_map.draw.plan.figure import plan_on
from lateral_map.draw.plan.layers import plan_layers
from lateral_map.draw.plan.scales import Paper
from lateral_map.draw.plan.scene import Mark
from lateral_map.draw.sheet.document import SheetSet
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.referral import Photograph
from lateral_map.model.results import FindingResult, PartyLetter, Report
from lateral_map.units import to_metres
from lateral_map.words.cautions import FIELD_CAUTIONS
from lateral_map.words.names import finding_words
from lateral_map.words.notices import as_sentence, danger_notices, drawing_notices
from lateral_map.words.numbers import all_apart, apart, label, length, tidy, unit_sentence
from lateral_map.words.owner import owner_facts
from lateral_map.words.technician import report_tables
from lateral_map.words.utility import coordinates_sentence, evidence_facts, letter_facts

_TEMPLATES: Final = Path(__file__).parent / "templates"
_OWN: Final = _TEMPLATES / "letter.html"
# A photograph this near a finding shows it (common practice, no source).
_NEAR_M: Final = to_metres(0.75, "ft")
# A line break in one hides it from a search. Drawings, styles, titles and tags are no running text.
_UNBROKEN: Final = re.compile(
    r"(<(svg|style|title)\b.*?</\2>|<[^>]*>)"
    r"|(?:&[gl]t; )?[-−]?[\d.]+ %|± [\d.]+(?: (?:ft|m|in)\b| %)?|\b[xy] [-−]?\d[\d.]*"
    r"|\b\d[\d.]* (?:ft|m|in|mm)\b",
    re.DOTALL,
)
_LABEL: Final = re.compile(r'<svg[^>]* aria-label="([^"]*)"[^>]*>')
FINDING_TABLES: Final = ("dangers", "theirs", "shared", "close", "record")
# The letter's end, and what its findings do where most of a page is left below it.
RUN_ON: Final = ("letter-ends", "#findings { break-before: auto !important; margin-top: 0.3in }")
_OWNER_LAYERS: Final = frozenset({"buildings", "boundaries", "route", "stretches"})
_PHONE_PT: Final = (260.0, 230.0)
_PORTRAIT: Final = {"ft": "8.5in 11in", "us_ft": "8.5in 11in", "m": "210mm 297mm"}


def referral_html(
    report: Report,
    letter: PartyLetter | None,
    sheets: SheetSet,
    *,
    photographs: Sequence[Photograph] = (),
    apart: bool = False,
) -> str:
    """Return the whole referral to one party: letter, findings, evidence, method, cautions, sheets.

    ``letter`` is None where nobody in particular is to be asked. ``apart`` leaves the letter out,
    to be laid out by itself; dangers then have the first page.
    """
    facts = letter_facts(report, letter)
    words = "" if apart else render_letter(facts)
    page = _render(
        "referral.html",
        facts=facts,
        letter=Markup(words),  # noqa: S704 - escaped by its own sandbox
        pictures=_placed(report, facts, photographs),
        evidence=evidence_facts(report),
        drawings=_drawings(sheets),
        css=_css("print.css", report, sheets.setting.paper),
    )
    return _unbroken(page)


def render_letter(facts: Mapping[str, object]) -> str:
    """Return the program's own letter as HTML."""
    return fill_template(_OWN.read_text(encoding="utf-8"), facts)


def own_letter_html(template: str, facts: Mapping[str, object], css: str) -> str:
    """Return a user's letter as a page of its own. Raises ``SiteError`` where it cannot be used."""
    return _render(
        "own_letter.html",
        letter=Markup(enclose_letter(fill_template(template, facts))),  # noqa: S704 - its own page
        css=Markup(css),  # noqa: S704 - written by letter_css
        site=facts["site"],
    )


def letter_css(report: Report, sheets: SheetSet) -> str:
    """Return the style a user's letter begins with: the packet's own."""
    return _css("print.css", report, sheets.setting.paper, page="Letter, page")


def sheet_html(report: Report, sheets: SheetSet) -> str:
    """Return the drawing sheets with their tables behind them."""
    page = _render(
        "sheet.html",
        site=tidy(report.site.name, 120),
        stop=[as_sentence(tidy(words, 300)) for words in danger_notices(report)],
        lengths=f"{unit_sentence(report.site.unit)} {coordinates_sentence(report)}",
        cautions=FIELD_CAUTIONS,
        statement=as_sentence(sheets.statement),
        tables=report_tables(report),
        notices=drawing_notices(report),
        drawings=_drawings(sheets),
        css=_css("print.css", report, sheets.setting.paper),
    )
    return _unbroken(page)


def owner_html(report: Report, sheets: SheetSet) -> str:
    """Return the owner's summary, one page that stands alone."""
    # The line, the street and what was found, seen from above, as wide as a phone.
    layers = []
    for layer in plan_layers(report):
        if layer.key == "findings":
            items = tuple(
                replace(item, caption=item.short) if isinstance(item, Mark) else item
                for item in layer.items
            )
            layers.append(replace(layer, items=items))
        elif layer.key in _OWNER_LAYERS:
            layers.append(layer)
    picture = plan_on(report, *_PHONE_PT, "Your sewer line from above", layers=layers)
    page = _render(
        "owner.html",
        drawing=_titled(picture.to_text()),
        css=_css("owner.css", report, sheets.setting.paper),
        **owner_facts(report),
    )
    return _unbroken(page)


def _drawings(sheets: SheetSet) -> list[Markup]:
    return [_titled(svg) for svg in sheets.drawings]


def _titled(svg: str) -> Markup:
    """Return a drawing with its label as a title too: the alternative text of a PDF."""
    titled = _LABEL.sub(r"\g<0><title>\1</title>", svg, count=1)
    return Markup(titled)  # noqa: S704 - written by our Canvas


def _css(name: str, report: Report, paper: Paper, page: str = "") -> Markup:
    text = (
        _environment()
        .get_template(name)
        .render(
            portrait=_PORTRAIT[report.site.unit],
            landscape=f"{paper.width_in:.4f}in {paper.height_in:.4f}in",
            footer=f"{label(report.site.name, 60)}: not a utility locate, not a land survey",
            page=page,
        )
    )
    return Markup(text)  # noqa: S704 - the one text in it is escaped for CSS and for HTML


def _placed(
    report: Report, facts: dict[str, Any], photographs: Sequence[Photograph]
) -> dict[str, list[dict[str, Any]]]:
    """Return photographs by the table that lists the finding they show; ``loose`` for the rest."""
    tables = {row["number"]: key for key in FINDING_TABLES for row in facts[key]}
    # Both were read off the counter.
    counted_m = TWO_SIDED_95 * math.sqrt(2.0) * report.site.counter.sd_reading_m
    placed: dict[str, list[dict[str, Any]]] = {key: [] for key in (*FINDING_TABLES, "loose")}
    for each in photographs:

        def gap(one: FindingResult, at_m: float = each.footage_m) -> float:
            # A photograph is named by what the counter showed.
            begin, end = one.finding.noted
            return abs(at_m - min(max(at_m, begin), end))

        # It shows the nearest finding, if that is near enough; of several as near, any.
        least_m = min(map(gap, report.findings), default=_NEAR_M + 1.0)
        near = [one for one in report.findings if gap(one) <= least_m + 1e-6]
        shown = near if least_m <= max(_NEAR_M, counted_m) + 1e-6 else []
        placed[tables[shown[0].number] if shown else "loose"].append(
            {
                "address": f"data:image/jpeg;base64,{base64.b64encode(each.jpeg).decode('ascii')}",
                "footage": length(each.footage_m, report.site.unit),
                "name": label(each.name, 60),
                "words": " or ".join(f"{one.number} {finding_words(one)}" for one in shown),
            }
        )
    return placed


def _render(name: str, **values: Any) -> str:
    return _environment().get_template(name).render(values)


def _unbroken(page: str) -> str:
    """Return a page with no percentage, range or length over two lines: searches find it."""
    return _UNBROKEN.sub(lambda found: found[1] or f'<span class="whole">{found[0]}</span>', page)


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=all_apart,
    )

    def css_text(text: str) -> Markup:
        """Return text as the inside of a CSS string: every ASCII sign with a meaning escaped.

        Names are set apart before that, whole: an escaped space would end one.
        """
        escaped = "".join(
            f"\\{ord(letter):x} " if letter.isascii() and not letter.isalnum() else letter
            for letter in apart(text)
        )
        return Markup(escaped)  # noqa: S704 - no sign that HTML knows is left in it

    environment.filters |= {"css_text": css_text}
    return environment
