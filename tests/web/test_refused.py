"""A save that is refused: what was typed stands in its form again, beside what was wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

import pytest
from playwright.sync_api import Browser, Locator, Route, expect
from web.yard import DESKTOP, PHONE, Yard, browser_context, served

pytestmark = pytest.mark.browser
# What the fields of a form and its list of places hold.
_HELD: Final = """form => [...form.querySelectorAll('[data-field]:not(.way-form *)')].map(
  field => [field.dataset.field, ...[...field.querySelectorAll(
    'input, select, textarea, [aria-pressed=true]')].map(
      one => one.type === 'checkbox' ? one.checked : one.value)]
).concat([...form.querySelectorAll('.places span')].map(one => one.textContent))"""
_WHY: Final = "It cannot be so."

ROWS: Final = {
    "Locates": {"mark": "Q", "footage": "45", "depth": "3", "past": "2", "line": "curb"},
    "Bends": {"footage": "45", "turn": "-22.5", "how": "eye", "note": "a"},
    "Findings": {"footage": "45", "finding": "roots", "severity": "severe", "note": "b"},
    "Sketch": {"what": "tape", "from": "hydrant", "to": "house corner A", "distance": "30"},
}
SETTINGS: Final = {"name": "Typed", "end_footage": "61", "zero": "0.5", "address": "here"}
ENTRIES: Final = {
    "pipe": ("Add a pipe run", {"from": "30", "material": "concrete", "size": "8"}),
    "boundary": ("Add a boundary", {"line": "curb", "inside": "tenant", "outside": "town"}),
}
PARTS: Final = {
    "reference": {"name": "post", "accuracy": "0.2"},
    "utility": {"name": "gas line", "utility": "gas", "depth": "2"},
}


def _row(tab: str, *, edited: bool) -> Callable[[Yard], Locator]:
    def begun(yard: Yard) -> Locator:
        yard.tab(tab)
        if edited:
            yard.panel().locator("button.row").first.click()
        yard.fill(ROWS[tab])
        return yard.panel().locator("form").first

    return begun


def _site(yard: Yard) -> Locator:
    yard.tab("Site")
    yard.fill(SETTINGS)
    return yard.panel().locator("form").first


def _entry(name: str, *, edited: bool) -> Callable[[Yard], Locator]:
    def begun(yard: Yard) -> Locator:
        yard.tab("Site")
        section = yard.panel().locator(f'[data-section="{name}"]')
        words, values = ENTRIES[name]
        if edited:
            section.locator("button.row").first.click()
        else:
            section.get_by_role("button", name=words).click()
        yard.fill(values, section.locator("form"))
        return section.locator("form")

    return begun


def _part(kind: str, *, edited: bool) -> Callable[[Yard], Locator]:
    def begun(yard: Yard) -> Locator:
        yard.tab("Plan")
        if edited:
            yard.panel().locator("button.row").first.click()
        else:
            yard.panel().locator(f'[data-kind="{kind}"]').click()
        form = yard.panel().locator("form.entry")
        yard.fill({"name": "another"} if edited else PARTS[kind], form)
        for x in ("3", "5"):
            form.get_by_role("button", name="x and y").click()
            yard.fill({"x": x, "y": "4"}, form.locator(".way-form"))
            form.get_by_role("button", name="Take this place").click()
        return form

    return begun


FORMS: Final[dict[str, Callable[[Yard], Locator]]] = {
    **{f"{tab}, new": _row(tab, edited=False) for tab in ROWS},
    **{f"{tab}, changed": _row(tab, edited=True) for tab in ("Locates", "Findings")},
    "Site": _site,
    **{f"{name}, new": _entry(name, edited=False) for name in ENTRIES},
    **{f"{name}, changed": _entry(name, edited=True) for name in ENTRIES},
    **{f"{kind}, new": _part(kind, edited=False) for kind in PARTS},
    "part, changed": _part("reference", edited=True),
}
REFUSALS: Final[dict[str, tuple[int, dict[str, Any]]]] = {
    "a value": (422, {"words": "Wrong.", "faults": [{"field": "", "words": _WHY}]}),
    "the disk": (507, {"words": _WHY}),
}


@pytest.fixture(params=[PHONE, DESKTOP], ids=["phone", "desktop"])
def yard(
    request: pytest.FixtureRequest, browser: Browser, sketch: Path, keys: Path
) -> Iterator[Yard]:
    with served(sketch, keys) as server, browser_context(browser, **request.param) as context:
        context.set_default_timeout(8_000)
        yield Yard(context, server.address)


def _refuse(yard: Yard, status: int, answer: dict[str, Any]) -> None:
    """Have every change refused from now on."""

    def refused(route: Route) -> None:
        if route.request.method == "POST":
            route.fulfill(status=status, json=answer)
        else:
            route.fallback()

    for path in ("**/rows", "**/settings", "**/plan"):
        yard.page.route(path, refused)


def _press(form: Locator) -> None:
    form.locator('button[type="submit"]').click()


def _forget(yard: Yard) -> None:
    """Go on as on another device, where nothing is kept."""
    yard.page.evaluate("localStorage.clear()")
    yard.tab("More")
    # A tap where the save was pressed would be taken for a double tap's second.
    yard.page.wait_for_timeout(500)


@pytest.mark.parametrize("refusal", REFUSALS)
def test_what_was_typed_stands_in_its_form_beside_what_is_wrong(yard: Yard, refusal: str) -> None:
    _refuse(yard, *REFUSALS[refusal])
    for name, begun in FORMS.items():
        form = begun(yard)
        typed = form.evaluate(_HELD)
        _press(form)
        told = yard.panel().locator("form.entry .fault").filter(has_text=_WHY)
        expect(told, name).to_be_in_viewport()
        held = told.locator("xpath=ancestor::form").evaluate(_HELD)
        assert held == typed, name
        _forget(yard)


@pytest.mark.parametrize("other", ["its own tab", "another tab"])
def test_what_is_typed_meanwhile_stays_and_the_refused_waits_for_its_form(
    yard: Yard, other: str
) -> None:
    """The answer is late: the next row is begun by then, and perhaps something else on top."""
    late: list[Route] = []

    def hold_up(route: Route) -> None:
        late.append(route)

    yard.page.route("**/rows", hold_up)
    yard.tab("Findings")
    yard.fill(ROWS["Findings"])
    form = yard.panel().locator("form").first
    typed = form.evaluate(_HELD)
    _press(form)
    yard.fill({"footage": "12", "note": "begun since"})
    if other == "another tab":
        yard.tab("Bends")
        yard.fill({"footage": "33", "note": "a bend"})
    late[0].fulfill(status=507, json={"words": _WHY})
    alert = yard.page.locator("#alerts .alert").filter(has_text=_WHY)
    expect(alert).to_be_visible()
    if other == "another tab":
        expect(yard.panel().locator('[data-field="note"] input')).to_have_value("a bend")
        yard.tab("Findings")
    expect(yard.panel().locator('[data-field="note"] input')).to_have_value("begun since")
    yard.page.unroute_all()
    yard.save()
    alert.get_by_role("button", name="Back to the form").click()
    expect(yard.panel().locator("form .fault").filter(has_text=_WHY)).to_be_visible()
    assert yard.panel().locator("form").first.evaluate(_HELD) == typed
    expect(alert).to_have_count(0)


def test_of_several_refused_after_a_time_out_of_reach_each_comes_back_whole(yard: Yard) -> None:
    yard.page.context.set_offline(True)
    kinds = ("Locates, new", "Findings, new", "Locates, new", "Site", "pipe, new", "reference, new")
    typed = []
    for name in kinds:
        form = FORMS[name](yard)
        typed.append(form.evaluate(_HELD))
        _press(form)
    _refuse(yard, 507, {"words": _WHY})
    yard.page.context.set_offline(False)
    yard.look()
    expect(yard.page.locator("#outbox-open")).to_have_text(f"{len(kinds) - 1} not sent")
    come = []
    for left in range(len(kinds), 0, -1):
        if left < len(kinds):
            yard.tab("More")
            row = yard.page.locator(".outbox-row").filter(has_text=_WHY).first
            row.get_by_role("button", name="Edit").click()
        come += [form.evaluate(_HELD) for form in yard.panel().locator("form.entry").all()]
        yard.page.evaluate(
            "Object.keys(localStorage).filter(key => / (draft|edit) /.test(key))"
            ".forEach(key => localStorage.removeItem(key))"
        )
    assert all(one in come for one in typed)
