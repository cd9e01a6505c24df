"""A set of sheets: the drawings as SVG, and the HTML that lays each on a page of its own size."""

from __future__ import annotations

from dataclasses import dataclass

from lateral_map.draw.paint.svg import Canvas, Stroke
from lateral_map.draw.profile.parts import heights_words
from lateral_map.draw.sheet.plan import draw_sheet_plan
from lateral_map.draw.sheet.profile import draw_profile
from lateral_map.draw.sheet.setting import Setting, choose_setting
from lateral_map.draw.sheet.strip import draw_strip, scale_sentences
from lateral_map.draw.style import INK, QUIET
from lateral_map.model.results import Report
from lateral_map.words.numbers import label, length


@dataclass(frozen=True, slots=True)
class SheetSet:
    """Drawn sheets. ``left_out`` counts the plan labels that found no room, sheet by sheet."""

    setting: Setting
    drawings: tuple[str, ...]
    left_out: tuple[int, ...]

    @property
    def statement(self) -> str:
        """Paper, scales and number of sheets in one line."""
        many = len(self.drawings)
        sheets = "one sheet" if many == 1 else f"{many} sheets"
        scales = "; ".join(one[0].lower() + one[1:] for one in scale_sentences(self.setting)[:3])
        return f"{sheets} of {self.setting.paper.name}: {scales}"


def draw_sheets(report: Report, *, paper: str | None = None, scale: str | None = None) -> SheetSet:
    """Draw the plan-and-profile sheets.

    ``paper`` is letter, tabloid, A4 or A3; ``scale`` is as stated on a sheet (``1 in = 10 ft``,
    ``1:100``); what is not asked for is chosen. Raises ``AnalysisError`` where they do not exist.
    """
    setting = choose_setting(report, paper=paper, scale=scale)
    panels, unit, drawings, left_out = setting.panels, report.site.unit, [], []
    for cut in setting.cuts:
        # What the drawing shows, for who cannot see it.
        alternative = (
            f"Plan and profile of {label(report.site.name)}, sheet {cut.number} of "
            f"{len(setting.cuts)}: {length(cut.from_m, unit)} to {length(cut.to_m, unit)}. "
            f"{'. '.join(scale_sentences(setting))}. The tables that follow say the same in words."
        )
        canvas = Canvas.sheet(setting.paper.width_pt, setting.paper.height_pt, alternative)
        unplaced = draw_sheet_plan(canvas, report, cut, setting)
        draw_profile(canvas, report, cut, setting)
        draw_strip(canvas, report, cut, setting, len(setting.cuts))
        for box in (panels.border, panels.plan):
            canvas.box(box.left, box.top, box.width, box.height, edge=Stroke(INK, 1.0))
        plan, profile = panels.plan, panels.profile
        words = f"PLAN  {setting.scale.words}"
        if unplaced:
            words += f"   ({unplaced} labels left out for want of room: see the tables)"
        canvas.text(plan.left + 6.0, plan.bottom - 5.0, words, 9.0, bold=True)
        canvas.text(
            profile.left + 6.0,
            profile.top + 10.5,
            f"PROFILE  {setting.scale.words} along, {setting.upright.words} up, "
            f"vertical exaggeration {setting.exaggeration:.3g}.  {heights_words(report)}",
            9.0,
            bold=True,
            colour=QUIET,
        )
        drawings.append(canvas.to_text())
        left_out.append(unplaced)
    return SheetSet(setting, tuple(drawings), tuple(left_out))
