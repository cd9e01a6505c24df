"""Factors and ellipses against published figures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import chdtrc, chdtri

from lateral_map.model.chance import (
    ELLIPSE_95,
    ONE_SIDED_95,
    TWO_SIDED_95,
    chance_above_zero,
    chi_square_beyond,
    chi_square_tail,
    deviate_beyond,
    error_ellipses,
)


def test_factors_are_those_of_nssda():
    # FGDC-STD-007.3-1998: 2.4477 x RMSE_x = 1.7308 x RMSE_r, and 1.9600 x RMSE_z.
    assert round(ELLIPSE_95, 4) == 2.4477
    assert round(ELLIPSE_95 / math.sqrt(2.0), 4) == 1.7308
    assert round(TWO_SIDED_95, 4) == 1.9600


def test_vertical_accuracy_of_a_published_usgs_report():
    # USGS 3DEP vertical accuracy report, Barataria: RMSE_z 0.0574002119585 m is reported as
    # 0.112504415439 m at 95 %, with NSSDA's 1.9600.
    assert round(TWO_SIDED_95, 2) * 0.0574002119585 == pytest.approx(0.112504415439, abs=1e-12)


def test_ellipse_of_a_covariance_by_the_gama_manual_formulas():
    # a², b² = (cxx + cyy ± sqrt((cxx - cyy)² + 4 cxy²))/2, GNU Gama manual, "Information on
    # points"; numbers worked out by hand from them.
    found = error_ellipses(np.array([[[4.0, 1.5], [1.5, 2.0]]]))
    assert found.semi_major_m[0] == pytest.approx(2.19152, abs=5e-6)
    assert found.semi_minor_m[0] == pytest.approx(1.09418, abs=5e-6)
    assert found.azimuth_deg[0] == pytest.approx(61.845, abs=5e-4)


def test_ellipses_of_benning_8_2():
    # Krumm, Geodetic Network Adjustment Examples, Rev 3.5 (2020), Benning 8-2: covariance in mm²,
    # ellipse 0.9733, 0.5203 cm, long axes at 116.565 and 63.435 degrees.
    covariance = np.array(
        [[[81.204, -27.069], [-27.069, 40.602]], [[81.200, 27.066], [27.066, 40.600]]]
    )
    found = error_ellipses(covariance)
    assert found.semi_major_m / 10.0 == pytest.approx([0.9733, 0.9733], abs=6e-5)
    assert found.semi_minor_m / 10.0 == pytest.approx([0.5203, 0.5203], abs=6e-5)
    assert found.azimuth_deg == pytest.approx([116.565, 63.435], abs=2e-3)


@given(st.floats(0.01, 10.0), st.floats(0.01, 10.0), st.floats(0.0, 179.0))
def test_an_ellipse_comes_back_from_its_own_covariance(major, minor, azimuth):
    major, minor = max(major, minor) + 0.01, min(major, minor)
    angle = math.radians(azimuth)
    long_axis = np.array([math.sin(angle), math.cos(angle)])
    across = np.array([long_axis[1], -long_axis[0]])
    covariance = major**2 * np.outer(long_axis, long_axis) + minor**2 * np.outer(across, across)
    found = error_ellipses(covariance[None])
    assert found.semi_major_m[0] == pytest.approx(major, rel=1e-6)
    assert found.semi_minor_m[0] == pytest.approx(minor, rel=1e-4)
    turned = abs(found.azimuth_deg[0] - azimuth)
    if major - minor > 0.05:
        assert min(turned, 180.0 - turned) < 0.01


def test_chances():
    assert chance_above_zero(ONE_SIDED_95, 1.0) == pytest.approx(0.95)
    assert chance_above_zero(-2.0, 2.0) == pytest.approx(0.158655, abs=1e-6)  # normal table
    assert chance_above_zero(1.0, 0.0) == 1.0
    assert chance_above_zero(-1.0, 0.0) == 0.0
    assert chance_above_zero(0.0, 0.0) == 0.5


@pytest.mark.parametrize("freedom", [1, 2, 3, 8, 29, 150, 601])
@pytest.mark.parametrize("share", [0.0, 0.01, 0.5, 1.0, 1.5, 4.0, 20.0])
def test_chi_square_tail_is_that_of_scipy(freedom, share):
    chi_square = share * freedom
    assert chi_square_tail(freedom, chi_square) == pytest.approx(
        chdtrc(freedom, chi_square), rel=1e-10, abs=1e-300
    )


@pytest.mark.parametrize("freedom", [1, 2, 3, 8, 29])
@pytest.mark.parametrize("probability", [0.95, 0.05, 0.01, 1e-6])
def test_chi_square_beyond_is_that_of_scipy(freedom, probability):
    assert chi_square_beyond(freedom, probability) == pytest.approx(
        chdtri(freedom, probability), rel=1e-9
    )


def test_published_critical_values():
    # NIST/SEMATECH e-Handbook 1.3.6.7.4: 3.841, 5.991, 9.210 (upper tail .05, .05, .01).
    assert chi_square_beyond(1, 0.05) == pytest.approx(3.841, abs=5e-4)
    assert chi_square_beyond(2, 0.05) == pytest.approx(5.991, abs=5e-4)
    assert chi_square_beyond(2, 0.01) == pytest.approx(9.210, abs=5e-4)
    assert deviate_beyond(0.0005) == pytest.approx(3.2905, abs=5e-5)
