"""What the entry page says of a site that is not whole yet, and of what it takes in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from lateral_map.model.site import SD_LONLAT_M
from lateral_map.units import format_length
from lateral_map.words.sayings import Saying

NO_GNSS: Final = "A sketch is tied to no place on earth, so GNSS cannot be used on it."
# What a stated accuracy may mean, by the word that is sent for it.
MEANINGS: Final[Mapping[str, str]] = {
    "sd": "1 sd, each axis",
    "68": "circle that holds 68 %",
    "95": "circle that holds 95 %",
    "50": "circle that holds 50 %",
}


def missing_words(
    *, is_new: bool, has_start: bool, has_end: bool, located: bool, seen: bool
) -> tuple[Saying, ...]:
    """Return what a site still wants before its line can be drawn, and what would give it.

    ``located`` and ``seen`` say whether the tables hold a row of a locate, of a finding.
    """
    wanted = []
    if is_new:
        wanted.append(("Begin the site", "Fill in Site and save: the folder is made then."))
    elif not has_start:
        wanted.append(
            (
                "Where does the footage start?",
                "Under Site, give the start a point, x and y, or latitude and longitude.",
            )
        )
    elif not located:
        wanted.append(
            (
                "No locate yet",
                "The line is dead reckoned from its start until something is located.",
            )
        )
    if not (is_new or has_end or located or seen):
        wanted.append(
            (
                "How far did the camera go?",
                "Give the footage at the end under Site, or enter a reading.",
            )
        )
    return tuple(Saying("watch", title, words) for title, words in wanted)


def position_taken_words(radius_m: float, sd_m: float, meaning: str) -> str:
    """Say what a device's own position was taken as."""
    words = f"Taken: accuracy {sd_m:.2f} m (1 sd, each axis)."
    if meaning == "sd":
        return words
    return (
        f"{words} The device's {radius_m:.1f} m is read as the {MEANINGS[meaning]} of its fixes, "
        f"divided by {radius_m / sd_m:.2f}."
    )


def accuracy_words(sd_m: float | None, unit: str) -> str:
    """Say how good a point of a file is, or what is taken where it states nothing."""
    if sd_m is None:
        usual = format_length(SD_LONLAT_M, unit, 2 if unit == "m" else 0)
        return f"no accuracy stated: the usual {usual}"
    return f"accuracy {sd_m:.2f} m"


def picture_words(names: int, offs: tuple[tuple[str, str, str | None], ...]) -> tuple[str, ...]:
    """Say how well points lay a picture: a head, then each point.

    ``names`` points are entered; ``offs`` are those it lies by, with what is left over at each and
    how far off the others alone put it.
    """
    if not offs and not names:
        unlaid = (
            "Only for a picture that nothing else says the place of: find two points of the plan"
        )
        return (f"{unlaid} in it, better three or four, far apart.",)
    if not offs:
        return ("Two points lay the picture; a third checks them.",)
    if len(offs) > 2:
        return (
            "How well they fit one another:",
            *(f"{name}: the others put it {others} off" for name, _, others in offs),
        )
    return (
        "Two points fit by themselves; a third checks them.",
        *(f"{name}: {off} left over" for name, off, _ in offs),
    )


def link_words(minutes: int) -> str:
    """Say what a link for another device does."""
    return (
        f"It lets one device in, once, within {minutes} minutes. The browser there warns that it "
        "does not know this page's certificate."
    )
