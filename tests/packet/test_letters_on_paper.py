"""A sample of the made-up sites whose letters ``letters.py`` reads back from the paper."""

from __future__ import annotations

import re
from pathlib import Path

from agreement.sites import write_site
from packet.letters import add_fields, letter_faults

from lateral_map import build_report, load_site
from lateral_map.draw.packet.document import RUN_ON, referral_html
from lateral_map.draw.sheet.document import SheetSet
from lateral_map.draw.sheet.setting import choose_setting
from lateral_map.export.pdf import html_to_pdf


def test_every_field_and_finding_is_on_the_paper_and_what_is_lost_is_found(tmp_path: Path) -> None:
    write_site(tmp_path, 12)
    add_fields(tmp_path, 12)
    report = build_report(load_site(tmp_path))
    letter = next(one for one in report.letters if one.theirs)
    page = referral_html(report, letter, SheetSet(choose_setting(report), (), ()))
    assert list(letter_faults(report, letter, html_to_pdf(page, run_on=RUN_ON), 12)) == []
    lost = page.replace("PN-12-7", "").replace("is yours", "is", 1)
    number = f'<td class="number">{letter.theirs[0].number}</td>'
    assert number in lost
    lost = lost.replace(number, '<td class="number">99</td>', 1)
    found = " ".join(letter_faults(report, letter, html_to_pdf(lost), 12))
    assert "'PN-12-7' stands 0 times" in found
    assert "not whole" in found
    assert "the letter lists" in found


def test_a_letter_that_spills_leaves_no_page_mostly_blank(tmp_path: Path) -> None:
    """Where a letter goes on to a second page, what follows it does so there; the end is whole."""
    write_site(tmp_path, 16)
    add_fields(tmp_path, 16)
    report = build_report(load_site(tmp_path))
    letter = next(one for one in report.letters if one.party == "Osper county")
    page = referral_html(report, letter, SheetSet(choose_setting(report), (), ()))
    assert list(letter_faults(report, letter, html_to_pdf(page, run_on=RUN_ON), 16)) == []
    # Without it this letter's second page would be: else it tells nothing of that any more.
    apart = " ".join(letter_faults(report, letter, html_to_pdf(page), 16))
    assert re.fullmatch(r"page 2 is \d+% blank", apart)
