"""What a finding's plain trade words mean: damage, standing water, how the pipe was built, danger.

People write findings in their own words, so this is a reading of them, made once: everything else
goes by ``class_of`` and by the questions below. Words are common practice, no source.
"""

from __future__ import annotations

import functools
import re
from typing import Final, Literal

from lateral_map.model.site import Finding, Site

FindingClass = Literal["defect", "feature", "danger"]

# Words that mean the pipe itself has failed or is failing.
STRUCTURAL_WORDS: Final = (
    "crack", "broken", "break", "offset", "hole", "collapse", "root", "fracture", "separat",
    "deform", "crush", "missing", "joint", "displace", "split", "void", "leak", "infiltrat",
    "taproot", "misalign", "dropped", "damage", "buckl", "bulg",
)  # fmt: skip
_OPEN: Final = ("broken", "collapse", "crushed", "hole", "missing")
_STANDING_WATER: Final = ("standing water", "belly", "sag")
# Whole words: a tape is no tap, and maintenance no main.
_TAP: Final = (r"tap(?:s|ped)?\b", r"wyes?\b", r"tees?\b", "saddle", "connection")
_MAIN: Final = (r"mains?\b", r"mainline\b")
_FEATURE: Final = (
    "transition", "material change", "change of material", "size change", "change of size",
    "cleanout", "clean-out", "clean out", r"c ?[/.] ?o\b", "manhole", "bend", "riser",
    "lining begins", "liner begins", "pipe begins", *_MAIN, *_TAP,
)  # fmt: skip
# What makes a feature a defect after all.
_WRONG: Final = (
    *STRUCTURAL_WORDS, *_STANDING_WATER, "protrud", "intrud", "defect", "grease", "block",
    "obstruct", "corro", "hammer", "debris", "scale", "plug", "clog", "wrinkl", "deposit",
    "sediment", "encrust", "tubercul", "rust", "surcharg", "backwater", "water level", "high water",
    "concrete in", "bad", "poor", "fault", "fail", "improper", "illicit", "illegal", "disconnect",
    "loose", "worn", "erod",
)  # fmt: skip
# A foreign pipe or cable in the sewer, as people call one. 'Bituminous fibre' is a pipe material,
# 'sewer gas' a smell, 'electric blue' a paint: none is one; a smell of any other gas is. A report
# may keep a word or two of the crew's own language.
_DANGER: Final = re.compile(
    r"\b(?<!sewer )gas(?! bubble| station)\b|"
    r"\b(?:gas|water|steam|oil|power|electric)[ -]?(?:mains?|services?|pipes?|lines?)\b|"
    r"\belectric\w*\b(?![ -]blue)|"
    r"\bpower (?:cable|duct|conduit)|"
    r"\b(?:cables?(?![ -]ties?\b)|conduits?|ducts?)\b|"
    r"(?<!mesh )\bwires?\b(?![ -](?:mesh|brush|rope|ties?))|"
    r"\bfib(?:er|re)[ -]?optics?\b|\bfib(?:er|re) (?:cable|duct|line|through|across|in)\b|"
    r"\btele(?:phone|com\w*)\b|\bcommunications?\b|\b(?:broadband|internet)\b|"
    r"\b(?:foreign|unknown|other|yellow) (?:\w+ )?(?:pipe|line|cable)|"
    r"\butilit(?:y|ies)\b(?! (?:sink|tub|basin|room))|"
    r"\b(?:cross|x)[ -]?bor|\bbored? (?:through|across|into)\b|\bhdd\b|"
    r"\bdirectional (?:drill|bor)|\bdrill(?:ed)? through|\bdrill (?:pipe|rod)|"
    r"\b(?:pipe|line|service|rod)s? (?:through|across|crossing|pierc\w+|penetrat\w+|punctur\w+)"
    r" (?:the |our )?(?:sewer|lateral|drain|pipe|line|invert|crown|wall)\b|"
    r"\b(?:pipe|service) crossing$|\bservice (?:line|pipe) in\b|"
    r"(?:gas|wasser|strom|telefon)(?:leitung|rohr)|kabel|glasfaser|"
    r"\btuber[ií]a de agua\b|\bgaz\b|\bconduite d.eau\b"
)
# The same in a note, which speaks of much that lies near by or was looked for: a bore, or a foreign
# pipe or cable said to be in the sewer or across it; nothing that the note says was not there.
_DANGER_NOTED: Final = re.compile(
    r"(?<!\bno )(?<!\bnot )(?<!\bnot a )(?<!\bno sign of )(?<!\bwithout )(?:"
    r"\b(?:cross|x)[ -]?bor(?:e|ed|es|ing)\b(?! (?:ruled|was ruled|is ruled|check))|"
    r"\b(?:gas|electric\w*|power|foreign|unknown|yellow|telephone|telecom|communications?|fib(?:er|re))"
    r"(?: (?:main|service|plastic|pe|pipe|line|cable|conduit|duct|wire|looking)s?)+"
    r" (?:(?:is|was|runs?|goes|comes|bored|drilled|straight|right) )*"
    r"(?:through|across|inside|in|into|pierc\w+|penetrat\w+)\b"
    r" (?:the |our |this |a )?(?:pipe|sewer|lateral|drain|joint|roots?|invert|crown|wall|camera)\b)"
)
# How near its end a run's tap is the main's (common practice, no source).
_AT_MAIN_M: Final = 0.3
_NEVER_ALONE: Final = ("grease", "transition", *_TAP)


def class_of(finding: Finding) -> FindingClass:
    """Return what a finding is; in doubt between a danger and anything else, a danger."""
    return "danger" if is_danger_noted(finding) else _class_of(finding.finding)


def is_danger_noted(finding: Finding) -> bool:
    """Say whether its note, and not the finding itself, tells of a foreign pipe or cable."""
    noted = _DANGER_NOTED.search(_words_of(finding.note)) is not None
    return noted and _class_of(finding.finding) != "danger"


# Findings are few words said over and over: so many are kept.
@functools.lru_cache(maxsize=1024)
def _class_of(finding: str) -> FindingClass:
    if _DANGER.search(_words_of(finding)):
        return "danger"
    return "feature" if _says(finding, _FEATURE) and not _says(finding, _WRONG) else "defect"


def is_tap(finding: Finding) -> bool:
    """Say whether another pipe joins at a finding."""
    return class_of(finding) != "danger" and _says(finding.finding, _TAP)


def is_at_main(finding: Finding, site: Site) -> bool:
    """Say whether a finding is where the lateral meets the main, and nothing that ails it.

    That is one called so, or the tap at the end of a run that reached the main.
    """
    if class_of(finding) != "feature":
        return False
    at_end = finding.footage_m >= site.run.end_m - _AT_MAIN_M
    return _says(finding.finding, _MAIN) or (site.run.reached_main and at_end and is_tap(finding))


def is_standing_water(finding: Finding) -> bool:
    """Say whether water stands at a finding."""
    return class_of(finding) != "danger" and _says(finding.finding, _STANDING_WATER)


def is_offset(finding: Finding) -> bool:
    """Say whether a joint is offset there."""
    return class_of(finding) != "danger" and _says(finding.finding, ("offset",))


def is_roots(finding: Finding) -> bool:
    """Say whether roots have come in."""
    return class_of(finding) != "danger" and _says(finding.finding, ("root",))


def is_open_damage(finding: Finding) -> bool:
    """Say whether the pipe may be crushed, holed or gone there."""
    return class_of(finding) != "danger" and _says(finding.finding, _OPEN)


def calls_for_repair(finding: Finding) -> bool:
    """Say whether a finding by itself is worth opening the ground or lining for.

    Damage or standing water of moderate or severe degree, damage whose degree nobody gave, and
    anything severe that is not merely cleaned. Damage counts wherever it is: a crack at a tap too.
    A danger never does: nobody digs or cuts there before its owner has been.
    """
    if class_of(finding) == "danger":
        return False
    if _says(finding.finding, STRUCTURAL_WORDS):
        return finding.severity in ("moderate", "severe", None)
    if is_standing_water(finding):
        return finding.severity in ("moderate", "severe")
    return finding.severity == "severe" and not _says(finding.finding, _NEVER_ALONE)


@functools.lru_cache(maxsize=4096)
def _says(finding: str, words: tuple[str, ...]) -> bool:
    """Say whether a word of the finding begins with one of these: a manhole is no hole."""
    return re.search(rf"\b(?:{'|'.join(words)})", _words_of(finding)) is not None


def _words_of(finding: str) -> str:
    """Return a finding in small letters, one blank between words, whatever was typed there."""
    return re.sub(r"[\s_]+", " ", finding).lower()
