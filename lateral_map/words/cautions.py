"""The cautions that stand on every drawing and letter, in the order of what could hurt worst."""

from __future__ import annotations

from typing import Final

CAUTIONS: Final = tuple(
    " ".join(caution.split())
    for caution in """
    Call 811, or your local one-call centre, before any digging. This drawing is not a utility
    locate, not a land survey and not a one-call ticket; private laterals are usually not marked
    by the one-call centre.

    Hand dig or vacuum within the tolerance zone of every marked line. Locations here are estimates
    with the uncertainty drawn; depth read at the surface is never proof of depth.

    A trench can cave in without warning. Protective systems, access and spoil set-back are the
    competent person's call under the rules that apply on site.

    Before cutting roots or clearing a blockage, rule out a gas or electric line bored through the
    pipe. If one is suspected: stop, keep ignition away, call the utility.

    Who answers for the pipe is set by local code and record. Local code and licensed practice come
    before anything drawn here.
    """.strip().split("\n\n")
)
