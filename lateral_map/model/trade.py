"""What a finding's plain trade words mean: damage, standing water, how the pipe was built, danger.

People write findings in their own words, so this is a reading of them, made once: everything else
goes by ``class_of`` and by the questions below. Words are common practice, no source.
"""

from __future__ import annotations

import re
from typing import Final, Literal

from lateral_map.model.site import Finding, Site

FindingClass = Literal["defect", "feature", "danger"]

# Words that mean the pipe itself has failed or is failing.
STRUCTURAL_WORDS: Final = (
    "crack", "broken", "break", "offset", "hole", "collapse", "root", "fracture", "separat",
    "deform", "crush", "missing", "joint", "displace", "split", "void", "leak", "infiltration",
)  # fmt: skip
_OPEN: Final = ("broken", "collapse", "crushed", "hole", "missing")
_STANDING_WATER: Final = ("standing water", "belly", "sag")
_TAP: Final = ("tap", "wye", "tee", "saddle", "connection")
_FEATURE: Final = (
    "transition", "material change", "change of material", "size change", "change of size",
    "cleanout", "clean-out", "clean out", "main", "bend", "riser", "lining begins", "liner begins",
    *_TAP,
)  # fmt: skip
# What makes a feature a defect after all.
_WRONG: Final = (
    *STRUCTURAL_WORDS, *_STANDING_WATER, "protrud", "intrud", "defect", "grease", "blocked",
    "obstruct", "corro", "hammer", "debris", "scale",
)  # fmt: skip
# A foreign pipe or cable in the sewer. 'Bituminous fibre' is a pipe material and 'sewer gas' a
# smell: neither is one.
_DANGER: Final = re.compile(
    r"\b(?:(?<!sewer )gas(?! smell| odou?r)|electric\w*|power (?:line|cable|duct)|cables?|conduits?"
    r"|fib(?:er|re)[ -]?optics?|fib(?:er|re) (?:cable|duct|line)|tele(?:phone|com\w*)"
    r"|communications?|water (?:main|service|pipe|line)|foreign (?:pipe|line|cable|utility)|utility"
    r"|cross[ -]?bor\w+|bored through)\b"
)
# How near its end a run's tap is the main's (common practice, no source).
_AT_MAIN_M: Final = 0.3
_NEVER_ALONE: Final = ("grease", "transition", *_TAP)


def class_of(finding: Finding) -> FindingClass:
    """Return what a finding is; in doubt between a danger and anything else, a danger."""
    if _DANGER.search(finding.finding.lower()):
        return "danger"
    return "feature" if _says(finding, _FEATURE) and not _says(finding, _WRONG) else "defect"


def is_tap(finding: Finding) -> bool:
    """Say whether another pipe joins at a finding."""
    return class_of(finding) != "danger" and _says(finding, _TAP)


def is_at_main(finding: Finding, site: Site) -> bool:
    """Say whether a finding is where the lateral meets the main, and nothing that ails it.

    That is one called so, or the tap at the end of a run that reached the main.
    """
    if class_of(finding) != "feature":
        return False
    at_end = finding.footage_m >= site.run.end_m - _AT_MAIN_M
    return _says(finding, ("main",)) or (site.run.reached_main and at_end and is_tap(finding))


def is_standing_water(finding: Finding) -> bool:
    """Say whether water stands at a finding."""
    return class_of(finding) != "danger" and _says(finding, _STANDING_WATER)


def is_offset(finding: Finding) -> bool:
    """Say whether a joint is offset there."""
    return class_of(finding) != "danger" and _says(finding, ("offset",))


def is_roots(finding: Finding) -> bool:
    """Say whether roots have come in."""
    return class_of(finding) != "danger" and _says(finding, ("root",))


def is_open_damage(finding: Finding) -> bool:
    """Say whether the pipe may be crushed, holed or gone there."""
    return class_of(finding) != "danger" and _says(finding, _OPEN)


def calls_for_repair(finding: Finding) -> bool:
    """Say whether a finding by itself is worth opening the ground or lining for.

    Damage or standing water of moderate or severe degree, damage whose degree nobody gave, and
    anything severe that is not merely cleaned. Damage counts wherever it is: a crack at a tap too.
    A danger never does: nobody digs or cuts there before its owner has been.
    """
    if class_of(finding) == "danger":
        return False
    if _says(finding, STRUCTURAL_WORDS):
        return finding.severity in ("moderate", "severe", None)
    if is_standing_water(finding):
        return finding.severity in ("moderate", "severe")
    return finding.severity == "severe" and not _says(finding, _NEVER_ALONE)


def _says(finding: Finding, words: tuple[str, ...]) -> bool:
    """Say whether a word of the finding begins with one of these: a manhole is no hole."""
    return re.search(rf"\b(?:{'|'.join(words)})", finding.finding.lower()) is not None
