"""Stations: where they stand, what stands at them, how sure they are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import straight_site, surveyed
from analysis.builder import FOOT, HandRoute, Sds, line
from truth.simulate import simulate

from lateral_map.adjust.route import adjust_route
from lateral_map.analysis.crossings import find_crossings
from lateral_map.analysis.stations import lay_stations
from lateral_map.model.site import Bend, Finding, Locate
from lateral_map.units import metres_per


@pytest.mark.parametrize(("unit", "step"), [("ft", 1.0), ("us_ft", 1.0), ("m", 0.25)])
def test_stations_stand_every_foot_or_quarter_metre(unit, step):
    length = 10.0 * metres_per(unit)
    stations = lay_stations(HandRoute(lengths_m=(length,), unit=unit).build())
    counted = stations.footage_m / metres_per(unit)
    assert counted == pytest.approx(np.arange(0.0, 10.0 + step / 2, step))


def test_stations_stand_at_whole_readings_of_the_counter():
    stations = lay_stations(HandRoute(lengths_m=(3.0 * FOOT,), zero_m=2.4 * FOOT).build())
    assert stations.footage_m / FOOT == pytest.approx([2.4, 3.0, 4.0, 5.0, 5.4])
    assert stations.events == (("start",), (), (), (), ("end",))


def test_every_event_has_a_station():
    curb = line("curb", (20.0, 8.0), (20.0, -8.0))
    route = HandRoute(
        lengths_m=(30.0,),
        lines=(curb,),
        findings=(Finding(7.77, "roots"), Finding(9.1, "standing water", to_m=11.3)),
        site_fields={
            "locates": (Locate("A", 5.0), Locate("B", 15.0, use=False)),
            "bends": (Bend(12.34, turn_deg=-22.5), Bend(13.0, turn_deg=45.0, fall_deg=11.25)),
        },
    ).build()
    stations = lay_stations(route, find_crossings(route)[0])
    named = {
        event: at
        for at, here in zip(stations.footage_m, stations.events, strict=True)
        for event in here
    }
    behind = route.site.transmitter.behind_lens_m
    assert named == pytest.approx(
        {
            "start": 0.0,
            "end": 30.0,
            "locate A": 5.0 - behind,
            "locate B (set aside)": 15.0 - behind,
            "bend 22.5° left": 12.34,
            "bend 45° right and 11.25° down": 13.0,
            "roots": 7.77,
            "standing water begins": 9.1,
            "standing water ends": 11.3,
            "crosses curb": 20.0,
        }
    )


def test_two_things_at_one_footage_share_a_station():
    findings = (Finding(3.0 * FOOT, "roots"), Finding(3.0 * FOOT + 5e-7, "crack"))
    stations = lay_stations(HandRoute(findings=findings, lengths_m=(6.0 * FOOT,)).build())
    assert len(stations.footage_m) == 7
    assert stations.events[3] == ("roots", "crack")
    assert np.diff(stations.footage_m).min() > 1e-6


def test_uncertainty_across_and_along_in_closed_form():
    sds = Sds(start=0.1, scale=0.01, azimuth=0.02)
    stations = lay_stations(HandRoute(azimuths_deg=(30.0,), sds=sds).build())
    away = stations.footage_m
    assert stations.along_sd_m == pytest.approx(np.hypot(0.1, 0.01 * away))
    assert stations.across_sd_m == pytest.approx(np.hypot(0.1, 0.02 * away))
    # sqrt(chi-square, 2 degrees of freedom, 0.95) = 2.4477
    assert stations.semi_major_m == pytest.approx(2.44775 * np.hypot(0.1, 0.02 * away), rel=1e-5)
    assert stations.semi_minor_m == pytest.approx(2.44775 * np.hypot(0.1, 0.01 * away), rel=1e-5)
    assert stations.ellipse_azimuth_deg[1:] == pytest.approx(np.full(len(away) - 1, 120.0))
    assert stations.heading_deg == pytest.approx(np.full(len(away), 30.0))
    assert stations.heading_sd_deg == pytest.approx(np.full(len(away), np.degrees(0.02)))


def test_the_riser_stands_under_the_start():
    stations = lay_stations(HandRoute(lengths_m=(3.0,), riser_m=1.0, unit="m").build())
    inside = stations.footage_m <= 1.0
    assert stations.easting_m[inside] == pytest.approx(0.0)
    assert stations.depth_m[inside] == pytest.approx(1.2 + stations.footage_m[inside])
    assert {b for b, here in zip(stations.basis, inside, strict=True) if here} == {"located"}


def test_basis_by_footage():
    route = HandRoute(lengths_m=(10.0 * FOOT,), tied_m=(5.0 * FOOT,)).build()
    stations = lay_stations(route)
    assert stations.basis == (
        "located", "located", "between locates", "between locates",
        "located", "located", "located",
        "dead reckoned", "dead reckoned", "dead reckoned", "dead reckoned",
    )  # fmt: skip


def test_a_metric_locate_fixes_30_cm():
    route = HandRoute(lengths_m=(2.0,), tied_m=(1.0,), unit="m").build()
    stations = lay_stations(route)
    known = dict(zip(np.round(stations.footage_m, 3).tolist(), stations.basis, strict=True))
    assert known[0.25] == "located"
    assert known[0.5] == "between locates"
    assert known[0.75] == "located"
    assert known[1.25] == "located"
    assert known[1.5] == "dead reckoned"


def test_without_ties_all_past_the_start_is_dead_reckoned():
    stations = lay_stations(HandRoute(lengths_m=(10.0 * FOOT,)).build())
    assert stations.basis[:2] == ("located", "located")
    assert set(stations.basis[2:]) == {"dead reckoned"}


def test_a_locate_with_depth_alone_fixes_nothing_in_plan():
    site = straight_site(locate_footages_m=(10.0, 20.0), tie=surveyed)
    deep = replace(site, locates=(site.locates[0], replace(site.locates[1], ties=())))
    stations = lay_stations(adjust_route(deep))
    at = stations.index_of(20.0 - site.transmitter.behind_lens_m)
    assert stations.events[at] == ("locate 2",)
    assert stations.basis[at] == "dead reckoned"


def test_arrays_are_read_only():
    stations = lay_stations(HandRoute().build())
    with pytest.raises(ValueError, match="read-only"):
        stations.easting_m[0] = 1.0


def test_figures_are_the_routes_own():
    site, _ = simulate(4)
    route = adjust_route(site)
    stations = lay_stations(route)
    for at in (3, 40, -1):
        footage = stations.footage_m[at]
        place = route.positions(footage)[0]
        assert (stations.easting_m[at], stations.northing_m[at], stations.elevation_m[at]) == (
            pytest.approx(tuple(place))
        )
        depth, sd = route.depths(footage)
        assert stations.depth_m[at] == pytest.approx(depth[0])
        assert stations.depth_sd_m[at] == pytest.approx(sd[0])
        assert stations.ground_m[at] - stations.elevation_m[at] == pytest.approx(depth[0])
    assert stations.ground_known is not route.ground.is_level
