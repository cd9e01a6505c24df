"""An error that a worker process hands over is the error that was raised."""

from __future__ import annotations

import pickle

import pytest

from lateral_map.errors import (
    AdjustmentError,
    AnalysisError,
    Fault,
    FrameError,
    ImpossibleError,
    LateralMapError,
    SiteError,
)

FAULTS = (
    Fault("'abc' is not a length", "write 4.5", "locates.csv", 14, "depth"),
    Fault("gone"),
)


@pytest.mark.parametrize(
    "error",
    [
        SiteError(FAULTS),
        AdjustmentError(FAULTS[0]),
        ImpossibleError(FAULTS, "the site"),
        FrameError("no projection", "write EPSG:6499"),
        AnalysisError("no such line"),
    ],
)
def test_an_error_comes_through_another_process_whole(error: LateralMapError) -> None:
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert str(again) == str(error)
    assert vars(again) == vars(error)
