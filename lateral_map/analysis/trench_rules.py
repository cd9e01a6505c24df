"""Which trench rules are in force on the site?

The federal figures are those of 29 CFR 1926 Subpart P (54 FR 45959, 31 October 1989, as amended);
what is not in Subpart P names its own paragraph. A state plan or local code may be stricter; the
site's own figures replace these, each with its citation. docs/reference/trench-rules.md prints this
table with the address each figure was read at.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from lateral_map.model.dig import Standing, TrenchRule, TrenchRules
from lateral_map.model.site import DigRules, RuleKey, Site
from lateral_map.units import to_metres


def _feet(
    key: RuleKey,
    feet: float,
    as_printed: str,
    words: str,
    paragraph: str,
    standing: Standing = "confirmed",
) -> TrenchRule:
    return TrenchRule(key, to_metres(feet, "ft"), False, as_printed, words, paragraph, standing)


def _slope(key: RuleKey, ratio: float, as_printed: str, words: str, paragraph: str) -> TrenchRule:
    return TrenchRule(key, ratio, True, as_printed, words, paragraph, "confirmed")


FEDERAL_RULES: Final[tuple[TrenchRule, ...]] = (
    _feet(
        "egress depth", 4.0, "4 feet (1.22 m) or more",
        "a stairway, ladder or ramp in the trench", "29 CFR 1926.651(c)(2)",
    ),
    _feet(
        "egress travel", 25.0, "no more than 25 feet (7.62 m) of lateral travel",
        "farthest anyone may be from the way out", "29 CFR 1926.651(c)(2)",
    ),
    _feet(
        "ladder projection", 3.0, "at least 3 feet (0.9 m)",
        "how far a ladder stands above the landing",
        "29 CFR 1926.1053(b)(1); the paragraph's number from memory",
    ),
    _feet(
        "air test depth", 4.0, "greater than 4 feet (1.22 m)",
        "the air is tested before entry where a hazard exists or could reasonably be expected",
        "29 CFR 1926.651(g)(1)(i)",
    ),
    _feet(
        "spoil set-back", 2.0, "at least 2 feet (0.61 m) from the edge",
        "spoil, materials and equipment are kept back or held back", "29 CFR 1926.651(j)(2)",
    ),
    _feet(
        "fall protection depth", 6.0, "6 feet (1.8 m) or more",
        "people at the edge of an excavation that is hard to see are kept from falling in",
        "29 CFR 1926.501(b)(7)",
    ),
    _feet(
        "protective system depth", 5.0,
        "less than 5 feet (1.52 m) ... no indication of a potential cave-in",
        "a protective system is required, except in stable rock; a shallower trench goes without "
        "one only where a competent person finds no sign of a cave-in",
        "29 CFR 1926.652(a)(1)",
    ),
    _feet(
        "engineer depth", 20.0, "greater than 20 feet (6.1 m)",
        "sloping, benching and shoring are designed by a registered professional engineer",
        "29 CFR 1926.652(b)(4) and Appendix B, Table B-1; the note's number from memory",
    ),
    _slope(
        "slope stable rock", 0.0, "vertical (90 degrees)",
        "steepest slope in stable rock", "29 CFR 1926 Subpart P, Appendix B, Table B-1",
    ),
    _slope(
        "slope A", 0.75, "3/4:1 (53 degrees)",
        "steepest slope in Type A soil", "29 CFR 1926 Subpart P, Appendix B, Table B-1",
    ),
    _slope(
        "slope B", 1.0, "1:1 (45 degrees)",
        "steepest slope in Type B soil", "29 CFR 1926 Subpart P, Appendix B, Table B-1",
    ),
    _slope(
        "slope C", 1.5, "1 1/2:1 (34 degrees)",
        "steepest slope in Type C soil, and wherever nobody classified the soil",
        "29 CFR 1926.652(b)(1) and Subpart P, Appendix B, Table B-1",
    ),
    _feet(
        "shield top", 1.5, "at least 18 inches (0.46 m)",
        "how far a shield or support stands above the top of the vertical wall under a slope",
        "29 CFR 1926 Subpart P, Appendix B, figures",
    ),
    _feet(
        "dig below shield", 2.0, "no more than 2 feet (0.61 m)",
        "digging below the bottom of a shield designed for the full depth of the trench",
        "29 CFR 1926.652(e)(2)(i) and (g)(2); the paragraphs from memory",
    ),
    _feet(
        "first bench", 4.0, "4 feet (1.22 m) at most",
        "highest vertical face at the bottom of a benched wall; benches are for Type A and "
        "cohesive Type B soil, never for C",
        "29 CFR 1926 Subpart P, Appendix B, Figures B-1.1 and B-1.2", "from memory",
    ),
    _feet(
        "bench A", 5.0, "5 feet (1.52 m) at most",
        "highest face of the benches above it in Type A soil, their tops within the soil's slope",
        "29 CFR 1926 Subpart P, Appendix B, Figure B-1.1", "from memory",
    ),
    _feet(
        "bench B", 4.0, "4 feet (1.22 m) at most",
        "the same in cohesive Type B soil",
        "29 CFR 1926 Subpart P, Appendix B, Figure B-1.2", "from memory",
    ),
    TrenchRule(
        "influence slope", 1.0, True, "1:1 up from the bottom edge of the trench",
        "what stands within it leans on the ground the trench takes away; a structure there is "
        "supported, or judged safe by a registered professional engineer, before digging below its "
        "footing", "common practice, no source for the slope; 29 CFR 1926.651(i), from memory",
        "common practice",
    ),
)  # fmt: skip


# Of these a greater figure asks less of the digger; of all the others a smaller one.
_MORE_IS_LOOSER: Final[frozenset[RuleKey]] = frozenset(
    {
        "egress depth", "egress travel", "air test depth", "fall protection depth",
        "protective system depth", "engineer depth", "dig below shield", "first bench", "bench A",
        "bench B",
    }
)  # fmt: skip


def read_trench_rules(dig: DigRules) -> TrenchRules:
    """Return the figures in force: the federal ones, and the site's own in place of them."""
    own = {override.key: override for override in dig.overrides}
    in_force = []
    for rule in FEDERAL_RULES:
        override = own.get(rule.key)
        if override is None:
            in_force.append(rule)
            continue
        greater, less = override.value > rule.value, override.value < rule.value
        in_force.append(
            replace(
                rule,
                value=override.value,
                as_printed=f"set in site.toml in place of {rule.as_printed}",
                paragraph=override.citation,
                standing="set by the site",
                looser=greater if rule.key in _MORE_IS_LOOSER else less,
            )
        )
    return TrenchRules(tuple(in_force), dig.soil, dig.layers, dig.cohesive, dig.box_height_m)


def softest_rules(site: Site) -> TrenchRules:
    """Return the figures in force for the softest soil that anybody named, without layers.

    What a cut may reach is told by these.
    """
    rules = read_trench_rules(site.dig)
    soils = {*rules.soils, *(one.soil for one in site.reaches if one.soil)}
    each = (replace(rules, soil=soil, layers=()) for soil in sorted(soils))
    return max(each, key=lambda one: one.slope)
