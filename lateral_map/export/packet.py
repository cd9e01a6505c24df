"""The referrals as files: one a party, the owner's summary, and one archive that holds it all.

The archive is the same bytes whenever it is rebuilt from the same site: its entries stand in one
order under one date, and nothing in it tells the time.
"""

from __future__ import annotations

import hashlib
import io
import unicodedata
import zipfile
from collections.abc import Callable, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from lateral_map.draw.packet.document import (
    FINDING_TABLES,
    RUN_ON,
    letter_css,
    owner_html,
    referral_html,
    sheet_html,
)
from lateral_map.draw.sheet.document import SheetSet, draw_sheets
from lateral_map.errors import ExportError
from lateral_map.export.own_letter import (
    join_letter,
    laid_out_apart,
    letter_fault,
    require_whole,
)
from lateral_map.export.pdf import html_to_pdf
from lateral_map.words.utility import letter_facts

if TYPE_CHECKING:
    from lateral_map.model.referral import Photograph
    from lateral_map.model.results import PartyLetter, Report

Progress = Callable[[str, float], None]

MANIFEST: Final = "manifest.sha256"
_LONGEST_STEM: Final = 60
# The first moment an archive can name; its entries carry no true date.
_EPOCH: Final = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True, slots=True)
class PacketOptions:
    """What was asked for: paper and scale by name, a letter template, photographs."""

    paper: str | None = None
    scale: str | None = None
    letter: tuple[str, str] | None = None
    photographs: Sequence[Photograph] = ()


def make_sheet(
    report: Report, *, paper: str | None = None, scale: str | None = None
) -> tuple[SheetSet, bytes]:
    """Return the drawn sheets and sheet.pdf. Raises ``AnalysisError``, ``ExportError``."""
    sheets = draw_sheets(report, paper=paper, scale=scale)
    return sheets, html_to_pdf(sheet_html(report, sheets))


def sheet_pdf(report: Report) -> bytes:
    """Return sheet.pdf on the paper and at the scale that suit the run, as ``make_sheet``."""
    return make_sheet(report)[1]


def make_packet(
    report: Report,
    enclosed: Mapping[str, bytes],
    options: PacketOptions | None = None,
    progress: Progress | None = None,
) -> dict[str, bytes]:
    """Return the referrals, owner.html, owner.pdf and referral.zip, which holds every referral.

    The only referral is referral.pdf; of several, each is named after its party. ``enclosed`` are
    the finished files to go into the archive too. ``progress`` is told what is being made and the
    fraction done. Raises ``SiteError`` for a letter that cannot be used, ``AnalysisError`` for a
    paper or scale there is not, ``ExportError``.
    """
    wanted, say = options or PacketOptions(), progress or (lambda _name, _done: None)
    say("the sheets", 0.0)
    sheets = draw_sheets(report, paper=wanted.paper, scale=wanted.scale)
    named = name_referrals(report)
    facts = [letter_facts(report, letter) for letter in named.values()]
    apart = (
        nullcontext(None)
        if wanted.letter is None
        else laid_out_apart(wanted.letter, facts, letter_css(report, sheets))
    )
    referrals = {}
    with apart as own_letters:
        for index, (name, letter) in enumerate(named.items()):
            say(name, 0.15 + 0.55 * index / max(len(report.letters), 1))
            page = referral_html(
                report, letter, sheets,
                photographs=wanted.photographs, apart=wanted.letter is not None,
            )  # fmt: skip
            referrals[name] = html_to_pdf(page, run_on=RUN_ON)
        say("the owner's summary", 0.7)
        owner = owner_html(report, sheets)
        owner_pdf = html_to_pdf(owner)
        if own_letters is not None:
            for name, letter_pdf in zip(named, own_letters(), strict=True):
                # Dangers keep the first page.
                at = 1 if facts[0]["stop"] else 0
                referrals[name] = join_letter(referrals[name], letter_pdf, at)
    for name, told in zip(named, facts, strict=True):
        try:
            require_whole(referrals[name], needed_words(told), len(sheets.drawings))
        except ExportError as error:
            if wanted.letter is None:
                raise
            raise letter_fault(wanted.letter[0], str(error)) from None
    return {
        **referrals,
        "owner.html": owner.encode("utf-8", "replace"),
        "owner.pdf": owner_pdf,
        "referral.zip": pack({**referrals, **enclosed, **name_photographs(wanted.photographs)}),
    }


def needed_words(facts: Mapping[str, Any]) -> list[str]:
    """Return what a referral must say whatever its letter is: dangers, figures, cautions."""
    rows = [row for key in FINDING_TABLES for row in facts[key]]
    figures = [one for row in rows for one in (row["footage"], *row["depth"], *row["position"])]
    return [*facts["cautions"], *facts["stop"], *figures]


def name_referrals(report: Report) -> dict[str, PartyLetter | None]:
    """Return each referral's file name and letter; the one for nobody in particular has none."""
    if len(report.letters) < 2:
        return {"referral.pdf": report.letters[0] if report.letters else None}
    named: dict[str, PartyLetter | None] = {}
    for letter in report.letters:
        plain = unicodedata.normalize("NFKD", letter.party.casefold())
        words = "".join(c if c.isascii() and c.isalnum() else " " for c in plain).split()
        stem = "-".join(["referral", *words])[:_LONGEST_STEM].rstrip("-")
        again = sum(name.startswith((f"{stem}.", f"{stem}_")) for name in named)
        named[f"{stem}_{again + 1}.pdf" if again or not words else f"{stem}.pdf"] = letter
    return named


def name_photographs(photographs: Sequence[Photograph]) -> dict[str, bytes]:
    """Return photographs as files for the archive, stripped, each under a plain name of its own."""
    named: dict[str, bytes] = {}
    for each in photographs:
        stem = each.name.rpartition(".")[0]
        plain = "".join(c if c.isascii() and (c.isalnum() or c in " .-") else "_" for c in stem)
        plain = plain[:_LONGEST_STEM].rstrip(" .")
        again = sum(name.startswith(f"photographs/{plain}") for name in named)
        named[f"photographs/{plain}{f'_{again + 1}' if again else ''}.jpg"] = each.jpeg
    return named


def pack(files: Mapping[str, bytes]) -> bytes:
    """Return a ZIP archive of files and their manifest, which ``sha256sum -c`` reads."""
    entries = {**files, MANIFEST: manifest(files)}
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        for name in sorted(entries):
            entry = zipfile.ZipInfo(name, _EPOCH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3  # said the same on every machine
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, entries[name], compresslevel=9)
    return content.getvalue()


def manifest(files: Mapping[str, bytes]) -> bytes:
    """Return one line a file: its SHA-256 and its name."""
    lines = [f"{hashlib.sha256(files[name]).hexdigest()}  {name}\n" for name in sorted(files)]
    return "".join(lines).encode("utf-8")
