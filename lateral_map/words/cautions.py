"""The cautions that stand on every drawing and letter, in the order of what could hurt worst."""

from __future__ import annotations

from typing import Final

CALL_FIRST: Final = (
    "Call 811, or your local one-call centre, before any digging. This drawing is not a utility "
    "locate, not a land survey and not a one-call ticket; private laterals are usually not marked "
    "by the one-call centre."
)
HAND_DIG: Final = (
    "Hand dig or vacuum within the tolerance zone of every marked line. Locations here are "
    "estimates with the uncertainty drawn; depth read at the surface is never proof of depth."
)
CAVE_IN: Final = (
    "A trench can cave in without warning. Protective systems, access and spoil set-back are the "
    "competent person's call under the rules that apply on site."
)
CROSS_BORE: Final = (
    "Before cutting roots or clearing a blockage, rule out a gas or electric line bored through "
    "the pipe. If one is suspected: stop, keep ignition away, call the utility."
)
WHO_ANSWERS: Final = (
    "Who answers for the pipe is set by local code and record. Local code and licensed practice "
    "come before anything drawn here."
)
NO_DESIGN: Final = (
    "Nothing here is a design. A competent person classifies the soil, chooses the protective "
    "system and inspects the trench every day, before each shift and after rain."
)
LOCAL_RULES: Final = (
    "State plans and local codes may be stricter than the federal rules named here: they come "
    "first. Write their figures and citations in site.toml."
)
UNCOVER_FIRST: Final = (
    "Depths are estimates with their 95 % range. Uncover the pipe and every utility by hand or "
    "vacuum before a machine comes near."
)
WET_GROUND: Final = (
    "A broken lateral wets the ground round it: soil that is submerged or seeping is Type C, and "
    "nobody works where water gathers without precautions (29 CFR 1926.651(h), from memory)."
)
IN_THE_STREET: Final = (
    "In a street or walk: the road authority's opening permit and traffic control come before any "
    "other work (common practice; local rules decide)."
)
SEWER_GAS: Final = (
    "Sewer gas can poison, smother and burn: nobody enters a manhole or pit, or leans into one, "
    "without the permit, air test and rescue that confined-space rules ask for; no flame near."
)
STOP_WATER: Final = (
    "Before the pipe is opened, everybody upstream stops using water until it is closed again."
)
ASBESTOS: Final = (
    "Asbestos cement pipe holds asbestos and bituminous fibre pipe may: no dry cutting, grinding "
    "or breaking; it is handled and carted off as the asbestos rules ask."
)
# What else can hurt those who work at the pipe, where one printed page must hold it.
AT_THE_PIPE: Final = (
    "Street: opening permit and traffic control first. Sewer gas: no entry or leaning in without "
    "permit, air test and rescue; no flame. All upstream stop using water. Asbestos cement or "
    "bituminous fibre: no dry cutting or breaking."
)

CAUTIONS: Final = (
    CALL_FIRST, HAND_DIG, CAVE_IN, CROSS_BORE, AT_THE_PIPE, WHO_ANSWERS,
)  # fmt: skip
# Where there is room for the same at length.
FIELD_CAUTIONS: Final = (
    CALL_FIRST, HAND_DIG, CAVE_IN, CROSS_BORE, IN_THE_STREET, SEWER_GAS, STOP_WATER, ASBESTOS,
    WHO_ANSWERS,
)  # fmt: skip
DIG_CAUTIONS: Final = (
    CALL_FIRST, HAND_DIG, CAVE_IN, NO_DESIGN, LOCAL_RULES, UNCOVER_FIRST, WET_GROUND, CROSS_BORE,
    IN_THE_STREET, SEWER_GAS, STOP_WATER, ASBESTOS, WHO_ANSWERS,
)  # fmt: skip
_CALL_SHORTLY: Final = (
    "Call 811 or your one-call centre first. This is no utility locate and no ticket."
)
# After what is printed to a terminal.
TERMINAL_CAUTIONS: Final = (_CALL_SHORTLY, CAVE_IN, CROSS_BORE, AT_THE_PIPE)
# The same in a line each, for the paper in the truck.
TRUCK_CAUTIONS: Final = (
    _CALL_SHORTLY,
    "Hand dig or vacuum in the tolerance zone of every mark; depths here are never proof.",
    "Any trench can cave in: the competent person chooses the protection and inspects it.",
    "Uncover the pipe and every utility by hand before a machine comes near.",
    "Local codes and state plans come before anything printed here.",
    "Street: opening permit and traffic control before any other work.",
    "Sewer gas: no entry or leaning in without air test, permit and rescue; no flame.",
    "Everybody upstream stops using water before the pipe is opened.",
    "Asbestos cement or bituminous fibre pipe: no dry cutting, grinding or breaking.",
    "Cross bore suspected: stop, no cutting, no ignition, leave, call the utility.",
)
# The same in everyday words, for the owner.
OWNER_CAUTIONS: Final = (
    (
        "Call 811, or your local one-call centre, a few days before any digging; it costs you "
        "nothing. This page is not that call. Private sewer lines are usually not marked by it."
    ),
    "Where the pipe may lie, dig by hand. Depths and places here are estimates.",
    ("Never climb into a trench that is not held up or sloped: it can cave in without warning."),
    (
        "Do not let roots be cut before a gas line bored through the pipe has been ruled out. "
        "If you smell gas, leave and call the gas company."
    ),
    (
        "Stay out of manholes and pits, and do not lean in: sewer gas can poison and burn. Use "
        "no water while the pipe is open."
    ),
    (
        "Work in the street or walk needs the road authority's permit and traffic control. Old "
        "pipe of cement or of pressed fibre may hold asbestos: do not saw, grind or break it."
    ),
    "Who pays is set by local law and records, not by this page.",
)
# Of many sites together.
PROGRAMME_CAUTION: Final = "No survey, and no one-call ticket: call before you dig."
PROGRAMME_DANGERS: Final = (
    "A foreign pipe or cable seen in the sewer: nobody cuts or cleans there before its owner has "
    "been called."
)
WHO_TO_CALL: Final = (
    "Who to call:",
    (
        "One-call (USA 811) ____________  ticket no. ____________",
        "Emergency (USA and Canada 911) ____________",
        "Gas company ________________  Electric ________________",
        "Water ________________  Competent person ________________",
    ),
)
