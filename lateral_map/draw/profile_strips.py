"""The strips under a profile: what the line rests on, the pipe, its fall, who answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from lateral_map.draw.along import basis_stretches
from lateral_map.draw.flags import drawable, fitting
from lateral_map.draw.plan.responsibility import party_styles, undecided
from lateral_map.draw.profile_layout import Window
from lateral_map.draw.style import BASIS_LINES, INK, OKABE_ITO, PAPER, PARTY_LINES, QUIET
from lateral_map.model.results import FallStretch, PipeStretch, Report
from lateral_map.units import format_small, from_metres
from lateral_map.words.numbers import fall_words, label


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of a strip: footages in metres, wordings fullest first, its fill and hatch."""

    from_m: float
    to_m: float
    wordings: tuple[str, ...]
    fill: str = PAPER
    hatch: str = ""
    bold: bool = False
    opacity: float = 1.0


@dataclass(frozen=True, slots=True)
class Strip:
    """One strip: its name, shorter for a narrow sheet, and its cells."""

    name: str
    short_name: str
    cells: tuple[Cell, ...]


_HATCHES: Final = {"located": "", "between locates": "////", "dead reckoned": "xxxx"}


def profile_strips(report: Report) -> tuple[Strip, ...]:
    """Return the strips that have anything to say."""
    strips = (
        Strip("Rests on", "Basis", _basis_cells(report)),
        Strip("Pipe", "Pipe", tuple(_pipe_cell(report, pipe) for pipe in report.pipes)),
        Strip("Fall", "Fall", tuple(_fall_cell(fall) for fall in report.falls)),
        Strip("Answers", "Who", _party_cells(report)),
    )
    return tuple(strip for strip in strips if strip.cells)


def _basis_cells(report: Report) -> tuple[Cell, ...]:
    return tuple(
        Cell(
            stretch.from_m,
            stretch.to_m,
            (
                stretch.basis,
                {"located": "L", "between locates": "between"}.get(stretch.basis, "dead r."),
            ),
            BASIS_LINES[stretch.basis].colour,
            _HATCHES[stretch.basis],
            stretch.basis == "dead reckoned",
            0.55 if stretch.basis == "located" else 0.4,
        )
        for stretch in basis_stretches(report.stations)
    )


def _pipe_cell(report: Report, pipe: PipeStretch) -> Cell:
    size = format_small(pipe.size_m, report.site.unit) if pipe.size_m else "size not given"
    return Cell(pipe.from_m, pipe.to_m, (f"{size} {pipe.material}", pipe.material, size))


def _fall_cell(fall: FallStretch) -> Cell:
    remark = {"too flat": "too flat", "falls back": "FALLS BACK", "enough fall": "enough"}.get(
        fall.verdict, "cannot tell"
    )
    words = fall_words(fall)
    loud = fall.verdict in ("too flat", "falls back")
    wordings = (f"{words}, {remark}", words, words.partition(" ±")[0])
    return Cell(fall.from_m, fall.to_m, wordings, "#fbe3d3" if loud else PAPER, bold=loud)


def _party_cells(report: Report) -> tuple[Cell, ...]:
    styles = party_styles(report)
    cells = [
        Cell(
            stretch.from_m,
            stretch.to_m,
            (drawable(label(stretch.party)), drawable(label(stretch.party, 8))),
            PARTY_LINES[int(styles[stretch.party].removeprefix("party "))].colour,
            opacity=0.4,
        )
        for stretch in report.responsibility
    ]
    cells += [Cell(low, high, (), QUIET, "||||", opacity=0.5) for low, high in undecided(report)]
    return tuple(cells)


def paint_strips(
    figure: Figure,
    report: Report,
    window: Window,
    strips: tuple[Strip, ...],
    *,
    top_in: float,
    strip_in: float,
    size_pt: float,
    narrow: bool,
) -> None:
    """Paint the strips downward from ``top_in`` inches above the sheet's foot."""
    for index, strip in enumerate(strips):
        bottom = top_in - (index + 1) * strip_in
        name = strip.short_name if narrow else strip.name
        figure.text(
            window.left_in - 0.07, bottom + strip_in / 2, name, transform=figure.dpi_scale_trans,
            ha="right", va="center_baseline", fontsize=size_pt, color=INK, fontweight="bold",
            parse_math=False,
        )  # fmt: skip
        for cell in strip.cells:
            _paint_cell(figure, report, window, cell, bottom, strip_in, size_pt)


def _paint_cell(
    figure: Figure,
    report: Report,
    window: Window,
    cell: Cell,
    bottom_in: float,
    strip_in: float,
    size_pt: float,
) -> None:
    unit = report.site.unit
    left = window.across_in(from_metres(cell.from_m, unit))
    right = window.across_in(from_metres(cell.to_m, unit))
    height = strip_in - 0.02
    figure.add_artist(
        Rectangle(
            (left, bottom_in), right - left, height, transform=figure.dpi_scale_trans,
            facecolor=_tint(cell.fill, cell.opacity), edgecolor=_tint(INK, 0.45), lw=0.6,
            hatch=cell.hatch or None,
        )
    )  # fmt: skip
    words = fitting(cell.wordings, right - left - 0.06, size_pt, cell.bold)
    if words:
        figure.text(
            (left + right) / 2, bottom_in + height / 2, words, transform=figure.dpi_scale_trans,
            ha="center", va="center_baseline", fontsize=size_pt, color=INK, parse_math=False,
            fontweight="bold" if cell.bold else "normal",
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.6} if cell.hatch else None,
        )  # fmt: skip


def _tint(colour: str, share: float) -> tuple[float, float, float]:
    """Mix a colour with white: tints stay solid, so prints do not darken where they overlap."""
    red, green, blue = (int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5))
    return (
        1.0 - share * (1.0 - red),
        1.0 - share * (1.0 - green),
        1.0 - share * (1.0 - blue),
    )


__all__ = ["OKABE_ITO", "Cell", "Strip", "paint_strips", "profile_strips"]
