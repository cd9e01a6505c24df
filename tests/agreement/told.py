"""What result.json says of a site, read by its published keys alone, and how words are held to it.

Everything is compared as it is printed: a number agrees where it is the stated value rounded to the
digits shown.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

Record = dict[str, Any]

# Names of verdicts in sentences, the longest first: one holds another.
VERDICTS: Final = (
    ("its far part is past; where it begins is too close to call", "past from within"),
    ("too close to call", "too close to call"),
    ("reaches across", "across"),
    ("inside", "inside"),
    ("past", "past"),
)
NINETY_FIVE: Final = 1.959964
_CLASSES: Final = {
    "tap": "feature", "transition": "feature", "cleanout": "feature",
    "connection to the main": "feature",
    "gas pipe through sewer": "danger", "electric cable in the sewer": "danger",
}  # fmt: skip


@dataclass(frozen=True)
class Told:
    """result.json of a site, beside its site.toml."""

    result: Record
    site: Record

    @property
    def findings(self) -> dict[int, Record]:
        return {one["number"]: one for one in self.result["findings"]}

    @property
    def parties(self) -> list[str]:
        """Everybody who answers for some of the run, or may."""
        stretches = self.result["responsibility"]
        return list(dict.fromkeys(p for one in stretches for p in one["may_answer"]))

    @property
    def is_local(self) -> bool:
        return bool(self.result["crs"] == "local")

    def deciding(self, finding: Record, end: str = "sides") -> Record | None:
        """The side of the boundary that decides a finding, None where none does."""
        return next((one for one in finding[end] if one["line"] == finding["verdict_line"]), None)

    def locate_states(self, mark: str) -> set[str]:
        """Return what a locate may be: as its readings are, and as the likely diagnoses have it."""
        verdicts = {one["verdict"] for one in self.result["readings"] if one["locate"] == mark}
        if not verdicts:  # one set aside has no readings in the fit
            return {"set aside"}
        likely = [one for one in self.result["diagnoses"] if one["probability"] >= 0.5]
        places = ("line", "point", "turn", "fall")
        named = {one["id"]["of"] for one in likely if one["id"] and one["id"]["kind"] not in places}
        if mark in named:
            return {"suspect"}
        # The other of two slips that explain together is told in words alone.
        also = {"suspect"} if any(one["together_with"] for one in likely) else set()
        if "suspect" in verdicts:
            return {"put off", *also} if likely else {"suspect"}
        return {"good", "unchecked", *also}

    def letters(self) -> dict[str, dict[str, list[int]]]:
        """Return, for each party written to, the numbers it is asked about, group by group."""
        client = self.result["client"]
        asked: dict[str, dict[str, list[int]]] = {}
        rules = [one for one in self.site.get("boundary", []) if one.get("decides")]
        for party in dict.fromkeys(
            party for one in rules for party in (one["inside"], one["outside"])
        ):
            if party == client:
                continue
            groups: dict[str, list[int]] = {"theirs": [], "shared": [], "close": []}
            for number, one in self.findings.items():
                if one["class"] != "defect" or party not in one["may_answer"]:
                    continue
                if one["may_answer"] == [party]:
                    groups["theirs"].append(number)
                elif party in one["surely_answers"]:
                    groups["shared"].append(number)
                else:
                    groups["close"].append(number)
            asked[party] = groups
        return asked


def read_told(result: Record, site_toml: str) -> Told:
    return Told(result, tomllib.loads(site_toml))


def same_number(shown: str, value: float | None, *, spread: float = 1.0) -> bool:
    """Whether a printed number is this value rounded to its digits; ``spread`` scales the value."""
    if value is None:
        return False
    digits = len(shown.partition(".")[2])
    return abs(float(shown) - value * spread) <= 0.5 * 10.0**-digits + 2e-6 + 1e-9 * abs(value)


def same_range(shown: str, value: float | None) -> bool:
    """Whether a printed 95 % range is this standard deviation's."""
    return same_number(shown, value, spread=NINETY_FIVE)


def verdict_in(words: str) -> str | None:
    """Return the verdict that a sentence states, None where it states none."""
    return next((verdict for said, verdict in VERDICTS if said in words), None)


def numbers_in(words: str) -> list[int]:
    """Return finding numbers from ``findings 3, 5 and 7 to 9``."""
    found: list[int] = []
    for first, last in re.findall(r"(\d+)(?:(?: to |\N{EN DASH})(\d+))?", words):
        found += range(int(first), int(last or first) + 1)
    return found


def plain(text: str) -> str:
    """Return text with every run of blanks, no-break ones too, as one blank."""
    return " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())


# ── result.json by itself ────────────────────────────────────────────────────────────────────────


def check_result(told: Told) -> Iterable[str]:
    """What result.json says of itself must hold together, and with the site's boundaries."""
    findings = told.result["findings"]
    numbers = [one["number"] for one in findings]
    if numbers != list(range(1, len(findings) + 1)):
        yield f"numbers are {numbers}"
    for one in findings:
        at = f"#{one['number']}"
        if one["class"] != _CLASSES.get(one["finding"], "defect"):
            yield f"{at} class: {one['finding']} is {one['class']}"
        yield from (f"{at} {said}" for said in _check_verdict(told, one))
        yield from (f"{at} {said}" for said in _check_stretch(told, one))
    utilities = told.result["utilities"]
    ranks = [2 if one["joins"] else 0 if one["in_trench"] else 1 for one in utilities]
    if ranks != sorted(ranks):
        yield f"utilities: not by danger: {[one['name'] for one in utilities]}"


def _check_stretch(told: Told, one: Record) -> Iterable[str]:
    """Who answers where a finding lies, by the stretches, is who may answer for the finding."""
    if one["to"] is not None or one["verdict"] is None:
        return
    at = one["footage"]
    for stretch in told.result["responsibility"]:
        reach = [NINETY_FIVE * stretch[key] for key in ("from_sd", "to_sd")]
        if not stretch["from"] + reach[0] <= at <= stretch["to"] - reach[1]:
            continue  # or so near where it ends that the range there says as much
        if (stretch["party"] is None) != (len(stretch["may_answer"]) > 1):
            yield f"responsibility: {stretch['party']} of {stretch['may_answer']}"
        if set(stretch["may_answer"]) != set(one["may_answer"]):
            yield f"may be {one['may_answer']}, where it lies answers {stretch['may_answer']}"


def _check_verdict(told: Told, one: Record) -> Iterable[str]:
    near, far = told.deciding(one), told.deciding(one, "sides_to")
    if near is None:
        if (one["verdict"], one["answers"]) != (None, []):
            yield f"verdict: {one['verdict']} of {one['answers']} where no line decides"
        return
    ends = [near["verdict"]] if far is None else [near["verdict"], far["verdict"]]
    close = "too close to call"
    expected = {
        ("inside", "past"): "across",
        ("past", "inside"): "across",
        (close, "past"): "past from within",
    }.get(tuple(ends), ends[0] if len(set(ends)) == 1 else close)
    if len(_met(told, one, one["verdict_line"])) > 1 and one["verdict"] == "across":
        # Over the line and back: what lies between its ends is not theirs.
        expected = "across"
    if one["verdict_without"] and one["verdict"] != close:
        yield f"verdict: {one['verdict']} though a suspect reading decides it"
    elif not one["verdict_without"] and one["verdict"] != expected:
        yield f"verdict: {one['verdict']} of ends {ends}"
    yield from _check_open(one)
    parties = _parties_along(told, one)
    if parties is not None and one["answers"] and one["answers"] != parties:
        yield f"answers: {one['answers']}, by the boundaries {parties}"


def _check_open(one: Record) -> Iterable[str]:
    """Who answers is sure, sure in part or possible; where not all of it is sure it says why."""
    if not set(one["answers"]) <= set(one["surely_answers"]) <= set(one["may_answer"]):
        yield f"answers: {one['answers']}, {one['surely_answers']} of {one['may_answer']}"
    whole = one["answers"] and one["verdict"] != "past from within"
    if (one["left_open"] is None) != (len(one["may_answer"]) < 2 or bool(whole)):
        yield f"left open: {one['left_open']}, {one['answers']} of {one['may_answer']}"


def _parties_along(told: Told, one: Record) -> list[str] | None:
    """Who answers from end to end, by site.toml; None where a boundary leaves doubt."""
    order = [c["line"] for c in told.result["crossings"] if c["decides"] and c["outward"]]
    rules = [b for b in told.site.get("boundary", []) if b.get("decides")]
    rules.sort(key=lambda b: order.index(_name(b)) if _name(b) in order else len(order))
    if one["verdict_without"] or len({_name(b) for b in rules}) != len(rules):
        return None
    if any(len(_met(told, one, _name(b))) > 1 for b in rules):
        return None
    if any(b["outside"] != other["inside"] for b, other in pairwise(rules)):
        return None  # nobody is named where the boundaries contradict each other
    depths = []
    for end in ("sides", "sides_to")[: 1 if one["to"] is None else 2]:
        verdicts = [side["verdict"] for b in rules for side in one[end] if side["line"] == _name(b)]
        passed = verdicts.count("past")
        if "too close to call" in verdicts:
            # What begins in doubt is told from the far side of the one boundary in doubt on.
            in_order = ["past"] * passed + ["too close to call"]
            if one["verdict"] != "past from within" or end != "sides":
                return None
            if verdicts[: passed + 1] != in_order or "too close to call" in verdicts[passed + 1 :]:
                return None
            passed += 1
        depths.append(passed)
    chain = [rules[0]["inside"], *(b["outside"] for b in rules)]
    low, high = min(depths), max(depths)
    along = chain[low : high + 1]
    return [party for i, party in enumerate(along) if i == 0 or party != along[i - 1]]


def _met(told: Told, one: Record, name: str | None) -> list[float]:
    """Return where a stretch meets a line."""
    end = one["footage"] if one["to"] is None else one["to"]
    met = [c["footage"] for c in told.result["crossings"] if c["line"] == name]
    return [at for at in met if one["footage"] < at < end]


def _name(boundary: Record) -> str:
    return str(boundary.get("line") or boundary.get("name") or boundary["at"])
