"""Where the sites stand, and what running a command gives."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
LOCAL_SKETCH = ROOT / "tests" / "sites" / "local_sketch"
PLAIN_LOT = ROOT / "demo_sites" / "plain_lot"
RISING_GROUND = ROOT / "demo_sites" / "rising_ground"


@dataclass(frozen=True)
class Done:
    """A command's exit code and what it said."""

    returncode: int
    stdout: str
    stderr: str


Run = Callable[..., Done]
