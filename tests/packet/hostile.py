"""Eighty hostile letters: none may change, hide or delay the rest of a packet.

    python tests/packet/hostile.py                 all of them
    python tests/packet/hostile.py --every 10      each tenth

A site's whole packet is made with each. It is then refused with its fault named, or every other
page holds the same content as without it. Prints a line for each: what became of it, for how many
seconds by the clock the finished rest waited for it, joining included, and how many more the whole
took than without a letter, which on a busy machine is mostly chance; exit code 1 where one did harm
or kept the rest waiting for more than 5 s.
"""

from __future__ import annotations

import argparse
import base64
import io
import struct
import sys
import time
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import pikepdf  # noqa: E402

from lateral_map.errors import ExportError, SiteError  # noqa: E402
from lateral_map.export.own_letter import (  # noqa: E402
    join_letter,
    laid_out_apart,
    require_whole,
)

MOST_DELAY_S = 5.0
FACTS: dict[str, Any] = {"site": "Lot 9", "question": "Will you?", "cautions": ["Call first."]}


def png(width: int, height: int) -> str:
    """Return a picture that says it is so large, nearly nothing in bytes."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    rows = zlib.compressobj(9)
    packed = b"".join(rows.compress(bytes(1 + width // 8)) for _ in range(height)) + rows.flush()
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0))
    content = b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", packed) + chunk(b"IEND", b"")
    return f"data:image/png;base64,{base64.b64encode(content).decode()}"


def svg(inside: str, size: str = "width='9' height='9'") -> str:
    content = f"<svg xmlns='http://www.w3.org/2000/svg' {size}>{inside}</svg>"
    return f"data:image/svg+xml;base64,{base64.b64encode(content.encode()).decode()}"


def doubling(depth: int) -> str:
    drawn = "".join(
        f"<g id='g{k}'><use href='#g{k - 1}'/><use href='#g{k - 1}'/></g>" for k in range(1, depth)
    )
    return f"<rect id='g0' width='1' height='1'/>{drawn}<use href='#g{depth - 1}'/>"


@cache
def hostile_letters() -> dict[str, str]:
    """Return eighty letters by what they try; the largest picture takes more than a second."""
    hello = "<p>Hello</p>"
    opened = {
        f"opens {name}": hello + opened
        for name, opened in {
            "a comment": "<!-- never closed", "a style": "<style>* { display: none }",
            "a script": "<script>//", "a textarea": "<textarea>", "a title": "<title>",
            "plain text": "<plaintext>", "a table": "<table><tr><td>", "a template": "<template>",
            "a select": "<select><option>", "an svg": "<svg><g>", "a cdata": "<svg><![CDATA[",
            "a frame": "<iframe>", "noscript": "<noscript>", "math": "<math><mi>", "xmp": "<xmp>",
            "a quotation mark": "<p title='", "an object": "<object>", "a form": "<form><input>",
        }.items()
    }  # fmt: skip
    closed = {
        f"closes {name}": hello + text
        for name, text in {
            "everything": "</div></section></body></html>", "the head": "</head><body>",
            "and opens another page": "</body></html><html><body hidden>",
            "the style": "</style><style>section{display:none}</style>",
        }.items()
    }  # fmt: skip
    styled = {
        f"styles: {rule[:40]}": f"<style>{rule}</style>{hello}"
        for rule in (
            "* { display: none }", "html, body { visibility: hidden }", "* { color: white }",
            ".caution, .stop, .findings { display: none !important }", "* { font-size: 0 }",
            "* { position: fixed; top: 0; left: 0; background: black; width: 99in; height: 99in }",
            "@page { size: 9000in }", "@page { size: 0.1in }", "@page { margin: -9in }",
            "@page drawing { size: 1in 1in }", "section { page: drawing }",
            "* { break-before: page; break-after: page }", "* { column-count: 100000 }",
            "@page { @bottom-left { content: 'Cautions: none' } }", "* { letter-spacing: 1e9in }",
            "* { transform: scale(1e9) }", "p { width: 1e30in; padding: 1e30in }",
            "p::before { content: counter(x, decimal) } p { counter-increment: x 999999999999 }",
            "p { margin: 0 0 1e6in }", "@import url(https://x.invalid/x.css);",
            "@font-face { font-family: 'Sheet Sans'; src: url(data:font/ttf;base64,AAAA) }",
            "p { background: url(file:///etc/passwd) }", "p { filter: blur(9999in) }",
            "p { string-set: a content(); height: calc(1in * 1e300) }",
        )
    }  # fmt: skip
    nested = {
        f"nests {name}": text
        for name, text in {
            "div": "<div>" * 60_000, "many kinds": "".join(f"<k{k}>" for k in range(300)),
            "b and i": "<b><i>" * 300, "lists": "<ul><li>" * 30_000,
            "tables": "<table><tr><td>" * 20_000, "svg g": f"<svg>{'<g>' * 9000}</svg>",
            "flex": "<div style='display:flex'>" * 49 + "x", "fonts": "<font>" * 9000,
            "inline-blocks": "<span style='display:inline-block'>" * 49 + "x",
            "floats": "<div style='float:left'>" * 49 + "x",
            "columns": "<div style='columns:2'>" * 30 + "x" * 999,
            "tables by style": "<div style='display:table'>" * 49 + "x",
        }.items()
    }  # fmt: skip
    large = {
        "a picture of 4 thousand million points": f"<img alt=x src='{png(65_000, 62_000)}'>",
        "a picture of 400 million points": f"<img alt=x src='{png(20_000, 20_000)}'>",
        "a thousand pictures": f"<img alt=x src='{png(1000, 1000)}'>" * 1000,
        "a drawing that doubles itself": f'<img alt=x src="{svg(doubling(40))}">',
        "a drawing of a mile": f'<img alt=x src="{svg("<rect/>", "width=1e9 height=1e9")}">',
        "a drawing within": f"<svg width=9 height=9>{doubling(40)}</svg>",
        "entities": f"<img alt=x src='data:image/svg+xml,<!DOCTYPE s [{'<!ENTITY a 1>'}]><svg/>'>",
        "300,000 words": "word " * 70_000,
        "one word of 300,000 letters": "x" * 300_000,
        "20,000 rows": "<table>" + "<tr><td>1<td>2" * 20_000 + "</table>",
        "300,000 marks": "<b>x</b>" * 40_000,
        "an attachment": "<a rel=attachment href='data:text/plain,x'>x</a>" + hello,
        "a link": "<a href='https://x.invalid/'>click</a><a href='#none'>here</a>",
        "a broken picture": "<img alt=x src='data:image/png;base64,AAAA'>",
        "a pattern": f'<img alt=x src="{svg("<pattern id=p><rect fill=url(#p) /></pattern>")}">',
    }
    templates = {
        f"template: {text[:40]}": text
        for text in (
            "{% for i in range(99000) %}{% for j in range(99000) %}{% endfor %}{% endfor %}",
            "{% macro f(n) %}{{ f(n + 1) }}{% endmacro %}{{ f(1) }}",
            "{% macro f(n) %}{% if n %}{{ f(n-1) ~ f(n-1) }}{% endif %}{% endmacro %}{{ f(60) }}",
            "{{ 'a'|center(3000000000) }}", "{{ ''.__class__.__mro__ }}", "{{ nobody }}",
            "{% include 'letter.html' %}",
        )
    }  # fmt: skip
    return {**opened, **closed, **styled, **nested, **large, **templates}


def harm_of(
    letter: str, rest: list[tuple[Any, ...]], make: Callable[[tuple[str, str]], bytes]
) -> tuple[str, str]:
    """Return what became of a letter, and what harm it did, empty where none.

    ``make`` returns the packet with it, whose pages without it are ``rest``.
    """
    try:
        after = contents_of(make(("mine.html", letter)))
    except SiteError as error:
        (fault,) = error.faults
        said = str(fault)
        return said[:100], "" if fault.file == "mine.html" and len(said) < 600 else "unnamed"
    except ExportError as error:
        return "joined", str(error)
    if after[len(after) - len(rest) :] != rest:
        return "joined", "the other pages are not as they were"
    return f"joined, {len(after) - len(rest)} pages", ""


def join_to(packet: bytes, letter: tuple[str, str], seconds: float) -> bytes:
    """Return a finished packet with a letter before it that may take so long."""
    limits = {"most_seconds": seconds, "patience_seconds": seconds}
    with laid_out_apart(letter, [FACTS], "", **limits) as wait:
        (own,) = wait()
    joined = join_letter(packet, own, 0)
    require_whole(joined, ["Cautions", "38.1 ft"], 1)
    return joined


def contents_of(pdf: bytes) -> list[tuple[Any, ...]]:
    """Return each page's content, size and the fonts it names."""
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        return [
            (
                page.Contents.read_bytes(),
                [float(side) for side in page.mediabox],
                sorted(str(font.BaseFont) for font in page.resources.get("/Font", {}).values()),
                len(page.get("/Annots", ())),
            )
            for page in opened.pages
        ]


def small_packet() -> bytes:
    """Return the rest of a packet: cautions, figures, a drawing, two pages."""
    from lateral_map.export.pdf import html_to_pdf

    drawing = (
        "<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'><title>The plan</title>"
        "<rect width='9' height='9'/></svg>"
    )
    return html_to_pdf(
        f"<html lang=en><title>x</title><body><h1>Findings</h1><p>38.1 ft</p>{drawing}"
        "<p style='break-before: page'>Cautions: call first.</p>"
    )


def main() -> int:
    from lateral_map import build_report, load_site
    from lateral_map.draw.packet.document import referral_html
    from lateral_map.draw.sheet.document import draw_sheets
    from lateral_map.export import packet as packet_module
    from lateral_map.export.packet import PacketOptions, make_packet
    from lateral_map.export.pdf import html_to_pdf

    parser = argparse.ArgumentParser(description="Try hostile letters on a packet.")
    parser.add_argument("--every", type=int, default=1)
    every = parser.parse_args().every
    report = build_report(load_site(ROOT / "demo_sites" / "plain_lot"))
    page = referral_html(report, report.letters[0], draw_sheets(report), apart=True)
    rest = contents_of(html_to_pdf(page))

    def make(letter: tuple[str, str] | None) -> bytes:
        return make_packet(report, {}, PacketOptions(letter=letter))["referral.pdf"]

    def seconds(do: Callable[[], object]) -> float:
        began = time.monotonic()
        do()
        return time.monotonic() - began

    waited: list[float] = []

    @contextmanager
    def timed(*asked: Any, **limits: Any) -> Iterator[Callable[[], list[bytes]]]:
        with laid_out_apart(*asked, **limits) as wait:
            began = 0.0

            def waiting() -> list[bytes]:
                nonlocal began
                began = time.monotonic()
                return wait()

            try:
                yield waiting
            finally:
                waited.append(time.monotonic() - began)

    packet_module.laid_out_apart = timed
    tried, harmful, said = list(hostile_letters().items())[::every], 0, [("", "")]
    for name, letter in tried:
        # Others may be busy on the machine, now more and now less: each time anew.
        alone = seconds(lambda: make(None))
        took = seconds(lambda one=letter: said.append(harm_of(one, rest, make)))
        became, harm = said[-1]
        late = "" if waited[-1] <= MOST_DELAY_S else "too late"
        harmful += bool(harm or late)
        sys.stdout.write(
            f"{waited[-1]:5.1f} s, {took - alone:5.1f} s  {name:45} {became} {harm.upper()} "
            f"{late.upper()}\n"
        )
        sys.stdout.flush()
    latest = max(waited)
    sys.stdout.write(
        f"{len(tried)} letters, {harmful} did harm, at most {latest:.1f} s waited for\n"
    )
    return 1 if harmful else 0


if __name__ == "__main__":
    sys.exit(main())
