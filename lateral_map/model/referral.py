"""What a referral to the utility says beside the findings: the user's words, and photographs."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final, Literal

from lateral_map.units import to_metres

CameraDirection = Literal["downstream", "upstream"]
Urgency = Literal["routine", "soon", "urgent", "emergency"]
# A footage read in the main is good to so much, 1 sd (common practice, no source).
SD_STATION_M: Final = to_metres(1.0, "ft")


@dataclass(frozen=True, slots=True)
class Referral:
    """The [referral] table. Every field may be empty; the packet then says it in its own words.

    ``letter`` and ``photographs`` are paths within the site folder. ``client`` is the party, as
    the boundaries name it, on whose side the sender is. An empty ``photographs`` is the folder of
    that name, where there is one.
    """

    client: str = ""
    to: str = ""
    sender: str = ""
    date: dt.date | None = None
    reference: str = ""
    question: str = ""
    signature: str = ""
    letter: str = ""
    photographs: str = ""
    keep_metadata: bool = False


@dataclass(frozen=True, slots=True)
class Job:
    """The [job] table: what a public-works desk's own form asks for. Every field may be empty."""

    address: str = ""
    parcel: str = ""
    permit: str = ""
    work_order: str = ""
    owner: str = ""
    contact: str = ""
    inspector: str = ""
    certificate: str = ""
    access_point: str = ""
    camera_direction: CameraDirection | None = None
    video: str = ""
    video_time: str = ""
    vertical_datum: str = ""
    urgency: Urgency | None = None
    urgency_ground: str = ""


@dataclass(frozen=True, slots=True)
class SewerMain:
    """The [main] table: the main the lateral joins, and where.

    ``line`` is its name in the plan, ``upstream`` and ``downstream`` its manholes. The tap is
    ``distance_m`` along it from the manhole ``measured_from``, as somebody read it there.
    """

    asset: str = ""
    line: str = ""
    upstream: str = ""
    downstream: str = ""
    measured_from: str = ""
    distance_m: float | None = None
    sd_distance_m: float = SD_STATION_M


@dataclass(frozen=True, slots=True)
class Photograph:
    """A photograph made ready to print: JPEG bytes, size in pixels, the footage it shows (m)."""

    name: str
    footage_m: float
    jpeg: bytes
    width_px: int
    height_px: int
