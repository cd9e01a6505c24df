"""The page's own way between plane and longitude, latitude, against PROJ."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lateral_map.draw.data import plane_link
from lateral_map.errors import FrameError
from lateral_map.frame import local_frame, projected_frame_at

BOUNDS = (-310.0, -290.0, 330.0, 320.0)


def apply(rows, u, v):
    terms = np.array([1.0, u, v, u * u, u * v, v * v])
    return np.asarray(rows) @ terms


def to_lonlat(link, east, north):
    u, v = ((np.array([east, north]) - link["centre_m"]) / link["reach_m"]).tolist()
    return np.array(link["centre_deg"]) + apply(link["to_lonlat"], u, v) * link["reach_deg"]


def to_plane(link, lon, lat):
    u, v = ((np.array([lon, lat]) - link["centre_deg"]) / link["reach_deg"]).tolist()
    return np.array(link["centre_m"]) + apply(link["to_plane"], u, v) * link["reach_m"]


@settings(max_examples=40, deadline=None)
@given(st.floats(-300, 300), st.floats(-280, 300), st.sampled_from([(-84.5, 42.7), (8.6, 60.2)]))
def test_within_a_tenth_of_a_millimetre_of_proj(east, north, centre) -> None:
    crs = "EPSG:6499" if centre[0] < 0 else "EPSG:25832"
    frame = projected_frame_at(crs, *centre)
    link = plane_link(frame, BOUNDS)
    exact = frame.plane_to_lonlat(east, north)
    lon, lat = to_lonlat(link, east, north)
    # Back through PROJ, so that the difference is in metres.
    back = np.array(frame.lonlat_to_plane(lon, lat))
    assert back == pytest.approx([east, north], abs=1e-4)
    there = to_plane(link, float(exact[0]), float(exact[1]))
    assert there == pytest.approx([east, north], abs=1e-4)


def test_a_sketch_lies_on_no_base_map() -> None:
    with pytest.raises(FrameError, match="tied to no place on earth"):
        plane_link(local_frame("ft"), BOUNDS)
