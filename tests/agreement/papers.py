"""The PDFs, by their text as it is extracted: the sheet's, and a letter's to each party."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Mapping
from itertools import pairwise
from typing import Any

import pdfplumber
import pypdfium2

from agreement.pages import check_end, check_finding_cells
from agreement.told import Told, numbers_in, plain

# Heads of the letter's tables and what stands under them, the longer first.
_GROUPS = (
    ("Danger:", "dangers"), ("Put to you in part:", "shared"), ("Put to you:", "theirs"),
    ("Too close to call:", "close"), ("For the record", "record"),
)  # fmt: skip


def check_papers(told: Told, made: Mapping[str, bytes]) -> Iterable[str]:
    if "sheet.pdf" in made:
        yield from (f"sheet.pdf: {said}" for said in check_sheet(told, made["sheet.pdf"]))
    letters = {name: made[name] for name in made if re.fullmatch(r"referral.*\.pdf", name)}
    if letters:
        yield from (f"referral: {said}" for said in check_letters(told, letters))


def _tabled(content: bytes, document: Any) -> list[Any]:
    """The pages with a head of a findings table or its group: to take others apart is slow."""
    heads = ["No. Footage", *(said for said, _ in _GROUPS)]
    with pypdfium2.PdfDocument(content) as pages:
        said = [plain(page.get_textpage().get_text_range()) for page in pages]
    return [
        page
        for page, text in zip(document.pages, said, strict=True)
        if any(head in text for head in heads)
    ]


def _lines(page: Any) -> list[list[dict[str, Any]]]:
    """A page's words, line by line down it."""
    lines: list[list[dict[str, Any]]] = []
    for word in sorted(page.extract_words(), key=lambda each: (each["bottom"], each["x0"])):
        if lines and abs(lines[-1][0]["bottom"] - word["bottom"]) < 2.0:
            lines[-1].append(word)
        else:
            lines.append([word])
    return [sorted(line, key=lambda each: each["x0"]) for line in lines]


def finding_rows(pages: Iterable[Any]) -> Iterable[tuple[str, dict[str, str]]]:
    """Yield (the group it stands under, cells by column head) of every row of a findings table.

    A column begins where its head does, a row where a number stands in the first; whatever else
    stands at the left ends the table.
    """
    group = ""
    for page in pages:
        columns: list[tuple[float, str]] = []
        rows: list[tuple[str, dict[str, str]]] = []
        for line in _lines(page):
            text = " ".join(word["text"] for word in line)
            begins = next((key for said, key in _GROUPS if text.startswith(said)), None)
            group = begins or group
            if text.startswith("No. Footage"):
                columns, skips = _columns(line), True
            elif begins or _is_apart(line, columns):
                columns = []
            elif text.startswith("What would settle it:"):
                skips = True  # it runs on over all columns, up to the next row
            elif columns and (_at_left(line, columns) or not skips):
                skips = False
                if _at_left(line, columns):
                    rows.append((group, {}))
                _put(line, columns, rows[-1][1])
        yield from ((key, {name: plain(said) for name, said in row.items()}) for key, row in rows)


def _at_left(line: list[dict[str, Any]], columns: list[tuple[float, str]]) -> bool:
    return bool(columns) and line[0]["x0"] < columns[0][0] + 2.0


def _is_apart(line: list[dict[str, Any]], columns: list[tuple[float, str]]) -> bool:
    """Whether a line is none of a table's: it begins at no column, or the first has no number."""
    begins = line[0]["x0"]
    if columns and min(abs(begins - x) for x, _ in columns) > 2.5:
        return True
    return _at_left(line, columns) and not re.fullmatch(r"\d+", line[0]["text"])


def _put(
    line: list[dict[str, Any]], columns: list[tuple[float, str]], cells: dict[str, str]
) -> None:
    """Put a line's words into the cells of the columns they stand in."""
    for word in line:
        name = [name for x, name in columns if x <= word["x0"] + 2.0][-1]
        cells[name] = f"{cells.get(name, '')} {word['text']}"


def _columns(line: list[dict[str, Any]]) -> list[tuple[float, str]]:
    starts = [line[0], *(word for last, word in pairwise(line) if word["x0"] - last["x1"] > 4.0)]
    names = {"Depth": "Depth to invert", "Answers": "Answers for it"}
    return [(word["x0"], names.get(word["text"], word["text"])) for word in starts]


def check_sheet(told: Told, content: bytes) -> Iterable[str]:
    with pdfplumber.open(io.BytesIO(content)) as document:
        yield from _check_rows(told, finding_rows(_tabled(content, document)))


def _check_rows(told: Told, rows: Iterable[tuple[str, dict[str, str]]]) -> Iterable[str]:
    """Every finding once, each as decided."""
    numbers = []
    for _, cells in rows:
        numbers.append(int(cells["No."]))
        known = {
            key: cells.get(key, "") for key in ("No.", "Footage", "Finding", "Depth to invert")
        }
        known |= {key: cells[key] for key in ("Side", "Answers for it") if key in cells}
        yield from check_finding_cells(told, known)
    if sorted(numbers) != sorted(told.findings):
        yield f"rows of findings {numbers}"


def check_letters(told: Told, letters: Mapping[str, bytes]) -> Iterable[str]:
    """A letter to each party that is not the client, with its own findings, and to nobody else."""
    expected = told.letters()
    written: dict[str, str] = {}
    for name, content in letters.items():
        with pdfplumber.open(io.BytesIO(content)) as document:
            text = plain(" ".join(page.extract_text() or "" for page in document.pages[:2]))
            rows = list(finding_rows(_tabled(content, document)))
        yield from (f"{name}: {said}" for said in _check_rows(told, rows))
        yield from (f"{name}: {said}" for said in check_end(told, text))
        addressed = re.search(r"\bTo (?:the )?(.*?) Date:", text)
        party = addressed[1] if addressed and addressed[1] in expected else None
        if party is None:
            if expected:
                yield f"{name}: written to {addressed[1] if addressed else 'nobody'}"
            continue
        written[party] = name
        yield from (f"{name}: {said}" for said in _check_letter(told, expected[party], text, rows))
    for party in expected.keys() - written.keys():
        yield f"nothing is written to {party}"


def _check_letter(
    told: Told,
    asked: Mapping[str, list[int]],
    text: str,
    rows: Iterable[tuple[str, dict[str, str]]],
) -> Iterable[str]:
    put = sorted([*asked["theirs"], *asked["shared"]])
    question = re.search(r"Will you .*?\?", text)
    words = question[0] if question else ""
    found = re.search(r"findings? ([\d, and to\N{EN DASH}]+)", words)
    named = numbers_in(found[1]) if found else []
    if put and named != put:
        yield f"asks about {named}, theirs are {put}: {words!r}"
    if not put and set(named) - set(asked["close"]):
        yield f"asks about {named}, of which only {asked['close']} may be theirs"
    groups: dict[str, list[int]] = {}
    for group, cells in rows:
        groups.setdefault(group, []).append(int(cells["No."]))
    expected = {
        **asked,
        "dangers": [n for n, one in told.findings.items() if one["class"] == "danger"],
    }
    for key, numbers in expected.items():
        if sorted(groups.get(key, [])) != sorted(numbers):
            yield f"{key}: {groups.get(key, [])}, decided {numbers}"
