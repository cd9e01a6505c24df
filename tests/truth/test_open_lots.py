"""A few lots of the real district; ``open_lots.py`` tries all of them."""

from __future__ import annotations

import pytest


def test_a_real_lot_is_drawn_right_or_asked_about() -> None:
    pytest.importorskip("momepy")  # here, for it is long to load
    from truth.open_lots import count, try_lot

    found = [try_lot(index) for index in range(4, count(), 29)]
    assert not any(one.wrong for one in found)
    assert sum(not one.asked for one in found) > 0
