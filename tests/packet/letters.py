"""The letters of made-up sites, read back from the paper by a PDF text extractor.

    python tests/packet/letters.py                 200 sites
    python tests/packet/letters.py --first 7 --sites 1

Each site is one of tests/agreement with what a desk's form asks for added. Of every referral but
its drawings: each field once in the letter; each defect in the letters of those who may answer for
it and in no other; every word that the facts and the evidence hold, whole; no list cut; no page
more than 60 % blank. Prints a line for each fault; exit code 1 where there is any.
"""

from __future__ import annotations

import argparse
import csv
import io
import os
import re
import sys
import tempfile
import unicodedata
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import numpy as np  # noqa: E402
import pdfplumber  # noqa: E402
import pypdfium2  # noqa: E402
from agreement.sites import write_site  # noqa: E402

from lateral_map import build_report, load_site  # noqa: E402
from lateral_map.draw.packet.document import RUN_ON, referral_html  # noqa: E402
from lateral_map.draw.sheet.document import SheetSet  # noqa: E402
from lateral_map.draw.sheet.setting import choose_setting  # noqa: E402
from lateral_map.export.pdf import html_to_pdf  # noqa: E402
from lateral_map.model.results import PartyLetter, Report  # noqa: E402
from lateral_map.words.utility import evidence_facts, letter_facts  # noqa: E402

MOST_BLANK = 0.6
HEAD = "What this letter is about"  # over the table of it
# Of a page's height, what its margins take, and what a line of text is known to stand for.
TOP, BOTTOM, REACH = 0.068, 0.064, 0.02

JOB = """
[job]
address = "Plot {seed}, Unmarked Row"
parcel = "PN-{seed}-7"
permit = "SP-{seed}"
work_order = "WO-{seed}"
owner = "whoever owns plot {seed}"
contact = "the letter box of plot {seed}"
inspector = "Inspector number {seed}"
certificate = "CERT-{seed}"
access_point = "cleanout {seed}"
camera_direction = "downstream"
video = "run-{seed}.mp4"
video_time = "2026-04-0{day}"
vertical_datum = "datum {seed}"
urgency = "urgent"
urgency_ground = "void number {seed} under pavement"

[main]
asset = "SM-{seed}"
upstream = "manhole up {seed}"
downstream = "manhole down {seed}"
from = "manhole down {seed}"
distance = {distance}
"""
FIELDS = (
    "Plot {seed}, Unmarked Row", "PN-{seed}-7", "SP-{seed}", "WO-{seed}", "CERT-{seed}",
    "whoever owns plot {seed}, the letter box of plot {seed}", "Inspector number {seed}",
    "cleanout {seed}, downstream, with the flow", "run-{seed}.mp4, 2026-04-0{day}",
    "datum {seed}", "void number {seed} under pavement",
    "SM-{seed}, manhole up {seed} upstream, manhole down {seed} downstream",
    "from manhole down {seed} as read in the main",
)  # fmt: skip


def add_fields(folder: Path, seed: int) -> None:
    """Add what a desk asks for, and a clock position to every finding."""
    toml = folder / "site.toml"
    words = JOB.format(seed=seed, day=1 + seed % 9, distance=40.0 + seed)
    toml.write_text(f"{toml.read_text('utf-8')}\n{words}", encoding="utf-8")
    file = folder / "findings.csv"
    if file.exists():
        head, *rows = csv.reader(io.StringIO(file.read_text("utf-8-sig")))
        with file.open("w", newline="", encoding="utf-8") as out:
            csv.writer(out).writerows([[*head, "clock"], *([*row, "9 to 3"] for row in rows)])


def squeezed(words: str) -> str:
    return "".join(unicodedata.normalize("NFKC", words).split())


def faults_of(folder: Path, seed: int) -> Iterator[str]:
    """Yield what is wrong with a site's letters as they are printed."""
    write_site(folder, seed)
    add_fields(folder, seed)
    report = build_report(load_site(folder))
    # The drawings are no part of a letter.
    sheets = SheetSet(choose_setting(report), (), ())
    for letter in report.letters or (None,):
        pdf = html_to_pdf(referral_html(report, letter, sheets), run_on=RUN_ON)
        to = letter.party if letter else "nobody"
        yield from (f"to {to}: {said}" for said in letter_faults(report, letter, pdf, seed))


def letter_faults(
    report: Report, letter: PartyLetter | None, pdf: bytes, seed: int
) -> Iterator[str]:
    facts = letter_facts(report, letter)
    with pypdfium2.PdfDocument(pdf) as document:
        pages = [page.get_textpage().get_text_range() for page in document]
        yield from blank_pages(document)
    # A footer may stand between two halves of a sentence.
    pages = [
        re.sub(r"(?m)^.*: not a utility locate, not a land survey\s*$|Page \d+ of \d+", "", page)
        for page in pages
    ]
    if any(page.lstrip().startswith("Sincerely") for page in pages):
        yield "the signature stands on a page by itself"
    text = "\n".join(pages)
    head, signed, rest = text.partition("Sincerely,")
    if not (signed and re.search(r"(?m)^Findings\s*$", rest)):
        yield "no signature, or no findings after it"
    on_letter, whole = squeezed(head), squeezed(text)
    for field in FIELDS:
        said = squeezed(field.format(seed=seed, day=1 + seed % 9))
        if (many := on_letter.count(said)) != 1:
            yield f"{said!r} stands {many} times"
    for words in (*said_in(facts), *evidence_in(report)):
        if squeezed(words) not in whole:
            yield f"not whole: {words[:90]!r}"
    for fault in re.finditer(r"…|\band \d+ more\b|\S+\s*[\r\n]+\s*%", text):
        yield f"cut, or parted so that no search finds it: {fault[0]!r}"
    yield from listing_faults(report, letter, pdf)


def listing_faults(report: Report, letter: PartyLetter | None, pdf: bytes) -> Iterator[str]:
    wanted = sorted(
        one.number
        for one in report.findings
        if letter and one.finding_class == "defect" and letter.party in one.may_answer
    )
    with pypdfium2.PdfDocument(pdf) as document:
        texts = [page.get_textpage().get_text_range() for page in document]
    if sum(text.count(HEAD) for text in texts) > 1:
        yield f"{HEAD!r} stands more than once"
    # To read every letter's face and place takes long: only of the pages from its head to its end.
    begins = next((at for at, text in enumerate(texts) if HEAD in text), len(texts))
    with pdfplumber.open(io.BytesIO(pdf)) as document:
        listed = sorted(table_numbers(document.pages[begins:]))
    if listed != wanted:
        yield f"the letter lists {listed}, {wanted} may be its reader's"


def blank_pages(document: pypdfium2.PdfDocument) -> Iterator[str]:
    for number, page in enumerate(document, 1):
        if (share := blank_share(page)) > MOST_BLANK:
            yield f"page {number} is {share:.0%} blank"


def blank_share(page: pypdfium2.PdfPage) -> float:
    """Return how much of a page's height between its margins no line of ink stands near."""
    grey = np.asarray(page.render(scale=0.5, grayscale=True).to_numpy()).squeeze()
    high = len(grey)
    inked = (grey < 200).any(axis=1)[round(TOP * high) : high - round(BOTTOM * high)]
    reach = round(REACH * high)
    return 1.0 - float(np.mean(np.convolve(inked, np.ones(2 * reach + 1), "same") > 0))


def said_in(facts: dict[str, Any]) -> Iterable[str]:
    """Return everything a letter and its findings pages have to say, each as a whole."""
    yield from (facts["question"], facts["whose"], facts["coordinates"], facts["mapped"])
    for key in ("seen", "doubts", "stop", "turning", "cautions", "to_lines", "from_lines"):
        yield from facts[key]
    for key in ("dangers", "theirs", "shared", "close", "record"):
        for row in facts[key]:
            yield from (row["words"], row["footage"], row["note"], row["side"], row["seen_at"])
            yield from (*row["depth"], *row["position"])
            if key == "close":
                yield row["settle"]


def evidence_in(report: Report) -> Iterable[str]:
    """Return everything the evidence pages have to say."""
    evidence = evidence_facts(report)
    for row in (*evidence["locates"], *evidence["references"]):
        yield from row
    for table in evidence["tables"]:
        yield from (
            table.title,
            *table.columns,
            *(cell for row in table.rows for cell in row.cells),
        )
    yield from (*evidence["fit"], *evidence["notices"])


def table_numbers(pages: Iterable[Any]) -> Iterator[int]:
    """Yield the numbers in the first column of the table of what a letter is about, to its end."""
    inside = False
    for page in pages:
        for line in page.extract_text_lines():
            if line["text"].startswith(HEAD):
                inside = True
            elif inside and line["text"].startswith("With this letter:"):
                return
            elif inside and (number := re.match(r"(\d+) ", line["text"])):
                first = line["chars"][0]
                # Its column holds bold numbers alone, at the left edge of the table.
                if "Bold" in first["fontname"] and first["size"] < 7.5 and line["x0"] < 60.0:
                    yield int(number[1])


def check_seed(seed: int) -> list[str]:
    with tempfile.TemporaryDirectory() as folder:
        return list(faults_of(Path(folder) / "site", seed))


def main() -> int:
    parser = argparse.ArgumentParser(description="Read letters back from the paper.")
    parser.add_argument("--sites", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()
    count, seeds = 0, range(asked.first, asked.first + asked.sites)
    with ProcessPoolExecutor(asked.jobs) as pool:
        for seed, found in zip(seeds, pool.map(check_seed, seeds), strict=True):
            sys.stdout.writelines(f"site {seed}: {said}\n" for said in found)
            sys.stdout.flush()
            count += len(found)
    sys.stdout.write(f"{asked.sites} sites, {count} faults\n")
    return 1 if count else 0


if __name__ == "__main__":
    sys.exit(main())
