"""The transmitter's field, computed here from the dipole formula, against the shares used."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import straight_site
from scipy.optimize import brentq, minimize_scalar

from lateral_map.adjust.transmitter import (
    _SHARES,
    _TILT_DEG,
    near_vertical_bend_deg,
    nulls_depth_m,
    sd_depth_m,
    sd_mark_m,
)
from lateral_map.model.site import Bend


def field(x: float, tilt_deg: float) -> np.ndarray:
    """Return (along, up) field at distance x along a plane one depth above a tilted dipole.

    H = [3 (m.r) r - m] / r^3 with unit r, moment of 4 pi; quasi-static, uniform ground.
    """
    moment = np.array([np.cos(np.radians(tilt_deg)), np.sin(np.radians(tilt_deg))])
    away = np.array([x, 1.0])
    distance = np.hypot(*away)
    unit = away / distance
    return (3.0 * (moment @ unit) * unit - moment) / distance**3


@pytest.mark.parametrize(("index", "tilt"), list(enumerate(_TILT_DEG)))
def test_shift_of_the_in_line_peak(index, tilt):
    peak = minimize_scalar(lambda x: -abs(field(x, tilt)[0]), bounds=(-0.5, 0.3), method="bounded")
    assert abs(peak.x) == pytest.approx(_SHARES["in-line"][index], abs=2e-4)


@pytest.mark.parametrize(("index", "tilt"), list(enumerate(_TILT_DEG)))
def test_shift_of_the_vertical_null(index, tilt):
    null = brentq(lambda x: field(x, tilt)[1], -0.69, 0.3)
    assert abs(null) == pytest.approx(_SHARES["null"][index], abs=2e-4)


@pytest.mark.parametrize(("index", "tilt"), list(enumerate(_TILT_DEG))[1:])
def test_shift_of_the_total_field_peak(index, tilt):
    peak = minimize_scalar(
        lambda x: -np.hypot(*field(x, tilt)), bounds=(0.0, 0.5), method="bounded"
    )
    assert peak.x == pytest.approx(_SHARES["total field"][index], abs=6e-4)


@pytest.mark.parametrize(("index", "tilt"), list(enumerate(_TILT_DEG)))
def test_nulls_over_read_by_the_share_used(index, tilt):
    ahead = brentq(lambda x: field(x, tilt)[0], 0.0, 0.9)
    behind = brentq(lambda x: field(x, tilt)[0], -2.5, -0.5)
    assert nulls_depth_m(ahead - behind) == pytest.approx(
        1.0 + _SHARES["depth over"][index], abs=1e-4
    )


def test_a_vertical_bend_near_by_widens_mark_and_depth():
    site = straight_site(locate_footages_m=(10.0, 20.0))
    near = replace(site, bends=(Bend(10.5, fall_deg=45.0),))
    first, second = near.locates
    assert near_vertical_bend_deg(near, first, 1.4) == 45.0
    assert near_vertical_bend_deg(near, second, 1.6) == 0.0
    assert sd_mark_m(near, first, 1.4) > 3.0 * sd_mark_m(site, first, 1.4)
    assert sd_depth_m(near, first, 1.4) > 5.0 * sd_depth_m(site, first, 1.4)
    assert sd_mark_m(near, second, 1.6) == sd_mark_m(site, second, 1.6)


def test_a_total_field_peak_is_trusted_less_along_the_line():
    site = straight_site(locate_footages_m=(10.0,))
    total = replace(site.locates[0], peak="total field")
    assert sd_mark_m(site, total, 1.4) > 2.0 * sd_mark_m(site, site.locates[0], 1.4)
