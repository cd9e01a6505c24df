"""What a referral to the utility says beside the findings: the user's words, and photographs."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Referral:
    """The [referral] table. Every field may be empty; the packet then says it in its own words.

    ``letter`` and ``photographs`` are paths within the site folder. ``client`` is the party, as
    the boundaries name it, on whose side the sender is.
    """

    client: str = ""
    to: str = ""
    sender: str = ""
    reference: str = ""
    question: str = ""
    signature: str = ""
    letter: str = ""
    photographs: str = "photographs"
    keep_metadata: bool = False


@dataclass(frozen=True, slots=True)
class Photograph:
    """A photograph made ready to print: JPEG bytes, size in pixels, the footage it shows (m)."""

    name: str
    footage_m: float
    jpeg: bytes
    width_px: int
    height_px: int
