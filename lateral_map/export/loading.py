"""Loading a library without something that it does while it is loaded."""

from __future__ import annotations

import importlib
import sys
import threading
from collections.abc import Callable
from typing import Any, Final

_LOADING: Final = threading.Lock()


def load_without(name: str, owner: Any, attribute: str, instead: Callable[..., Any]) -> None:
    """Import ``name`` with ``instead`` in place of a function that it calls while it is loaded."""
    with _LOADING:
        if name in sys.modules:
            return
        before = getattr(owner, attribute)
        setattr(owner, attribute, instead)
        try:
            importlib.import_module(name)
        finally:
            setattr(owner, attribute, before)
