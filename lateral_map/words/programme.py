"""What a programme of many sites says to the office: states, sums, what to look at first."""

from __future__ import annotations

from typing import Final

from lateral_map.words.names import CONTRADICTED_WORDS

# What became of a site, in the order in which it is told.
STATE_WORDS: Final = {
    "solved": "solved",
    "refused": "refused: something in the folder cannot be used",
    "out of time": "stopped at the bound of time",
    "out of memory": "stopped at the bound of memory",
    "worker died": "the worker process died",
    "program fault": "a fault of the program",
    "copy": "a copy of another site, byte for byte",
}
# What a site is shown as on the overview.
CLASS_WORDS: Final = {
    "danger": "danger seen in the pipe",
    "past": "a finding past its boundary",
    "undecided": "a finding too close to call",
    "doubtful": "readings that may be wrong",
    "inside": "nothing past its boundary",
}
# How many findings have which verdict, in the order in which it is told.
VERDICT_COUNT_WORDS: Final = {
    "past": "findings past their boundary",
    "across": "findings that reach across it",
    "past from within": "findings whose far part alone is past",
    "too close to call": "findings too close to call",
    "inside": "findings inside",
    "not judged": "findings without a boundary to judge by",
}
SPREAD_TITLES: Final = {
    "depth": "Depth to invert at findings",
    "radius": "95 % radius in plan at findings",
    "chance": "Probability of being past",
    "length": "Length of run",
    "fit": "Probability of so poor a fit by chance",
    "seconds": "Seconds to solve",
}
OPEN_DIAGNOSES: Final = (
    "Readings there disagree, and a slip in the notes would explain it: look at these before "
    "anything rests on them."
)
SKETCH: Final = "tied to no place, so not on the map"
WORKER_DIED: Final = (
    "the worker process died at this site: the machine ran out of memory, or a library crashed; "
    "draw the site by itself, and report it with its folder if that dies too"
)


def who_answers_words(answers: str | None, may_answer: str | None, verdict: str | None) -> str:
    """Say who answers for a finding, or who may and why that is left open."""
    if answers or not may_answer:
        return answers or ""
    close = verdict == "too close to call"
    return f"{verdict if close else f'left open, {CONTRADICTED_WORDS}'}: {may_answer}"


def undiagnosed_sites_words(count: int) -> str:
    """Say that nobody looked for what would explain readings that disagree, and what to do."""
    return (
        f"No diagnosis was sought for {count:,} of the sites (--no-diagnoses): no verdict there "
        "allows for what would explain readings that disagree. Solve those with such readings "
        "again without that option before anything rests on them."
    )


def same_ground_words(sharing: int) -> str:
    """Say how many sites hold ground that another one holds, and what may be behind it."""
    return (
        f"{sharing:,} sites hold ground that another one holds, too: their lots or dig buffers "
        "share a tenth or more of the smaller one. The same lot was measured more than once, or a "
        "plan is in the wrong place."
    )


def beyond_time_words(seconds: float) -> str:
    """Say that a site took too long, and what to do."""
    return f"it took more than {seconds:g} s; give more with --seconds"


def beyond_memory_words(memory_mb: int) -> str:
    """Say that a site took too much memory, and what to do."""
    return f"it took more than {memory_mb:,} MB; give more with --memory"


def unreadable_words(name: str, why: str) -> str:
    """Say that a file cannot be read, and what to do."""
    return f"{name}: cannot be read ({why}); check that you may read it, and its disk"


def program_fault_words(what: str) -> str:
    """Say that the program and not the site is at fault, and what to do."""
    return f"a fault of lateral-map, not of the site ({what}); report it with the site's folder"
