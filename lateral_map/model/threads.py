"""One thread for the linear algebra of one line, whoever calls and whatever the environment says.

A line's matrices are a hundred or two wide: a second BLAS thread costs more in waiting than it
saves, several times the whole solve where other work wants the processor too.
"""

from __future__ import annotations

import functools
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

_LOCK = threading.Lock()
_inside = 0
_limited: Any = None


@functools.cache
def _blas() -> Any:
    """Return the handles of the BLAS libraries loaded so far; finding them takes 10 ms, once."""
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController().select(user_api="blas")


@contextmanager
def one_blas_thread() -> Iterator[None]:
    """Hold BLAS to one thread; the last of several callers to leave gives back what there was."""
    global _inside, _limited  # noqa: PLW0603
    with _LOCK:
        _inside += 1
        if _inside == 1:
            _limited = _blas().limit(limits=1)
    try:
        yield
    finally:
        with _LOCK:
            _inside -= 1
            if _inside == 0:
                _limited.restore_original_limits()
