"""What the excavator thinks of first: what stands in a cut's way, what a liner cannot mend."""

from __future__ import annotations

from lateral_map.model.dig import (
    CUT_METHODS,
    PAVED,
    Cut,
    Excavation,
    MethodName,
    ReachReview,
    TrenchRules,
)
from lateral_map.model.site import RuleKey
from lateral_map.model.trade import is_offset, is_open_damage, is_roots
from lateral_map.units import format_length, from_metres, small_unit
from lateral_map.words.cautions import ASBESTOS
from lateral_map.words.excavator import refused_words, soil_words
from lateral_map.words.notices import danger_words


def method_cautions(
    one: ReachReview, name: MethodName, rules: TrenchRules, unit: str
) -> tuple[str, ...]:
    """Return what is to be thought of before a reach is repaired in one way."""
    dangers = [danger_words(danger, unit) for danger in one.reach.dangers]
    dangers += [
        words for each in one.methods if each.name == name and (words := refused_words(each))
    ]
    if name == "liner":
        return (*dangers, *_liner_cautions(one, rules, unit))
    ground = next(each for each in one.opened if CUT_METHODS[each.cut.walls] == name)
    # Whether the bare ground stands at a slope of its own from the bottom up.
    sloped = ground.cut.shape.upright_m == 0.0
    dug, small = one.excavation, small_unit(unit)
    said = [*dangers, *_depth_cautions(dug, ground.cut, rules, unit)]
    if dug.width_m < dug.standard_width_m - 1e-6:
        own, asked = (from_metres(width, small) for width in (dug.width_m, dug.standard_width_m))
        word = small.removeprefix("us_")
        said.append(
            f"the trench is {own:.0f} {word} wide; for this pipe ASTM D2321 asks {asked:.1f} {word}"
        )
    if ground.cut.walls != "shored" and set(rules.soils) != {"C"}:
        said.append(
            f"slopes are for soil taken as {soil_words(rules, unit)}: a trench for a utility has "
            "been dug before, and dug ground is never Type A (Appendix A, from memory); a "
            "competent person classifies it"
        )
    if {"bituminous fibre", "asbestos cement"} & {pipe.material for pipe in one.reach.pipes}:
        said.append(f"{ASBESTOS[0].lower()}{ASBESTOS[1:-1]}")
    # What stands in or beside the cut, and paving that it may undermine.
    near = [
        found
        for found in one.structures
        if found.kind == "building"
        or found.verdict == "within the trench"
        or (sloped and found.verdict == "within the sloped cut")
    ]
    for found in near:
        verb = "lie" if found.kind == "utility" else "stand"
        said.append(
            f"{found.name} {f'may {verb}' if found.only_by_bound else f'{verb}s'} {found.verdict}"
        )
    if any(found.kind == "building" for found in near):
        said.append(
            "a building is supported, or judged safe by a registered professional engineer, before "
            "anybody digs below its footing (29 CFR 1926.651(i), from memory)"
        )
    if any(broken.cover in PAVED for broken in ground.surfaces):
        said.append(
            "paving left beside the cut is not undermined without a support for it "
            "(29 CFR 1926.651(i)(3), from memory)"
        )
    return tuple(said)


def _depth_cautions(excavation: Excavation, cut: Cut, rules: TrenchRules, unit: str) -> list[str]:
    """Return what the depth asks: walls held up, a way out, air to breathe, an edge to see."""
    deep, ways = excavation.deepest_high_m, excavation.ways_out

    def by(key: RuleKey) -> str:
        return f"({rules.rule(key).paragraph})"

    required = (
        f"required from {rules.rule('protective system depth').figure(unit)}"
        if rules.reached("protective system depth", deep)
        else "required unless a competent person examines the ground and finds no sign of a cave-in"
    )
    up_to = f"up to {format_length(deep, unit)} deep at the 95 % bound"
    said = [f"{up_to}: a protective system is {required} {by('protective system depth')}"]
    if ways:
        said.append(
            f"at least {ways} {'way' if ways == 1 else 'ways'} out (ladder, stairway or ramp): "
            f"nobody is more than {rules.rule('egress travel').figure(unit)} from one "
            f"{by('egress travel')}"
        )
    asked: dict[RuleKey, str] = {
        "air test depth": "test the air before entry: an open sewer is a hazard to expect",
        "fall protection depth": (
            "keep people from falling in: where the edge is hard to see, and at pits and shafts "
            "whether it is or not"
        ),
    }
    said += [f"{words} {by(key)}" for key, words in asked.items() if rules.reached(key, deep)]
    if rules.reached("engineer depth", deep):
        beyond = f"deeper than {rules.rule('engineer depth').figure(unit)} at the 95 % bound"
        said.append(
            f"{beyond}: a registered professional engineer designs it, or it is shored or shielded "
            "by tabulated data that reach so deep (29 CFR 1926.652(c), from memory)"
            if cut.walls == "shored"
            else f"{beyond}: a registered professional engineer designs it {by('engineer depth')}"
        )
    return [*said, *_wall_cautions(cut, rules, unit)]


def _wall_cautions(cut: Cut, rules: TrenchRules, unit: str) -> list[str]:
    """Return what holds for walls whatever their depth; from memory where it says so."""
    said = [
        (
            "the competent person inspects before each shift and as needed through it, and after "
            "rain (29 CFR 1926.651(k)(1), read in part)"
        ),
        (
            "spoil, machines, traffic and stored material beside the cut load its walls: "
            "protection is chosen for that load, traffic is kept off "
            "(29 CFR 1926.651(j), 652, from memory)"
        ),
    ]
    if cut.shape.upright_m > 0.0:
        top, below = (rules.rule(key).figure(unit) for key in ("shield top", "dig below shield"))
        said.append(
            f"a box under a slope stands {top} above the foot of the slope; below a shield no more "
            f"than {below} is dug, only where it is designed for the full depth and no soil is "
            "lost from behind or below it (29 CFR 1926.652(e)(2)(i), (g)(2), from memory)"
        )
    if cut.walls == "box and slope":
        upright = format_length(cut.shape.upright_m, unit)
        said.append(
            f"drawn vertical for {upright} above the bottom, the box's height less {top}, and "
            "sloped for the soil from there; nobody works outside the box"
        )
    if cut.walls in ("sloped", "box and slope"):
        said.append(
            "layers: each has the slope of its own soil, and over a softer layer that of the "
            "softer (Appendix B, Figure B-1.4, from memory)"
            + (
                "; they are taken to lie as the ground does"
                if rules.layers
                else ": none are given here"
            )
        )
    if cut.walls == "benched":
        first, step = (format_length(m, unit) for m in (cut.shape.first_m, cut.shape.step_m))
        said.append(
            f"the bottom face is {first} high at most, each above it {step}, their tops on the "
            "slope drawn from the bottom's edge (Appendix B, Figures B-1.1 and B-1.2, from memory; "
            "where the slope is drawn from is read on the wide side)"
        )
    elif cut.walls == "sloped":
        said.append(
            "benches are for Type A and for cohesive Type B (cohesive = true), never for C "
            "(Appendix B, from memory)"
        )
    return said


def _liner_cautions(one: ReachReview, rules: TrenchRules, unit: str) -> list[str]:
    reach, small = one.reach, small_unit(unit)
    said = _shape_cautions(one, unit)
    sizes = {pipe.size_m for pipe in reach.pipes}
    if len(sizes) > 1:
        told = ", ".join(
            "not stated" if size is None else f"{from_metres(size, small):.0f}"
            for size in sorted(sizes, key=lambda size: size or 0.0)
        )
        said.append(
            f"the pipe changes size within the reach ({told} {small.removeprefix('us_')}): one "
            "liner seldom fits both; ask its maker"
        )
    said += [
        f"tap at {format_length(tap.footage_m, unit)}: a liner covers it until it is cut open again"
        for tap in reach.taps
    ]
    for seen in reach.findings:
        at = format_length(seen.finding.footage_m, unit)
        if is_open_damage(seen.finding):
            said.append(
                f"{seen.finding.finding} at {at}: a pipe crushed or with its section reduced by "
                "more than 40 % must be opened first (ASTM F1743-22, 6.1.3, written "
                "for sewers of 4 in up)"
            )
        if is_roots(seen.finding):
            said.append(
                f"roots at {at} are cut before lining: rule out a gas or electric line bored "
                "through the pipe first"
            )
    materials = {pipe.material for pipe in reach.pipes}
    # What the pipe itself asks before and after a liner goes in is common practice.
    asked = {
        "iron pipe is descaled to its bore first, and looked at again for holes": bool(
            materials & {"cast iron", "ductile iron"}
        ),
        "water running in is stopped first: it washes resin out": any(
            "infiltrat" in seen.finding.finding.lower() for seen in reach.findings
        ),
        "ends, and every tap cut open again, are sealed: water runs behind a liner": True,
        "bituminous fibre pipe may hold asbestos: keep cutting dust down": (
            "bituminous fibre" in materials
        ),
        "asbestos cement pipe holds asbestos: no dry cutting, grinding or breaking; it is handled "
        "and carted off as the asbestos rules ask": "asbestos cement" in materials,
        "an access pit is an excavation: the same trench rules hold for it": rules.reached(
            "egress depth", one.excavation.deepest_high_m
        ),
    }
    return [*said, *(words for words, needed in asked.items() if needed)]


def _shape_cautions(one: ReachReview, unit: str) -> list[str]:
    """Return where the pipe dips, steps or turns, which a liner follows."""
    said = []
    for water in one.reach.standing_water:
        begin = format_length(water.footage_m, unit)
        far = water.footage_m if water.to_m is None else water.to_m
        long = f", {format_length(far - water.footage_m, unit)} long" if water.to_m else ""
        said.append(
            f"standing water {begin} to {format_length(far, unit)}{long} "
            f"({water.severity or 'degree not stated'}): a liner keeps the dip. How deep the water "
            "stands and how far decides whether it is dug and relaid first: a judgement, no figure "
            "is known to settle it"
        )
    said += [
        f"offset joint at {format_length(seen.finding.footage_m, unit)}: it stays as a step under "
        "a liner"
        for seen in one.reach.findings
        if is_offset(seen.finding)
    ]
    if said:
        said.append(
            "a liner takes the shape of the pipe it is put into: what dips, steps or lies flat "
            "stays so"
        )
    said += [
        f"bend of {' and '.join(bend.angles_in_words())} at "
        f"{format_length(bend.footage_m, unit)} ({bend.how})"
        for bend in one.reach.bends
    ]
    if one.reach.bends:
        said.append("how sharp a bend a liner follows is the maker's figure: ask with this list")
    return said
