"""A sample of the made-up sites whose letters ``letters.py`` reads back from the paper."""

from __future__ import annotations

from pathlib import Path

import pypdfium2
from agreement.sites import write_site
from packet.letters import add_fields, letter_faults

from lateral_map import build_report, load_site
from lateral_map.draw.packet.document import referral_html
from lateral_map.draw.sheet.document import SheetSet
from lateral_map.draw.sheet.setting import choose_setting
from lateral_map.export.pdf import html_to_pdf


def test_every_field_and_finding_is_on_the_paper_and_what_is_lost_is_found(tmp_path: Path) -> None:
    write_site(tmp_path, 1)
    add_fields(tmp_path, 1)
    report = build_report(load_site(tmp_path))
    letter = next(one for one in report.letters if one.theirs)
    page = referral_html(report, letter, SheetSet(choose_setting(report), (), ()))
    assert list(letter_faults(report, letter, html_to_pdf(page), 1)) == []
    lost = page.replace("PN-1-7", "").replace("is yours", "is", 1)
    number = f'<td class="number">{letter.theirs[0].number}</td>'
    assert number in lost
    lost = lost.replace(number, '<td class="number">99</td>', 1)
    found = " ".join(letter_faults(report, letter, html_to_pdf(lost), 1))
    assert "'PN-1-7' stands 0 times" in found
    assert "not whole" in found
    assert "the letter lists" in found


def test_a_signature_never_stands_on_a_page_by_itself(tmp_path: Path) -> None:
    write_site(tmp_path, 11)
    report = build_report(load_site(tmp_path))
    (letter,) = report.letters
    page = referral_html(report, letter, SheetSet(choose_setting(report), (), ()))
    begin = page.rindex("<section", 0, page.index("<h1>Evidence"))
    content = html_to_pdf(page[:begin] + page[page.index("<section>", begin) :])
    assert "by itself" not in " ".join(letter_faults(report, letter, content, 11))
    with pypdfium2.PdfDocument(content) as document:
        second = document[1].get_textpage().get_text_range()
    assert second.startswith("With this letter")  # else this letter tells nothing of it any more
