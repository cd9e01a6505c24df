"""Open cut or liner: what does each take, and what is to be thought of first?"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from lateral_map.model.dig import (
    PAVED,
    Cut,
    Excavation,
    Method,
    MethodName,
    Money,
    Quantity,
    RepairReach,
    StructureNear,
    SurfaceBroken,
    TrenchRules,
)
from lateral_map.model.site import Bend, Finding, RateItem, Rates, Site
from lateral_map.units import format_length, from_metres, small_unit, to_metres

_AT_CLEANOUT_M: Final = to_metres(3.0, "ft")
_COVER_ITEMS: Final[dict[str, RateItem]] = {
    "lawn": "lawn", "planting": "planting", "concrete": "concrete",
    "asphalt": "asphalt", "gravel": "gravel", "other": "other", "not mapped": "other",
}  # fmt: skip
_MOULD: Final = (
    "a liner takes the shape of the pipe it is put into: what dips, steps or lies flat stays so"
)
_COLLAPSE_WORDS: Final = ("broken", "collapse", "crushed", "hole", "missing")


def compare_methods(
    site: Site,
    reach: RepairReach,
    excavation: Excavation,
    surfaces: tuple[tuple[SurfaceBroken, ...], tuple[SurfaceBroken, ...]],
    structures: Iterable[StructureNear],
    rules: TrenchRules,
) -> tuple[Method, ...]:
    """Return open cut, shored and sloped, and a liner, side by side; nothing is chosen.

    ``surfaces`` are those the shored and the sloped cut break. Sums come only from the site's own
    unit rates.
    """
    near = tuple(structures)
    shored = _open_cut(reach, excavation, excavation.shored, surfaces[0])
    shored.append(Quantity("shore", excavation.wall_m2, excavation.wall_m2, "m2", None))
    sloped = _open_cut(reach, excavation, excavation.sloped, surfaces[1])
    said = (
        _shored_cautions(site, excavation, near, rules) + _paving_cautions(surfaces[0]),
        _sloped_cautions(site, excavation, near, rules) + _paving_cautions(surfaces[1]),
        _liner_cautions(site, reach, excavation, rules),
    )
    return (
        _method(site.rates, "open cut, shored", shored, said[0]),
        _method(site.rates, "open cut, sloped", sloped, said[1]),
        _method(site.rates, "liner", _liner(site, reach), said[2]),
    )


def _open_cut(
    reach: RepairReach, excavation: Excavation, cut: Cut, surfaces: tuple[SurfaceBroken, ...]
) -> list[Quantity]:
    swell = excavation.swell
    quantities = [
        Quantity("mobilise open cut", 1.0, 1.0, "each", None),
        Quantity("excavate", cut.bank_low_m3, cut.bank_high_m3, "m3", None),
        Quantity(
            "haul",
            cut.bank_low_m3 * (1.0 + swell[0]),
            cut.bank_high_m3 * (1.0 + swell[1]),
            "m3",
            None,
        ),
        Quantity("bedding", excavation.bedding_m3, excavation.bedding_m3, "m3", None),
        Quantity("pipe", reach.length_m, reach.length_m, "m", None),
    ]
    areas: dict[RateItem, float] = {}
    for broken in surfaces:
        item = _COVER_ITEMS.get(broken.cover)
        if item is not None:
            areas[item] = areas.get(item, 0.0) + broken.restored_area_m2
    return quantities + [Quantity(item, area, area, "m2", None) for item, area in areas.items()]


def _liner(site: Site, reach: RepairReach) -> list[Quantity]:
    from_cleanout = reach.begin.footage_m - site.counter.zero_m <= _AT_CLEANOUT_M
    length = reach.length_m
    return [
        Quantity("mobilise liner", 1.0, 1.0, "each", None),
        Quantity("liner", length, length, "m", None),
        # One way in at the least; a second end needs one too where it is not the main.
        Quantity("access pit", 0.0 if from_cleanout else 1.0, 1.0 if from_cleanout else 2.0, "each",
                 None),
    ]  # fmt: skip


def _method(
    rates: Rates, name: MethodName, quantities: list[Quantity], cautions: list[str]
) -> Method:
    priced = [_price(rates, quantity) for quantity in quantities]
    costs = [one.cost for one in priced if one.cost is not None]
    total: Money | None = None
    if costs:
        total = (sum(cost[0] for cost in costs), sum(cost[1] for cost in costs))
    return Method(
        name=name,
        quantities=tuple(priced),
        cost=total,
        unpriced=tuple(one.item for one in priced if one.cost is None and one.high > 0.0),
        cautions=tuple(cautions),
    )


def _price(rates: Rates, quantity: Quantity) -> Quantity:
    rate = {one.item: one for one in rates.rates}.get(quantity.item)
    cost = None if rate is None else (quantity.low * rate.low, quantity.high * rate.high)
    return Quantity(quantity.item, quantity.low, quantity.high, quantity.per, cost)


def _depth_cautions(site: Site, excavation: Excavation, rules: TrenchRules) -> list[str]:
    unit, deep = site.unit, excavation.deepest_high_m
    asked = rules.rule("protective system depth")
    said = [f"up to {format_length(deep, unit)} deep at the 95 % bound: a protective system is "]
    if rules.reached("protective system depth", deep):
        said[0] += f"required from {asked.figure(unit)} ({asked.paragraph})"
    else:
        said[0] += (
            "required unless a competent person examines the ground and finds no sign of a "
            f"cave-in ({asked.paragraph})"
        )
    said += _entry_cautions(unit, excavation, rules)
    if rules.reached("engineer depth", deep):
        said.append(
            f"deeper than {rules.rule('engineer depth').figure(unit)} at the 95 % "
            "bound: a registered professional engineer designs it "
            f"({rules.rule('engineer depth').paragraph})"
        )
    return said


def _entry_cautions(unit: str, excavation: Excavation, rules: TrenchRules) -> list[str]:
    """Return what is asked of anybody near it: a way out, air to breathe, an edge to see."""
    deep, said = excavation.deepest_high_m, []
    if excavation.ways_out:
        travel = rules.rule("egress travel").figure(unit)
        count = excavation.ways_out
        said.append(
            f"at least {count} {'way' if count == 1 else 'ways'} out (ladder, stairway or ramp): "
            f"nobody is more than {travel} from one ({rules.rule('egress travel').paragraph})"
        )
    if rules.reached("air test depth", deep):
        said.append(
            "test the air before entry: an open sewer is a hazard to expect "
            f"({rules.rule('air test depth').paragraph})"
        )
    if rules.reached("fall protection depth", deep):
        said.append(
            "keep people from falling in where the edge is hard to see "
            f"({rules.rule('fall protection depth').paragraph})"
        )
    return said


def _width_cautions(site: Site, excavation: Excavation) -> list[str]:
    if excavation.width_m >= excavation.standard_width_m - 1e-6:
        return []
    small = small_unit(site.unit)
    own, asked = (from_metres(w, small) for w in (excavation.width_m, excavation.standard_width_m))
    word = small.removeprefix("us_")
    return [
        f"the trench is {own:.0f} {word} wide; for this pipe ASTM D2321 asks {asked:.1f} {word}"
    ]


def _shored_cautions(
    site: Site, excavation: Excavation, structures: tuple[StructureNear, ...], rules: TrenchRules
) -> list[str]:
    inside = [
        one for one in structures if one.verdict == "within the trench" or one.kind == "building"
    ]
    said = _depth_cautions(site, excavation, rules) + _width_cautions(site, excavation)
    return said + _structure_cautions(inside)


def _sloped_cautions(
    site: Site, excavation: Excavation, structures: tuple[StructureNear, ...], rules: TrenchRules
) -> list[str]:
    said = _depth_cautions(site, excavation, rules) + _width_cautions(site, excavation)
    inside = [
        one
        for one in structures
        if one.verdict != "within the influence line" or one.kind == "building"
    ]
    if rules.soil != "C":
        said.append(
            f"slopes are for soil taken as {rules.soil}: a trench for a utility has been dug "
            "before, and dug ground is never Type A (Appendix A, from memory); a competent person "
            "classifies it"
        )
    return said + _structure_cautions(inside)


def _structure_cautions(structures: Iterable[StructureNear]) -> list[str]:
    near = tuple(structures)
    said = [f"{one.name} {_stands(one)} {one.verdict}" for one in near]
    if any(one.kind == "building" for one in near):
        said.append(
            "a building is supported, or judged safe by a registered professional engineer, before "
            "anybody digs below its footing (29 CFR 1926.651(i), from memory)"
        )
    return said


def _paving_cautions(surfaces: Iterable[SurfaceBroken]) -> list[str]:
    if not any(one.cover in PAVED for one in surfaces):
        return []
    words = "paving left beside the cut is not undermined without a support for it"
    return [f"{words} (29 CFR 1926.651(i)(3), from memory)"]


def _stands(one: StructureNear) -> str:
    verb = "lie" if one.kind == "utility" else "stand"
    return f"may {verb}" if one.only_by_bound else f"{verb}s"


def _liner_cautions(
    site: Site, reach: RepairReach, excavation: Excavation, rules: TrenchRules
) -> list[str]:
    unit = site.unit
    said = [_water_words(unit, one) for one in reach.standing_water]
    said += _offset_words(unit, reach)
    if said:
        said.append(_MOULD)
    said += [_bend_words(unit, bend) for bend in reach.bends]
    if reach.bends:
        said.append("how sharp a bend a liner follows is the maker's figure: ask with this list")
    sizes = {pipe.size_m for pipe in reach.pipes}
    if len(sizes) > 1:
        small = small_unit(unit)
        told = ", ".join(
            "not stated" if size is None else f"{from_metres(size, small):.0f}"
            for size in sorted(sizes, key=lambda size: size or 0.0)
        )
        said.append(f"the pipe changes size within the reach ({told} {small.removeprefix('us_')})")
    said += [
        f"tap at {format_length(one.footage_m, unit)}: a liner covers it until it is cut open again"
        for one in reach.taps
    ]
    said += _damage_words(unit, reach)
    if rules.reached("egress depth", excavation.deepest_high_m):
        said.append("an access pit is an excavation: the same trench rules hold for it")
    return said


def _water_words(unit: str, finding: Finding) -> str:
    end = finding.footage_m if finding.to_m is None else finding.to_m
    return (
        f"standing water {format_length(finding.footage_m, unit)} to {format_length(end, unit)}: "
        "not cured by a liner; dig and relay that stretch first"
    )


def _offset_words(unit: str, reach: RepairReach) -> list[str]:
    return [
        f"offset joint at {format_length(one.finding.footage_m, unit)}: it stays as a step "
        "under a liner"
        for one in reach.findings
        if "offset" in one.finding.finding.lower()
    ]


def _bend_words(unit: str, bend: Bend) -> str:
    words = bend.angles_in_words()
    return f"bend of {' and '.join(words)} at {format_length(bend.footage_m, unit)} ({bend.how})"


def _damage_words(unit: str, reach: RepairReach) -> list[str]:
    said = []
    for seen in reach.findings:
        finding = seen.finding
        if any(f" {word}" in f" {finding.finding.lower()}" for word in _COLLAPSE_WORDS):
            said.append(
                f"{finding.finding} at {format_length(finding.footage_m, unit)}: a pipe crushed or "
                "with its section reduced by more than 40 % must be opened first "
                "(ASTM F1743-22, 6.1.3)"
            )
        if "root" in finding.finding.lower():
            said.append(
                f"roots at {format_length(finding.footage_m, unit)} are cut before lining: rule "
                "out a gas or electric line bored through the pipe first"
            )
    if any(pipe.material == "bituminous fibre" for pipe in reach.pipes):
        said.append("bituminous fibre pipe may hold asbestos: keep cutting dust down")
    return said
