"""What the entry page says of a site that is not whole yet, and of what it takes in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from lateral_map.model.site import SD_LONLAT_M
from lateral_map.units import format_length
from lateral_map.words.sayings import Saying

NO_GNSS: Final = "A sketch is tied to no place on earth, so GNSS cannot be used on it."
# What whoever enters a site reads where the format's own words have 1 sd.
USUAL_ERROR: Final = "usual error (2 of 3 are nearer)"
# What a stated accuracy may mean, by the word that is sent for it.
MEANINGS: Final[Mapping[str, str]] = {
    "sd": "usual error, each axis",
    "68": "circle that holds 68 %",
    "95": "circle that holds 95 %",
    "50": "circle that holds 50 %",
}

# What the page's own scripts say, by the key they ask for it with; {slots} are filled in there.
PAGE_WORDS: Final[Mapping[str, str]] = {
    "not_taken": "Kept on this device and not taken: {change}. {why}",
    "join_again": "Join this page again; what you typed is kept",
    "kept_here": "{name} is kept on this device, not sent yet",
    "left_out_now": "Saved, but left out of the line until it is right",
    "left_out": "{name} is saved, but left out of the line until it is right",
    "more_left_out": "and {count} more, marked below",
    "choose_what_stands": "{what}. Nothing is lost: choose what stands.",
    "no_longer_so": "{words} at {time}. What was entered here and is so no longer:",
    "mark_taken": "{taken} is another row's by now, so this one is not called so",
    "unit_changed": (
        "Numbers written without a unit were in {before} and are in {now} from now on, in the "
        "{count} rows there are too. Undo it if they were measured before."
    ),
    "settings_unreadable": "The site's settings cannot be read",
    "not_reached_kept": "The page's server is not reached; what you type is kept",
    "not_reached_shown": "The page's server is not reached; shown is what was drawn last",
    "not_reached": "The page's server is not reached.",
    "not_reached_try": "The page's server is not reached; try again when it is.",
    "not_reached_choose": "The page's server is not reached; choose it again when it is.",
    "not_reached_file": (
        "The page's server is not reached, so the file is not read. Choose it again when it is."
    ),
    "save_or_cancel": "Save or cancel what is in the form first.",
    "no_position_here": (
        "This browser gives no position here; start the page with --share to use a phone's."
    ),
    "position_within": (
        "Within {radius} m, the device says. Stand still at the mark; it usually gets better."
    ),
    "position_not_allowed": "The browser was not allowed to tell its position.",
    "position_not_found": "The device finds no position; try under open sky.",
    "new_site": "A new site. A sketch starts at its own zero; everything can be changed later.",
    "picture_taken": (
        "{file} is in the site's folder. Say how well places can be read off it, and save."
    ),
    "footage_first": "Give the footage it shows first.",
    "photograph_taken": (
        "{file} is among the site's photographs, whether or not the finding is saved."
    ),
    "offers": "Made from what is entered now, and given to this browser to keep.",
    "nothing_changed": "Nothing changed from this page yet.",
    "keeps_nothing": (
        "This browser keeps nothing on the device: leave this page open until everything is sent."
    ),
    "other_addresses": (
        "This site was also entered at {addresses}. What a browser kept there and could not send "
        "shows on the page there; it can be exported there and taken in here."
    ),
    "all_sent": "Everything typed and saved here is in the site's folder.",
    "other_site_waits": (
        "{count} of another site, {name}, wait in this browser. They are sent when that site's "
        "folder is opened at this address."
    ),
    "some_wait_there": (
        "{count} changes of this site could not be sent from {address} and wait there in this "
        "browser."
    ),
    "loads_again": "This page can be loaded again here while its server is out of reach.",
    "cannot_load_again": (
        "While its server is out of reach this page cannot be loaded again on this device: leave "
        "it open. (The browser allows that only on the machine itself.)"
    ),
    "one_waits_there": (
        "1 change of this site could not be sent from {address} and waits there in this browser."
    ),
    "no_kept_changes": "This is no file of kept changes.",
    "of_another_site": (
        "These changes belong to another site's folder; open that one and take them in there."
    ),
    "refused": "The page's server said no.",
    "nothing_drawn": (
        "Nothing can be drawn yet. Give the start a place under Site, or add a reference point "
        "under Plan."
    ),
    "picture_old": (
        "The picture is from before what is wrong now; it comes back with the next save that is "
        "right."
    ),
    "only_plan": "Only the plan is drawn: the line appears with the start and the first reading.",
    "plan_intro": "Add what you tape from and what the line has to be told apart from.",
    "traced": "Tapped on the picture: its accuracy, {accuracy}, is taken.",
    "pointing_pane": (
        "The picture: arrows move the cross, with Shift in larger steps, Enter takes it, plus "
        "and minus change the size"
    ),
    "pointed_at": "{column} from the left, {row} from the top",
    "how_to_point": (
        "Tap it. With the keyboard: arrows move the cross, Shift makes larger steps, + and - "
        "change the size, Enter takes it."
    ),
}


def missing_words(
    *, is_new: bool, has_start: bool, has_end: bool, located: bool, seen: bool
) -> tuple[Saying, ...]:
    """Return what a site still wants before its line can be drawn, and what would give it.

    ``located`` and ``seen`` say whether the tables hold a row of a locate, of a finding.
    """
    wanted: list[tuple[str, str, tuple[str, ...]]] = []
    if is_new:
        wanted.append(("Begin the site", "Fill in Site and save: the folder is made then.", ("",)))
    elif not has_start:
        wanted.append(
            (
                "Where does the footage start?",
                "Under Site, give the start a point, x and y, or latitude and longitude.",
                ("start", "start.point", "start.x", "start.lat"),
            )
        )
    elif not located:
        wanted.append(
            (
                "No locate yet",
                "The line is dead reckoned from its start until something is located.",
                (),
            )
        )
    if not (is_new or has_end or located or seen):
        wanted.append(
            (
                "How far did the camera go?",
                "Give the footage at the end under Site, or enter a reading.",
                ("run.end_footage",),
            )
        )
    return tuple(Saying("watch", title, words, settings=told) for title, words, told in wanted)


def position_taken_words(radius_m: float, sd_m: float, meaning: str) -> str:
    """Say what a device's own position was taken as."""
    words = f"Taken: accuracy {sd_m:.2f} m (usual error, each axis)."
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
