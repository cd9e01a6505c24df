"""What stands on the pages of a PDF, read by PDFium: twenty times as fast as by pdfplumber.

pdfplumber stays where lines and areas, structure or its way of putting words together are asked.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pypdfium2
from numpy.typing import NDArray
from pypdfium2 import raw

_END = 2  # bytes of a text of no letters: its end alone


def page_texts(content: bytes) -> list[str]:
    """Return the text of each page, as a viewer's search finds it."""
    with pypdfium2.PdfDocument(content) as document:
        return [page.get_textpage().get_text_range() for page in document]


@dataclass(frozen=True, eq=False)
class Letters:
    """A page's letters, blanks left out, in the order PDFium reads them: along its lines.

    ``box_pt`` holds left, top, right, bottom from the page's upper left corner, with the air a
    typeface has round its ink; ``turn`` the four figures of each letter's matrix that turn it.
    ``repeated`` says where the same text is printed once more: PDFium gives it once.
    """

    width_pt: float
    height_pt: float
    text: list[str]
    box_pt: NDArray[np.float64]
    turn: NDArray[np.float64]
    size_pt: NDArray[np.float64]
    repeated: list[str]

    @property
    def is_level(self) -> NDArray[np.bool_]:
        return np.abs(self.turn[:, 1]) < 1e-9

    def overprinted(self) -> list[str]:
        """Return the pairs of letters of which one is printed over another."""
        box, turn = self.box_pt, self.turn
        size = box[:, 2:] - box[:, :2]
        # A letter's box has air round its ink: compare the middle of each.
        low, high = box[:, :2] + 0.27 * size, box[:, 2:] - 0.27 * size
        meets = np.ones((len(box), len(box)), bool)
        for axis in (0, 1):
            meets &= low[:, None, axis] < high[None, :, axis]
            meets &= low[None, :, axis] < high[:, None, axis]
        one, other = np.nonzero(np.triu(meets, 1))
        # Letters of one slanting caption touch by their upright boxes and by nothing else.
        slanting = (np.abs(turn[one, 0]) > 1e-6) & (np.abs(turn[one, 1]) > 1e-6)
        caption = slanting & np.isclose(turn[one], turn[other]).all(axis=1)
        return self.repeated + [
            f"{self.text[i]} over {self.text[j]} at {box[i].round(1)}"
            for i, j in zip(one[~caption], other[~caption], strict=True)
        ]


def page_letters(content: bytes) -> list[Letters]:
    """Return the letters of each page."""
    with pypdfium2.PdfDocument(content) as document:
        return [_letters(page) for page in document]


def _letters(page: pypdfium2.PdfPage) -> Letters:
    printed, (width, height) = page.get_textpage(), page.get_size()
    box, matrix = raw.FS_RECTF(), raw.FS_MATRIX()
    text: list[str] = []
    rows: list[tuple[float, ...]] = []
    for at in range(printed.count_chars()):
        letter = chr(raw.FPDFText_GetUnicode(printed, at))
        if letter.isspace() or raw.FPDFText_IsGenerated(printed, at) == 1:
            continue
        raw.FPDFText_GetLooseCharBox(printed, at, box)
        raw.FPDFText_GetMatrix(printed, at, matrix)
        size = raw.FPDFText_GetFontSize(printed, at) * math.hypot(matrix.c, matrix.d)
        sides = (box.left, height - box.top, box.right, height - box.bottom)
        if text and text[-1] == "f" and letter in "fijlt" and rows[-1][:4] == sides:
            continue  # one sign for both
        text.append(letter)
        rows.append((*sides, matrix.a, matrix.b, matrix.c, matrix.d, size))
    repeated = []
    for each in page.get_objects([raw.FPDF_PAGEOBJ_TEXT]):
        left, _, right, top = each.get_bounds()
        # A blank of no width may be left out as well.
        if right > left and raw.FPDFTextObj_GetText(each, printed, None, 0) <= _END:
            place = np.round((left, height - top), 1)
            repeated.append(f"text over the same text at {place}")
    table = np.array(rows, float).reshape(-1, 9)
    return Letters(width, height, text, table[:, :4], table[:, 4:8], table[:, 8], repeated)
