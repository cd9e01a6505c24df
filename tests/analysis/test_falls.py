"""Falls: code tables, closed forms, and what the readings cannot tell."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import straight_site, surveyed
from analysis.builder import HandRoute, Sds, draw_routes
from truth.simulate import simulate
from truth.slips import plant

from lateral_map.adjust.route import adjust_route
from lateral_map.analysis.falls import FALL_CODES, measure_falls
from lateral_map.analysis.pipes import list_pipes
from lateral_map.model.readings import without_reading
from lateral_map.model.referral import Job
from lateral_map.model.results import OtherAnswers
from lateral_map.model.route import Doubt
from lateral_map.model.site import Bend, Locate, PipeRun, Run, Start
from lateral_map.report import build_report
from lateral_map.words.technician import fall_remark

INCH = 0.0254


def measure(route, code="IPC"):
    held = replace(route, site=replace(route.site, fall_code=code))
    return measure_falls(held, list_pipes(route.site))


@pytest.mark.parametrize(
    ("code", "size_in", "percent"),
    [
        # IPC Table 704.1, read in Chicago's identical adoption, 18-29-704.1.
        ("IPC", 2.0, 2.0), ("IPC", 2.5, 2.0), ("IPC", 3.0, 1.0), ("IPC", 4.0, 1.0),
        ("IPC", 6.0, 1.0), ("IPC", 8.0, 0.5), ("IPC", 10.0, 0.5),
        # IRC P3005.3, from memory; and a summary of the 2024 edition that disagrees with it.
        ("IRC", 2.5, 2.0), ("IRC", 3.0, 1.0), ("IRC 2024", 3.0, 2.0), ("IRC 2024", 4.0, 1.0),
        # UPC 708.1 and 718.1, from memory.
        ("UPC", 4.0, 2.0), ("UPC", 8.0, 2.0),
        ("UPC with approval", 3.0, 2.0), ("UPC with approval", 4.0, 1.0),
        ("UPC with approval", 6.0, 1.0), ("UPC with approval", 8.0, 0.5),
    ],
)  # fmt: skip
def test_least_falls_as_printed(code, size_in, percent):
    assert FALL_CODES[code].step_for(size_in * INCH).ratio == percent / 100.0


def test_every_code_says_where_it_is_from():
    for name, code in FALL_CODES.items():
        assert code.source
        if name != "IPC":
            assert "from memory" in code.source or "secondary" in code.source


@pytest.mark.parametrize(
    ("millimetres", "percent"), [(100, 1.0), (150, 1.0), (200, 0.5), (65, 2.0)]
)
def test_metric_sizes_fall_under_their_inch_size(millimetres, percent):
    assert FALL_CODES["IPC"].step_for(millimetres / 1000.0).ratio == percent / 100.0


def levelled(fall=0.02, sd=0.0, size_in=4.0, **wishes):
    """A run under measured ground, its depth measured at both ends."""
    fields = {
        "pipes": (PipeRun(0.0, "pvc", size_in * INCH),),
        "locates": (Locate("far", 30.15, 1.0),),
    }
    fields |= wishes.pop("site_fields", {})
    return HandRoute(
        pitches=float(np.arctan(fall)), sds=Sds(pitch=sd), site_fields=fields, **wishes
    ).build()


def test_fall_and_its_sd_in_closed_form():
    (fall,) = measure(levelled(0.03, 0.004))
    assert (fall.from_m, fall.to_m) == (0.0, 30.0)
    assert fall.ratio == pytest.approx(0.03)
    # d tan(p) = dp / cos² p
    assert fall.sd_ratio == pytest.approx(0.004 * (1.0 + 0.03**2))
    assert fall.minimum == 0.01
    assert fall.rule.startswith("IPC Table 704.1: 1/8 in per ft")
    assert not fall.below_ground_line


def test_two_percent_passes_a_quarter_inch_per_foot():
    # The codes print 2 percent beside 1/4 in per ft, which is 2.083 %.
    (fall,) = measure(levelled(0.0201, 1e-6, size_in=2.0))
    assert fall.verdict == "enough fall"


@pytest.mark.parametrize(
    ("fall", "sd", "verdict"),
    [
        (0.020, 0.005, "enough fall"),
        (0.015, 0.005, "readings cannot tell"),
        (0.000, 0.005, "too flat"),
        (-0.020, 0.005, "falls back"),
        (-0.005, 0.005, "too flat"),
        (-0.005, 0.020, "readings cannot tell"),
    ],
)
def test_verdicts_ask_for_95_percent(fall, sd, verdict):
    (found,) = measure(levelled(fall, sd))
    assert found.verdict == verdict
    assert ("rises" in fall_remark(found)) is (fall < 0.0)
    # The same pipe, the camera put in at its other end.
    (turned,) = measure(levelled(-fall, sd, site_fields={"job": Job(camera_direction="upstream")}))
    assert turned.verdict == verdict
    assert turned.ratio == pytest.approx(found.ratio)
    assert fall_remark(turned) == fall_remark(replace(found, flow_said=True))


@pytest.mark.parametrize(
    ("direction", "end", "said"),
    [
        (None, "not reached", False),
        (None, "main", True),
        ("downstream", "not reached", True),
        ("upstream", "not reached", True),
    ],
)
def test_water_runs_back_for_sure_only_where_the_flow_is_known(direction, end, said):
    fall = 0.03 if direction == "upstream" else -0.03
    (found,) = measure(
        levelled(
            fall,
            0.001,
            site_fields={"job": Job(camera_direction=direction), "run": Run(30.0, end=end)},
        )
    )
    assert found.verdict == "falls back"
    assert ("unless the camera went against the flow" in fall_remark(found)) is not said


@pytest.mark.parametrize(
    ("pitch_deg", "verdict", "words"),
    [
        (60.0, "enough fall", "falls at 60° ± 4°"),
        (89.0, "enough fall", "falls at 89° ± 4°"),
        # The readings of a vertical drop may well lean past the vertical.
        (91.0, "enough fall", "falls at 90° ± 4°"),
        (-60.0, "falls back", "rises at 60° ± 4°"),
    ],
)
def test_a_drop_is_judged_by_its_angle(pitch_deg, verdict, words):
    route = levelled(0.0, np.radians(2.0))
    unknowns = route.unknowns.copy()
    unknowns[route.layout.pitch] = np.radians(pitch_deg)
    (found,) = measure(replace(route, unknowns=unknowns))
    assert found.verdict == verdict
    assert fall_remark(found).startswith(words)


def test_level_by_assumption_tells_nothing():
    (found,) = measure(levelled(0.05, 1e-6, level_ground=True))
    assert found.verdict == "readings cannot tell"
    assert found.below_ground_line
    assert "nobody measured the ground" in fall_remark(found)


def test_an_assumed_fall_is_never_approved():
    (found,) = measure(levelled(0.05, 1e-6, site_fields={"locates": ()}))
    assert found.verdict == "readings cannot tell"
    assert "fewer than two depths" in fall_remark(found)


def test_beyond_the_last_depth_the_fall_is_assumed():
    falls = measure(levelled(0.05, 1e-6, site_fields={"locates": (Locate("mid", 10.15, 1.0),)}))
    assert [fall.verdict for fall in falls] == ["enough fall", "readings cannot tell"]
    assert falls[0].to_m == pytest.approx(10.15 - 0.1524)
    assert "its fall is assumed" in fall_remark(falls[1])


def test_no_size_no_minimum():
    (found,) = measure(levelled(0.05, 1e-6, site_fields={"pipes": ()}))
    assert found.minimum is None
    assert found.rule == ""
    assert found.verdict == "readings cannot tell"
    assert "no pipe size" in fall_remark(found)
    (back,) = measure(levelled(-0.05, 1e-6, site_fields={"pipes": ()}))
    assert back.verdict == "falls back"


def test_vertical_bends_and_changes_of_pipe_part_the_run():
    route = levelled(
        lengths_m=(10.0, 20.0),
        azimuths_deg=(90.0, 90.0),
        site_fields={
            "bends": (Bend(10.0, fall_deg=22.5), Bend(5.0, turn_deg=45.0)),
            "pipes": (PipeRun(0.0, "clay", 8 * INCH), PipeRun(20.0, "pvc", 4 * INCH)),
        },
    )
    falls = measure(route)
    assert [(fall.from_m, fall.to_m) for fall in falls] == [
        (0.0, 10.0), (10.0, 20.0), (20.0, pytest.approx(30.0)),
    ]  # fmt: skip
    assert [fall.minimum for fall in falls] == [0.005, 0.005, 0.01]


def test_depths_close_together_do_not_part_the_run():
    close = tuple(Locate(str(i), 10.15 + i, 1.0) for i in range(3))
    falls = measure(levelled(0.02, 0.001, site_fields={"locates": close}))
    assert [fall.to_m for fall in falls] == pytest.approx([10.15 - 0.1524, 30.0])


def test_a_riser_is_no_fall():
    (found,) = measure(levelled(0.02, riser_m=1.5))
    assert found.from_m == 1.5
    assert found.ratio == pytest.approx(0.02)


def test_a_run_that_is_all_riser_has_no_fall():
    route = HandRoute(riser_m=2.0, lengths_m=(1.0,)).build()
    short = replace(route, site=replace(route.site, run=replace(route.site.run, end_m=2.0)))
    assert measure(short) == ()


@pytest.mark.parametrize("seed", [0, 4])
def test_sd_is_the_spread_over_routes_drawn_from_the_covariance(seed):
    site, _ = simulate(seed)
    route = adjust_route(site)
    expected = measure(route)
    draws = np.array(
        [
            [fall.ratio for fall in measure(replace(route, unknowns=unknowns))]
            for unknowns in draw_routes(route, 400, seed)
        ]
    )
    assert draws.std(axis=0) == pytest.approx([fall.sd_ratio for fall in expected], rel=0.12)


def test_two_depths_tell_the_fall_as_well_as_their_errors_let_them():
    # Depths with sd s at both ends of L, nothing else known: sd of the fall is s * sqrt(2) / L.
    site = straight_site(locate_footages_m=(29.9,), tie=surveyed)
    loose = replace(site.accuracy, sd_fall=5.0, fall_wander_deg=1e-4, ground_m=1e-5)
    start = Start(0.0, 0.0, 0.15, depth_m=1.2, sd_depth_m=0.09, ground_m=10.0, azimuth_deg=90.0)
    locate = replace(site.locates[0], ground_m=10.0)
    transmitter = replace(site.transmitter, sd_depth_fraction=0.0, sd_depth_floor_m=0.09)
    counter = replace(site.counter, sd_scale=1e-6, sd_zero_m=1e-6, sd_reading_m=1e-6)
    site = replace(
        site, accuracy=loose, start=start, locates=(locate,), transmitter=transmitter,
        counter=counter, pipes=(PipeRun(0.0, "pvc", 4 * INCH),), run=replace(site.run, end_m=29.8),
    )  # fmt: skip
    (found,) = measure(adjust_route(site))
    length = 29.9 - site.transmitter.behind_lens_m
    assert found.sd_ratio == pytest.approx(0.09 * np.sqrt(2.0) / length, rel=0.02)
    assert found.ratio == pytest.approx(0.02, abs=1e-4)


def test_an_unknown_code_is_a_key_error():
    with pytest.raises(KeyError):
        measure(levelled(), code="XYZ")


@pytest.mark.parametrize("wrong_m", [1.8, -0.9])
@pytest.mark.parametrize("index", [1, 2, 3])
def test_a_depth_that_may_be_misread_makes_no_fall_surer_than_it_is(wrong_m, index):
    """The pipe falls 2 % all along; without the doubt one reading turns it over."""
    site = straight_site(locate_footages_m=(6.0, 10.0, 14.0, 18.0, 23.0), tie=surveyed)
    locates = [replace(one, ground_m=100.0) for one in site.locates]
    locates[index] = replace(locates[index], depth_m=locates[index].depth_m + wrong_m)
    report = build_report(
        replace(
            site,
            start=replace(site.start, ground_m=100.0),
            locates=tuple(locates),
            pipes=(PipeRun(0.0, "pvc", 4 * INCH),),
        )
    )
    assert report.diagnoses[0].slip.id.kind == "depth"
    for one in report.falls:
        assert one.ratio - 2.0 * one.sd_ratio <= 0.02 <= one.ratio + 2.0 * one.sd_ratio
        assert one.verdict not in ("falls back", "too flat")


@pytest.mark.parametrize(
    ("slip", "seed"),
    [("depth 3 ft", 4), ("depth 3 ft", 7), ("depth inches as feet", 8), ("depth 3 ft", 2),
     ("depth inches as feet", 11)],
)  # fmt: skip
def test_no_fall_told_firmly_turns_without_the_suspect_depth(slip, seed):
    report = build_report(plant(slip, seed).site)
    suspects = [one.id for one in report.readings if one.set_aside_first]
    assert suspects
    for suspect in suspects:
        without = build_report(without_reading(report.site, suspect), diagnose=False)
        for fall in report.falls:
            middle = (fall.from_m + fall.to_m) / 2.0
            (other,) = (one for one in without.falls if one.from_m <= middle <= one.to_m)
            turns = fall.verdict not in ("readings cannot tell", other.verdict)
            # Parted otherwise without that depth, another stretch is told.
            same = (fall.from_m, fall.to_m) == (other.from_m, other.to_m)
            assert not (turns and same), (fall, other)


def test_what_else_the_readings_may_mean_leaves_a_fall_open():
    site = {"pipes": (PipeRun(0.0, "pvc", 4.0 * INCH),)}
    site["locates"] = tuple(Locate(mark, at, depth_m=1.0) for mark, at in (("A", 1.0), ("B", 29.0)))
    steep, flat = (
        HandRoute(pitches=pitch, sds=Sds(pitch=0.001), site_fields=site).build()
        for pitch in (0.03, 0.004)
    )
    pipes = list_pipes(steep.site)
    (alone,) = measure_falls(steep, pipes)
    assert (alone.verdict, alone.turns) == ("enough fall", False)
    for instead, verdict in ((flat, "readings cannot tell"), (steep, "enough fall")):
        (fall,) = measure_falls(steep, pipes, [OtherAnswers(Doubt(0.0, instead, float), ())])
        assert (fall.verdict, fall.turns) == (verdict, instead is flat)
        assert (fall.ratio, fall.sd_ratio) == (alone.ratio, alone.sd_ratio)
        assert ("what may have gone wrong" in fall_remark(fall)) == fall.turns
