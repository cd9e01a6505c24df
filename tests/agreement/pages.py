"""The map, the dig page and the owner's page, read as a browser's text would be."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from lxml import html as lxml_html

from agreement.told import NINETY_FIVE, Record, Told, plain, same_number, same_range, verdict_in

_TOO_CLOSE = "too close to call"
_CONTRADICTED = "the boundaries contradict each other"
_WARNING = re.compile(
    # A made-up utility's name, what it is where the name does not say so, and how it lies.
    r"IN THE TRENCH(?: \([^)]*\))?: (.*?)(?: \([^)]*\))?, (.*?)\.(?=\s|$)"
)
_SIDE = re.compile(r"(-?[\d.]+) ± ([\d.]+)")


def check_pages(told: Told, made: Mapping[str, bytes]) -> Iterable[str]:
    checks = {"map.html": check_map, "dig.html": check_dig, "owner.html": check_owner}
    for name, check in checks.items():
        if name in made:
            page = made[name].decode("utf-8")
            yield from (f"{name}: {said}" for said in check(told, page))
            yield from (f"{name}: {said}" for said in check_end(told, page))


_MAIN_MISSED = re.compile(
    r"(?:main (?:sewer )?(?:was )?not reached|not (?:end at|reach) the main)", re.IGNORECASE
)


def check_end(told: Told, words: str) -> Iterable[str]:
    """What a run from the main did not reach is no main."""
    if told.site["start"]["point"] == "manhole" and (missed := _MAIN_MISSED.search(plain(words))):
        yield f"from the main, and says {missed[0]!r}"


# ── rows and sentences any page may show ─────────────────────────────────────────────────────────


def check_finding_cells(told: Told, cells: Mapping[str, str]) -> Iterable[str]:
    """Hold one row of a findings table, by its column heads, against what is decided."""
    one = told.findings.get(int(cells["No."]))
    if one is None:
        yield f"there is no #{cells['No.']}"
        return
    at = f"#{one['number']}"
    footages = re.findall(r"-?\d[\d.]*(?= (?:ft|m)\b)", cells["Footage"])
    expected = [one["footage"]] if one["to"] is None else [one["footage"], one["to"]]
    if len(footages) != len(expected) or not all(map(same_number, footages, expected)):
        yield f"{at} footage: {cells['Footage']}, {expected}"
    if not cells["Finding"].startswith(one["finding"]):
        yield f"{at} finding: {cells['Finding']}"
    ends = [(one["depth_to_invert"], one["depth_sd"])]
    if one["far_end"]:
        ends.append((one["far_end"]["depth_to_invert"], one["far_end"]["depth_sd"]))
    shown = _SIDE.findall(cells["Depth to invert"])
    if not shown or not all(
        same_number(depth, value) and same_range(spread, sd)
        for (depth, spread), (value, sd) in zip(shown, ends, strict=False)
    ):
        yield f"{at} depth: {cells['Depth to invert']}, {ends}"
    if "Side" in cells:
        yield from (f"{at} side: {said}" for said in check_sides(told, one, cells["Side"]))
    if "Answers for it" in cells:
        yield from (f"{at} answers: {said}" for said in check_answers(one, cells["Answers for it"]))


def check_sides(told: Told, one: Record, words: str) -> Iterable[str]:
    """Hold the sentence about the deciding line, and any about others, against their sides."""
    near = told.deciding(one)
    if near is None:
        return
    # A letter tells every line that bounds the reader's part, a sentence each.
    lines = {_capital(side["line"]) for side in one["sides"]}
    ahead = "|".join(re.escape(plain(line)) for line in lines)
    each = re.split(rf"(?<=\.) (?=(?:{ahead}): )", words)
    judged = [said for said in each if said.casefold().startswith(f"{near['line'].casefold()}: ")]
    words = judged[0] if judged else words
    yield from check_side(told, one, words)
    for said in each if len(each) > 1 else ():
        if said != words:
            yield from _check_beside(one, said)


def check_side(told: Told, one: Record, words: str) -> Iterable[str]:
    """Hold ``curb: past by 1.2 ± 0.8 ft, lies past with ...`` against the deciding side."""
    near = told.deciding(one)
    if near is None:
        return
    line, _, said = words.partition(": ")
    if line.casefold() != one["verdict_line"].casefold():
        yield f"judged by {line!r}, decided by {one['verdict_line']!r}"
    if (
        verdict_in(said.partition("(")[0].partition(";")[0]) != one["verdict"]
        and verdict_in(said.partition(" (begins")[0]) != one["verdict"]
    ):
        yield f"{said!r}, not {one['verdict']}"
    ends = [near] + [side for side in [told.deciding(one, "sides_to")] if side]
    shown = _SIDE.findall(said)
    if len(shown) != len(ends):
        yield f"{len(shown)} distances of {len(ends)}: {said}"
    for (past, spread), side in zip(shown, ends, strict=False):
        if not same_number(past, abs(side["past"])) or not same_range(spread, side["past_sd"]):
            yield f"{past} ± {spread}, decided {side['past']}, sd {side['past_sd']}"


def _capital(line: str) -> str:
    return line[0].upper() + line[1:]


def _check_beside(one: Record, words: str) -> Iterable[str]:
    """Hold what a letter tells of another line that bounds the reader's part against its side."""
    line, _, said = words.partition(": ")
    ends = [
        side
        for end in ("sides", "sides_to")
        for side in one.get(end) or []
        if side["line"].casefold() == line.casefold()
    ]
    shown = _SIDE.findall(said)
    if not ends or len(shown) != len(ends):
        yield f"{len(shown)} distances of {len(ends)}: {words}"
    for (past, spread), side in zip(shown, ends, strict=False):
        if not same_number(past, abs(side["past"])) or not same_range(spread, side["past_sd"]):
            yield f"{past} ± {spread}, decided {side['past']}, sd {side['past_sd']}: {words}"


def check_answers(one: Record, words: str) -> Iterable[str]:
    expected = list(one["answers"])
    if one["verdict"] == "past from within" and expected:
        expected.insert(0, f"{_TOO_CLOSE} where it begins")
    if one["verdict"] is not None and not expected:
        sure, close = list(one["surely_answers"]), one["left_open"] == _TOO_CLOSE
        left_open = f"left open: {' or '.join(one['may_answer'])}; {_CONTRADICTED}"
        in_part = f"{', then '.join(sure)} for a part of it; "
        expected = [_TOO_CLOSE] if close else [f"{in_part if sure else ''}{left_open}"]
        if sure and close:
            at_end = [*sure, f"{_TOO_CLOSE} where it ends"]
            if words in (f"{in_part}the rest is {_TOO_CLOSE}", ", then ".join(at_end)):
                return
            expected = [f"{_TOO_CLOSE} where it begins", *sure]
    if [part for part in words.split(", then ") if part] != expected:
        yield f"{words!r}, decided {one['answers']}"


def check_tables(told: Told, tables: Iterable[Record]) -> Iterable[str]:
    """Findings, crossings and who answers, as tables of title, columns and rows of cells."""
    for table in tables:
        rows = [dict(zip(table["columns"], map(plain, row), strict=True)) for row in table["rows"]]
        if table["title"] == "Findings":
            if len(rows) != len(told.findings):
                yield f"{len(rows)} findings of {len(told.findings)}"
            for cells in rows:
                yield from check_finding_cells(told, cells)
        elif table["title"] == "Crossings":
            yield from check_crossing_rows(told, rows)
        elif table["title"] == "Who answers":
            yield from check_party_rows(told, rows)


def check_crossing_rows(told: Told, rows: Sequence[Mapping[str, str]]) -> Iterable[str]:
    crossings = told.result["crossings"]
    if len(rows) != len(crossings):
        yield f"{len(rows)} crossings of {len(crossings)}"
    for cells, one in zip(rows, crossings, strict=False):
        shown = _SIDE.findall(f"{cells['Footage']}, {cells['Depth to invert']}")
        values = [(one["footage"], one["footage_sd"]), (one["depth_to_invert"], one["depth_sd"])]
        if cells["Line"] != one["line"] or not all(
            same_number(value, each) and same_range(spread, sd)
            for (value, spread), (each, sd) in zip(shown, values, strict=True)
        ):
            yield f"crossing {dict(cells)}, decided {one['line']} {values}"
        if ("decides who answers" in cells["Remark"]) != one["decides"]:
            yield f"crossing of {one['line']}: {cells['Remark']!r}"


def check_party_rows(told: Told, rows: Sequence[Mapping[str, str]]) -> Iterable[str]:
    stretches = told.result["responsibility"]
    named = [one["party"] or f"left open: {' or '.join(one['may_answer'])}" for one in stretches]
    if [cells["Party"] for cells in rows] != named:
        yield f"who answers: {[cells['Party'] for cells in rows]}"
    for cells, one in zip(rows, stretches, strict=False):
        for key in ("from", "to"):
            shown = re.match(r"-?[\d.]+", cells[key.capitalize()])
            if not shown or not same_number(shown[0], one[key]):
                yield f"{one['party']} {key} {cells[key.capitalize()]}, {one[key]}"


# ── the map ──────────────────────────────────────────────────────────────────────────────────────


def page_data(page: str) -> Record:
    """Return the data that a page's own script draws."""
    (block,) = lxml_html.fromstring(page).xpath('//script[@id="site-data"]')
    data: Record = json.loads(block.text)
    return data


def check_map(told: Told, page: str) -> Iterable[str]:
    data = page_data(page)
    tables = [
        {**table, "rows": [row["cells"] for row in table["rows"]]} for table in data["tables"]
    ]
    yield from check_tables(told, tables)
    yield from check_drawn(told, data)


def check_drawn(told: Told, data: Record) -> Iterable[str]:
    """What is drawn of findings, locates and crossings, and what is shown when it is picked."""
    seen = set()
    for layer in data["layers"]:
        for item in layer["items"]:
            detail = data["details"][item["detail"]] if item["detail"] >= 0 else {"title": ""}
            found = re.match(r"#(\d+) (.*)", plain(detail["title"]))
            if layer["key"] == "findings" and found:
                one = told.findings[int(found[1])]
                seen.add(one["number"])
                yield from check_picked(told, one, detail)
                expected = {
                    "danger": "danger",
                }.get(one["class"], f"side {one['verdict'] or 'none'}")
                if item["style"] != expected:
                    yield f"#{one['number']} is drawn as {item['style']}, is {expected}"
            if layer["key"] == "locates" and item["style"].startswith("locate "):
                yield from check_locate_style(told, item)
    if seen != set(told.findings):
        yield f"findings {sorted(set(told.findings) - seen)} are not drawn"


def check_locate_style(told: Told, item: Record) -> Iterable[str]:
    mark = item["caption"].removeprefix("locate ").partition(" ")[0]
    shown = item["style"].removeprefix("locate ")
    if shown not in (may := told.locate_states(mark)):
        yield f"locate {mark} is drawn as {shown}, not {sorted(may)}"


def check_picked(told: Told, one: Record, detail: Record) -> Iterable[str]:
    rows = {name: plain(value) for name, value in detail["rows"]}
    cells = {
        "No.": str(one["number"]), "Footage": rows["Footage"],
        "Finding": plain(detail["title"]).partition(" ")[2],
        "Depth to invert": rows["Depth to invert"],
        "Answers for it": rows.get("Answers for it", ""),
    }  # fmt: skip
    if "Side" in rows:
        cells["Side"] = rows["Side"]
    elif one["verdict"] is not None:
        yield f"#{one['number']} picked: no side"
    yield from (f"picked: {said}" for said in check_finding_cells(told, cells))


# ── the dig page ─────────────────────────────────────────────────────────────────────────────────


def html_tables(page: str) -> list[Record]:
    """Every table of a page: title, columns, rows of cells."""
    tables = []
    for table in lxml_html.fromstring(page).iter("table"):
        title = table.xpath("string((./caption | ./ancestor::section[1]/h2)[1])")
        columns = [plain(each.text_content()) for each in table.xpath("./thead//th")]
        rows = [
            [plain(cell.text_content()) for cell in row.xpath("./td | ./th")]
            for row in table.xpath("./tbody/tr")
        ]
        tables.append({"title": plain(title), "columns": columns, "rows": rows})
    return tables


def check_dig(told: Told, page: str) -> Iterable[str]:
    yield from check_drawn(told, page_data(page))
    utilities = {one["name"]: one for one in told.result["utilities"]}
    (table,) = [each for each in html_tables(page) if each["title"] == "Utilities in the way"] or [
        {"columns": [], "rows": []}
    ]
    rows = [dict(zip(table["columns"], row, strict=True)) for row in table["rows"]]
    if [row["Utility"] for row in rows] != list(utilities):
        yield f"utilities by rank: {[row['Utility'] for row in rows]}, {list(utilities)}"
    else:
        for row in rows:
            yield from check_utility_row(utilities[row["Utility"]], row)
    yield from check_warnings(utilities, page)


def check_warnings(utilities: Mapping[str, Record], page: str) -> Iterable[str]:
    """What the page says before all else: everything in the trench, in order of danger."""
    text = plain(" ".join(lxml_html.fromstring(page).xpath("//text()[not(ancestor::script)]")))
    warnings = _WARNING.findall(text.partition("Call 811")[0])
    dangerous = [one["name"] for one in utilities.values() if one["in_trench"] and not one["joins"]]
    if [name for name, _ in warnings] != dangerous:
        yield f"warned of {[name for name, _ in warnings]}, in the trench are {dangerous}"
    else:
        for name, words in warnings:
            yield from (f"warned of {said}" for said in check_clearance(utilities[name], words))


def check_utility_row(one: Record, row: Mapping[str, str]) -> Iterable[str]:
    name = one["name"]
    if ("IN THE TRENCH" in row["Verdict"]) != (one["in_trench"] and not one["joins"]):
        yield f"{name}: {row['Verdict']}, in_trench {one['in_trench']}"
    if row["Lies"] != one["relation"]:
        yield f"{name}: {row['Lies']}, {one['relation']}"
    if ("UNKNOWN" in row["Depth to its top"]) == one["depth_known"]:
        yield f"{name}: depth {row['Depth to its top']}, known {one['depth_known']}"
    yield from check_clearance(one, row["Clearance"])


def check_clearance(one: Record, words: str) -> Iterable[str]:
    """Hold a clearance in words, the last range of a sentence, against the one decided."""
    shown = _SIDE.findall(words.replace("at the pipe's own depth, ±", "0.0 ±"))
    if one["clearance"] is None:
        if "nknown" not in words and "UNKNOWN" not in words:
            yield f"{one['name']}: clearance {words!r}, is unknown"
    elif not shown or not (
        same_number(shown[-1][0], abs(one["clearance"]))
        and same_range(shown[-1][1], one["clearance_sd"])
    ):
        yield f"{one['name']}: clearance {words!r}, {one['clearance']}, sd {one['clearance_sd']}"


# ── the owner's page ─────────────────────────────────────────────────────────────────────────────


def check_owner(told: Told, page: str) -> Iterable[str]:
    numbers = []
    for card in lxml_html.fromstring(page).xpath('//div[contains(@class, "card")]/h4/..'):
        head = plain(card.xpath("string(h4)"))
        number = int(head.partition(".")[0])
        numbers.append(number)
        one = told.findings[number]
        where, whose = (plain(each.text_content()) for each in card.xpath("p")[:2])
        yield from (f"#{number} {said}" for said in _check_card(told, one, where, whose))
    if sorted(numbers) != sorted(told.findings):
        yield f"cards {numbers}"


def _check_card(told: Told, one: Record, where: str, whose: str) -> Iterable[str]:
    along, _, down = where.partition(" along the pipe")
    values = [one["footage"]] if one["to"] is None else [one["footage"], one["to"]]
    shown = re.findall(r"-?\d+(?:\.\d+)?", along)
    if len(shown) != len(values) or not all(map(same_number, shown, values)):
        yield f"{where}: at {values}"
    yield from (f"{where}: {said}" for said in _check_down(told, one, down))
    yield from _check_whose(told, one, whose)


def _check_down(told: Told, one: Record, down: str) -> Iterable[str]:
    """How deep a card says that a finding lies, and how loosely."""
    ends = [one, one["far_end"]] if one["far_end"] else [one]
    depths = [end["depth_to_invert"] for end in ends]
    down, _, loose = down.partition(", give or take ")
    deep = re.findall(r"\d+(?:\.\d+)?", down)
    if "nobody has measured" in down:
        if not any("nothing says how deep" in notice for notice in told.result["notices"]):
            yield f"depth {depths}"
    elif min(depths) < 0.0:
        if "above the ground" not in down:
            yield f"depth {depths}"
    elif not deep or not all(any(same_number(each, depth) for depth in depths) for each in deep):
        yield f"depth {depths}"
    if loose:
        (half,) = re.findall(r"\d+(?:\.\d+)?", loose)
        if not same_number(half, NINETY_FIVE * max(end["depth_sd"] for end in ends)):
            yield f"give or take {half}"


def _check_whose(told: Told, one: Record, whose: str) -> Iterable[str]:
    parties = set(_parties_named(told, whose))
    expected = set(one["answers"] or one["surely_answers"])
    if one["left_open"] == "boundaries contradict":
        expected = set()
    if one["verdict"] is not None and parties != expected:
        yield f"{whose!r}, decided {one['verdict']} {one['answers']}"
    said = {
        "across": "Reaches across",
        "past from within": "far part",
        "too close to call": "too close",
    }.get(one["verdict"] or "")
    if (
        said
        and said.casefold() not in whose.casefold()
        and (one["verdict"] != "across" or len(one["answers"]) > 1)
    ):
        yield f"{whose!r}, decided {one['verdict']}"


def _parties_named(told: Told, words: str) -> list[Any]:
    lines = [one["line"] for one in told.result["crossings"]]
    for line in sorted(lines, key=len, reverse=True):
        words = words.replace(line, "")
    every = {party for one in told.result["findings"] for party in one["may_answer"]}
    # The page's reader, the party whose name says owner or else the client, is told what is yours.
    owners = [one for one in told.parties if "owner" in one.lower().split()]
    reader = owners[0] if owners else told.result["client"]
    words = re.sub(r"\byours?\b", lambda _: reader, words, flags=re.IGNORECASE)
    return [
        party for party in every | set(told.parties) if re.search(rf"\b{re.escape(party)}\b", words)
    ]
