"""HTML to PDF: tagged and archival, fonts inside, nothing fetched, printed at its own size.

WeasyPrint lays it out as PDF/A-3a (ISO 19005-3, conformance level A: archival and tagged).
"""

from __future__ import annotations

import ctypes.util
import io
import logging
import os
import sys
import threading
import unicodedata
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

from lateral_map.draw.paint.fonts import FACE_NAMES, font_bytes, font_css
from lateral_map.errors import ExportError
from lateral_map.export.loading import load_without
from lateral_map.units import show_value
from lateral_map.words.numbers import runs_leftward

if TYPE_CHECKING:
    from pydyf import PDF
    from weasyprint import Document

_VARIANT: Final = "pdf/a-3a"
_NO_LETTER: Final = "□"
_HIGH: Final = 0.5  # of a page; above it most of the page is left
# Where an address without a place of its own seems to come from.
_NOWHERE: Final = "https://page.invalid/"
_FACE: Final = "face"  # the address scheme of our own typeface, served from memory
# 1 January 1980 UTC: what a font subset gives as its date, so that bytes repeat.
_FIXED_EPOCH: Final = "315532800"
_ENVIRONMENT: Final = threading.Lock()
# Elsewhere a library is found by its file's own name: no compiler need be asked where it is.
_FIND_LIBRARY: Final = ctypes.util.find_library if sys.platform != "linux" else lambda _name: None


def html_to_pdf(html: str, *, run_on: tuple[str, str] = ("", "")) -> bytes:
    """Return a PDF of ``html``: the same bytes for the same text on the same machine.

    ``run_on`` is an element's id and a style: where the element stands so high that its page would
    be left mostly blank below it, all is laid out again with the style. A letter that no installed
    face has is printed as □. Raises ``ExportError`` where the page asks for anything from outside
    it, and where Pango, which WeasyPrint sets text with, is missing.
    """
    content, missing = _lay_out(html, run_on)
    if missing:
        # A face with holes in it would be written in an encoding that many readers cannot search.
        content, _ = _lay_out(html.translate(dict.fromkeys(missing, _NO_LETTER)), run_on)
    return content


def _lay_out(html: str, run_on: tuple[str, str]) -> tuple[bytes, set[int]]:
    """Return the PDF, and the code points no installed face has."""
    try:
        load_without("weasyprint", ctypes.util, "find_library", _FIND_LIBRARY)
        import weasyprint
        from weasyprint import svg, urls
        from weasyprint.text import fonts
    except (ImportError, OSError) as error:
        raise ExportError(
            "PDFs need the Pango library, which this machine has not got "
            f"({str(error).splitlines()[0]}); on Debian or Ubuntu: apt-get install libpango-1.0-0 "
            "libpangoft2-1.0-0 libharfbuzz-subset0; on macOS: brew install pango"
        ) from error
    import pydyf
    from PIL import ImageFile

    # WeasyPrint has every picture of the process read though it be cut short: a site's are not.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    config = fonts.FontConfiguration()
    refused: list[str] = []
    fetcher = _inside_only(urls, refused)
    missing: set[int] = set()

    def finish(document: Document, pdf: PDF) -> None:
        # Viewers must not shrink a drawing that states its scale (ISO 32000-1, table 150).
        preferences = pdf.catalog.setdefault("ViewerPreferences", pydyf.Dictionary())
        preferences["PrintScaling"] = "/None"
        for one in pdf.objects:
            if isinstance(one, pydyf.Stream):
                # PDF/A forbids it (ISO 19005-3, 6.2.8): what a picture does not show is not shown.
                one.extra.pop("Interpolate", None)
            elif isinstance(one, pydyf.Dictionary) and one.get("S") == "/TH":
                # ISO 14289-1, 7.5: every head says what it heads; ours head columns.
                one.setdefault("A", pydyf.Dictionary({"O": "/Table"}))["Scope"] = "/Column"
        _mark_running_lines(pdf)
        _read_brackets_as_drawn(html, document, pdf)
        missing.update(*(font.missing for font in document.fonts.values()))

    with _quietly(), _drawn_in_one_piece(svg.Node):
        style = weasyprint.CSS(string=font_css(_FACE), font_config=config, url_fetcher=fetcher)
        page = weasyprint.HTML(string=html, url_fetcher=fetcher, base_url=_NOWHERE)
        options = {"font_config": config, "pdf_variant": _VARIANT}
        document = page.render(stylesheets=[style], **options)
        # Where it stands so high on its page that most of that is left.
        starts = [
            (one.anchors[run_on[0]], one) for one in document.pages if run_on[0] in one.anchors
        ]
        if any(top < _HIGH * one.height for (_, top, *_), one in starts):
            then = weasyprint.CSS(string=run_on[1], font_config=config, url_fetcher=fetcher)
            document = page.render(stylesheets=[style, then], **options)
        content = document.write_pdf(finisher=finish, pdf_variant=_VARIANT)
    if refused:
        raise ExportError(
            f"the page asks for {show_value(refused[0])}, which is not inside it; "
            "put pictures and styles into the letter itself (pictures as data: addresses)"
        )
    return bytes(content), missing


class _OneLetter(str):
    """Text that is set as a single letter is: in one piece."""

    __slots__ = ()

    def __iter__(self) -> Iterator[str]:
        return iter((str(self),))


@contextmanager
def _drawn_in_one_piece(nodes: Any) -> Iterator[None]:
    """Have ``nodes``, a class of a drawing's elements, give leftward words to be set in one piece.

    WeasyPrint sets a drawing's text letter by letter: that turns words which run from right to left
    round and leaves Arabic unjoined. In one piece Pango orders and joins them as on the page.
    """
    as_it_is = nodes.text

    def text(node: Any) -> str | None:
        words: str | None = as_it_is.fget(node)
        return _OneLetter(words) if words and runs_leftward(words) else words

    nodes.text = property(text)
    try:
        yield
    finally:
        nodes.text = as_it_is


def _read_brackets_as_drawn(html: str, document: Document, pdf: PDF) -> None:
    """Have a bracket read as it is drawn, wherever it stands.

    In leftward words an opening bracket is drawn as a closing one (UAX 9, rule L4). WeasyPrint has
    a letter read as it was where it was first set: after such words every bracket read turned.
    """
    if not runs_leftward(html):
        return
    import pydyf
    from fontTools.ttLib import TTFont

    by_reference = {one.reference: one for one in pdf.objects}
    reading = {
        one["BaseFont"]: by_reference[one["ToUnicode"]].stream
        for one in pdf.objects
        if isinstance(one, pydyf.Dictionary) and "ToUnicode" in one
    }
    for font in document.fonts.values():
        with TTFont(io.BytesIO(font.file_content), fontNumber=font.index, lazy=True) as face:
            turned = {
                f"<{face.getGlyphID(name):04x}>": f"<{code:04x}>"
                for code, name in (face.getBestCmap() or {}).items()
                if unicodedata.mirrored(chr(code))
            }
        lines = reading[font.name]
        for at, line in enumerate(lines):
            letter, _, _ = line.decode().partition(" ")
            if letter in turned:
                lines[at] = f"{letter} {turned[letter]}".encode()


def _mark_running_lines(pdf: PDF) -> None:
    """Mark what is said on every page, and stands in no tree of tags, as no part of what is read.

    ISO 14289-1, 7.8: headers and footers are artifacts of pagination. WeasyPrint gives them marks
    and elements of their own, which it leaves out of the tree.
    """
    import pydyf

    by_reference = {one.reference: one for one in pdf.objects}
    tree = by_reference[pdf.catalog["StructTreeRoot"]]
    told: set[tuple[bytes, int]] = set()  # a page and a mark on it that the tree holds
    waiting = list(tree["K"])
    while waiting:
        element = by_reference[waiting.pop()]
        for kid in element.get("K", ()):
            if isinstance(kid, int):
                told.add((element["Pg"], kid))
            else:
                waiting.append(kid)
    numbers = by_reference[tree["ParentTree"]]["Nums"]
    for k, reference in enumerate(pdf.page_references):
        page = by_reference[reference]
        said, parents = by_reference[page["Contents"]].stream, numbers[2 * k + 1]
        for at, mark in enumerate(said):
            if not isinstance(mark, pydyf.Dictionary) or "MCID" not in mark:
                continue
            if (reference, mark["MCID"]) not in told:
                said[at - 1 : at + 1] = "/Artifact", pydyf.Dictionary({"Type": "/Pagination"})
                parents[mark["MCID"]] = "null"


def _inside_only(urls: Any, refused: list[str]) -> Any:
    """Return a fetcher of data: addresses and our own faces; what else is asked for is noted."""

    class InsideOnly(urls.URLFetcher):  # type: ignore[misc]
        def fetch(self, url: str, headers: Any = None) -> Any:
            scheme, _, name = url.partition(":")
            if scheme.lower() == _FACE and name in FACE_NAMES:
                return urls.URLFetcherResponse(url, font_bytes(name))
            if scheme.lower() != "data":
                refused.append(url.removeprefix(_NOWHERE))
                raise ValueError("only what is inside the page is drawn")
            return super().fetch(url, headers)

    return InsideOnly(allowed_protocols={"data"}, allow_redirects=False)


@contextmanager
def _quietly() -> Iterator[None]:
    """Keep today's date out of font subsets, and WeasyPrint's remarks off the terminal."""
    log = logging.getLogger("weasyprint")
    with _ENVIRONMENT, warnings.catch_warnings():
        # WeasyPrint leaves its colour profile's file for the interpreter to close.
        warnings.simplefilter("ignore", ResourceWarning)
        date, level = os.environ.get("SOURCE_DATE_EPOCH"), log.level
        os.environ["SOURCE_DATE_EPOCH"] = _FIXED_EPOCH
        log.setLevel(logging.CRITICAL)
        try:
            yield
        finally:
            log.setLevel(level)
            if date is None:
                del os.environ["SOURCE_DATE_EPOCH"]
            else:
                os.environ["SOURCE_DATE_EPOCH"] = date
