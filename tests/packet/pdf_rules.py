"""What PDF/A-3a and PDF/UA-1 ask of a file's structure, rule by rule; clauses from memory.

No whole validator of either is in the registries reached; this is what can be told from a file's
objects. Run by hand on referral, sheet, owner's page and dig: ``pdfua`` 0.1.3, which checks 16 of
PDF/UA's 106 machine rules, found no error; ``outloud`` 0.2.1 passed each checkpoint that
applies but the claim to PDF/UA itself, which the files do not make.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any

import pikepdf
from pikepdf import Dictionary, Name, Stream


def broken_rules(pdf: bytes) -> list[str]:
    """Return each rule a file breaks: clause and what was found."""
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        return [
            *_file_rules(opened),
            *_tag_rules(opened),
            *_font_rules(opened),
            *_page_rules(opened),
        ]


def _file_rules(pdf: pikepdf.Pdf) -> Iterator[str]:
    root, metadata = pdf.Root, pdf.open_metadata()
    claimed = (metadata.get("pdfaid:part"), metadata.get("pdfaid:conformance"))
    acts = "/OpenAction" in root or "/AA" in root or "/JavaScript" in root.get("/Names", {})
    pictures = [one for one in pdf.objects if isinstance(one, Stream) and "/Interpolate" in one]
    rules = {
        "A 6.1.3: it is encrypted": not pdf.is_encrypted,
        "A 6.1.3: it has no ID": "/ID" in pdf.trailer,
        "A 6.5: it acts by itself": not acts,
        "A 6.2.3: no output intent": any(
            "/DestOutputProfile" in one for one in root.get("/OutputIntents", ())
        ),
        "A 6.6.4: it does not say PDF/A-3a": claimed == ("3", "A"),
        "A 6.2.8: a picture is interpolated": not any(one.Interpolate for one in pictures),
        "UA 7.1-9: it has no title": bool(metadata.get("dc:title")),
        "UA 7.1-10: the title is not shown": bool(
            root.get("/ViewerPreferences", {}).get("/DisplayDocTitle")
        ),
        "UA 7.2: it says no language": bool(str(root.get("/Lang", ""))),
        "UA 7.1: it is not marked": bool(root.get("/MarkInfo", {}).get("/Marked")),
    }
    yield from (rule for rule, held in rules.items() if not held)


def elements_of(pdf: pikepdf.Pdf) -> Iterator[tuple[Any, Any]]:
    """Yield every structure element with its parent, in reading order."""

    def walk(element: Any, parent: Any) -> Iterator[tuple[Any, Any]]:
        yield element, parent
        for kid in element.get("/K", ()):
            if isinstance(kid, Dictionary) and "/S" in kid:
                yield from walk(kid, element)

    for element in pdf.Root.StructTreeRoot.K:
        yield from walk(element, pdf.Root.StructTreeRoot)


_WITHIN = {
    "/TR": ("/Table", "/THead", "/TBody", "/TFoot"),
    "/TH": ("/TR",),
    "/TD": ("/TR",),
    "/LI": ("/L",),
}


def _tag_rules(pdf: pikepdf.Pdf) -> Iterator[str]:
    level = 0
    for element, parent in elements_of(pdf):
        kind = str(element.S)
        if kind == "/Figure" and not str(element.get("/Alt", "")).strip():
            yield "UA 7.3: a figure has no words"
        if kind == "/TH" and "/Scope" not in element.get("/A", {}):
            yield "UA 7.5: a table head has no scope"
        if kind in _WITHIN and str(parent.S) not in _WITHIN[kind]:
            yield f"UA 7.2: {kind} within {parent.S}"
        if kind[:2] == "/H" and kind[2:].isdigit():
            if int(kind[2:]) > level + 1:
                yield f"UA 7.4.2: from heading {level} to {kind[2:]}"
            level = int(kind[2:])


def _font_rules(pdf: pikepdf.Pdf) -> Iterator[str]:
    for one in pdf.objects:
        if isinstance(one, Dictionary) and one.get("/Type") == "/FontDescriptor":
            if not {"/FontFile", "/FontFile2", "/FontFile3"} & set(one.keys()):
                yield f"A 6.2.11.4: {one.FontName} is not inside"
        elif (
            isinstance(one, Dictionary)
            and one.get("/Type") == "/Font"
            and one.get("/Subtype") == "/Type0"
            and "/ToUnicode" not in one
        ):
            yield f"A 6.2.11.7: {one.BaseFont} cannot be searched"


def _page_rules(pdf: pikepdf.Pdf) -> Iterator[str]:
    numbers = pdf.Root.StructTreeRoot.ParentTree.Nums
    parents = {int(numbers[k]): numbers[k + 1] for k in range(0, len(numbers), 2)}
    told: dict[Any, set[int]] = {}
    for element, _ in elements_of(pdf):
        if "/Pg" in element:
            marks = {int(kid) for kid in element.get("/K", ()) if isinstance(kid, int)}
            told.setdefault(element.Pg.objgen, set()).update(marks)
    for count, page in enumerate(pdf.pages, 1):
        held = parents.get(int(page.get("/StructParents", -1)), ())
        marks, loose = marked_in(page)
        rules = {
            f"UA 7.18.3: page {count} has no tab order": page.get("/Tabs") == Name.S,
            f"UA 7.1: page {count} has no tags": len(held) > 0,
            f"UA 7.1-3: page {count} shows {loose} things no tag holds": not loose,
            f"UA 7.1: page {count} marks what no tag holds": marks <= set(range(len(held))),
            # A header or footer is an artifact of pagination: it has no mark.
            f"UA 7.8: page {count} marks what is no part of the tree": (
                marks == told.get(page.obj.objgen, set())
            ),
            f"A 6.3.2: a note on page {count} does not print": all(
                int(note.get("/F", 0)) & 4 for note in page.get("/Annots", ())
            ),
        }
        yield from (rule for rule, kept in rules.items() if not kept)


def marked_in(page: pikepdf.Page) -> tuple[set[int], int]:
    """Return the marks of a page's content, and how much of it stands in none."""
    depth, marks, loose = 0, set(), 0
    for operands, operator in pikepdf.parse_content_stream(page):
        name = str(operator)
        depth += {"BDC": 1, "BMC": 1, "EMC": -1}.get(name, 0)
        if name == "BDC" and "/MCID" in operands[1]:
            marks.add(int(operands[1].MCID))
        loose += name in ("Tj", "TJ", "Do") and not depth
    return marks, loose
