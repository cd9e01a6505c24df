"""Layers, benches and boxes: solids counted cell by cell, sections worked by hand, laws.

The walls are those of 29 CFR 1926 Subpart P, Appendix B, Figures B-1.1 to B-1.4 (from memory), and
the slopes of its Table B-1 (read in a copy). Nothing of the program's geometry is used to count.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from dig.builder import FOOT, dig_rules
from dig.test_cross_slope import LENGTH, laid
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point

from lateral_map.analysis.conflicts import find_conflicts
from lateral_map.analysis.dug_into import list_dug_into
from lateral_map.analysis.excavation import measure_excavation
from lateral_map.analysis.methods import choose_walls, compare_methods
from lateral_map.analysis.reach import propose_reaches
from lateral_map.analysis.structures import find_structures
from lateral_map.analysis.trench_rules import read_trench_rules
from lateral_map.analysis.whitelines import outline_dig
from lateral_map.model.earthwork import prismoidal_volume_m3
from lateral_map.model.site import Plan, SoilLayer, UtilityLine
from lateral_map.model.walls import WallShape, draw_wall

SLOPES = {"stable rock": 0.0, "A": 0.75, "B": 1.0, "C": 1.5}


def shapes(soil="C", layers=(), **fields):
    """Return every way the walls may stand; layers are (feet down, soil) from the ground down."""
    given = tuple(SoilLayer(feet * FOOT, word) for feet, word in layers)
    return read_trench_rules(dig_rules(soil, layers=given, **fields)).wall_shapes()


def walked(shape, corner, rise, step=0.001):
    """Return the height of a wall over the bottom at places out from its edge, by walking up it."""
    out = np.arange(0.0, 12.0 * corner + 1.0, step)
    floor = np.empty_like(out)
    up = min(shape.upright_m, corner)
    if shape.step_m:
        # A bench lies where the next face's top would come over the slope from the edge.
        up = min(corner, shape.first_m)
        for k, at in enumerate(out):
            while up < corner + rise * at and shape.slopes[0] * (up + shape.step_m) <= at:
                up += shape.step_m
            # The last face stands where the slope itself meets the ground.
            floor[k] = up if at < shape.slopes[0] * corner / (1 - shape.slopes[0] * rise) else 1e9
        return out, floor
    for k, at in enumerate(out):
        floor[k] = up
        below = corner + rise * at - up
        slope = shape.slopes[int(np.searchsorted(shape.to_m, below))]
        if slope == 0.0:
            # Straight up through rock, to where the next soil begins.
            deeper = [end for end in shape.to_m if end < below]
            up += below - (max(deeper) if deeper else 0.0)
            slope = shape.slopes[int(np.searchsorted(shape.to_m, below - 1e-9))]
        up += step / slope if slope else 0.0
    return out, floor


CASES = [
    ("B", [(3.0, "C")], "sloped"),  # each its own slope
    ("C", [(3.0, "A")], "sloped"),  # the firmer over the softer takes the softer's
    ("A", [(2.0, "C"), (5.0, "B")], "sloped"),
    ("B", [(3.0, "C")], "box and slope"),
    ("C", [], "box and slope"),
    ("A", [], "benched"),
    ("B", [], "benched"),
]


@pytest.mark.parametrize(("soil", "layers", "walls"), CASES)
@pytest.mark.parametrize("rise", [0.0, 0.12, -0.2])
def test_a_section_is_what_walking_up_its_wall_counts(soil, layers, walls, rise):
    shape = shapes(soil, layers, cohesive=True, box_height_m=6 * FOOT)[walls]
    corner = 11 * FOOT
    out, floor = walked(shape, corner, rise)
    open_to = np.maximum(corner + rise * out - floor, 0.0)
    wall = draw_wall(shape, corner, rise)
    assert wall.area_m2 == pytest.approx(open_to.sum() * 0.001, rel=3e-3)
    assert wall.out_m[-1] == pytest.approx(out[open_to > 0.0].max(), abs=0.005)
    # It ends at the ground.
    assert wall.up_m[-1] == pytest.approx(corner + rise * wall.out_m[-1])
    assert wall.below_m[-1] == pytest.approx(0.0, abs=1e-9)


def test_layers_by_hand():
    # 8 ft deep, 2 ft wide: 3 ft of C over B. 1.5 x 3 + 1 x 5 = 9.5 ft out on either side.
    shape = shapes("B", [(3.0, "C")])["sloped"]
    assert shape.slopes == (1.5, 1.0)
    wall = draw_wall(shape, 8 * FOOT)
    assert wall.out_m[-1] == pytest.approx(9.5 * FOOT)
    # A triangle of 5 x 5 and a trapezium 3 ft high, 5 and 9.5 ft wide.
    assert wall.area_m2 == pytest.approx((12.5 + 3 * 7.25) * FOOT**2)
    # A over C, B over C, A over B: all at the slope of the lower.
    for over, under in (("A", "C"), ("B", "C"), ("A", "B")):
        assert set(shapes(under, [(3.0, over)])["sloped"].slopes) == {SLOPES[under]}


def test_benches_by_hand():
    # 14 ft of Type A: a face of 4 ft, then two of 5 ft, their tops on 3/4 to 1 from the toe.
    wall = draw_wall(shapes("A")["benched"], 14 * FOOT)
    corners = np.stack([wall.out_m, wall.up_m], axis=-1) / FOOT
    by_hand = [(0, 0), (0, 4), (6.75, 4), (6.75, 9), (10.5, 9), (10.5, 14)]
    assert corners == pytest.approx(np.array(by_hand, float))
    assert wall.area_m2 == pytest.approx((5 * 6.75 + 5 * 10.5) * FOOT**2)
    # Up to the first face's height it stands straight up.
    assert draw_wall(shapes("A")["benched"], 3.9 * FOOT).out_m[-1] == 0.0


def test_a_box_under_a_slope_by_hand():
    # A box 6 ft high stands 18 in over the vertical part: 4.5 ft; 5.5 ft of C above it.
    shape = shapes("C", box_height_m=6 * FOOT)["box and slope"]
    wall = draw_wall(shape, 10 * FOOT)
    assert wall.up_m[1] == pytest.approx(4.5 * FOOT)
    assert wall.out_m[-1] == pytest.approx(1.5 * 5.5 * FOOT)
    assert wall.area_m2 == pytest.approx(0.75 * 5.5**2 * FOOT**2)


def test_benches_are_for_type_a_and_cohesive_b_from_top_to_bottom():
    assert "benched" in shapes("A")
    assert "benched" in shapes("B", cohesive=True)
    for soil, layers, cohesive in (
        ("B", [], False), ("C", [], True), ("stable rock", [], True), ("A", [(2.0, "B")], True),
        ("B", [(2.0, "C")], True),
    ):  # fmt: skip
        assert "benched" not in shapes(soil, layers, cohesive=cohesive)
    assert "box and slope" not in shapes("A")
    # A box no higher than it must stand above the slope holds nothing.
    assert "box and slope" not in shapes("A", box_height_m=1.5 * FOOT)


def counted(shape, rise, width, depth, length, cells=700):
    """Return the earth between a plane hillside and a pit, cell by cell in plan.

    All four walls are of the shape; each by itself is found by bisection from the ground down.
    """
    far = width / 2 + 3.0 * shape.flattest * depth + 1.0
    # Where a wall stands upright two cells meet, else half a cell too much or too little is dug.
    tops = shape.first_m + shape.step_m * np.arange(4)
    edges = [(depth + r * width / 2) / (1 - shape.slopes[0] * r) for r in (rise, -rise, 0.0)]
    out = [0.0, *(shape.slopes[0] * np.append(tops, edges))]
    x = np.union1d(np.linspace(-far, length + far, cells), [[-o, length + o] for o in out])
    y = np.union1d(np.linspace(-far, far, cells), [[-width / 2 - o, width / 2 + o] for o in out])
    wide = np.diff(x)[:, None] * np.diff(y)[None, :]
    x, y = (x[:-1] + x[1:]) / 2, (y[:-1] + y[1:]) / 2
    ground = rise * y[None, :] + depth  # over the bottom
    out = [np.maximum(np.maximum(-x, x - length), 0.0)[:, None] * np.ones_like(ground)]
    out.append(np.maximum(np.abs(y) - width / 2, 0.0)[None, :] * np.ones((len(x), 1)))
    dug = np.ones((len(x), len(y)), bool)
    floor = np.zeros_like(dug, float)
    # The end's foot lies under this ground, the side's under the ground above its own edge.
    side = depth + rise * np.sign(y) * width / 2
    feet = [(ground, 0.0 * y), (np.broadcast_to(side[None, :], ground.shape), rise * np.sign(y))]
    for away, (corner, up_hill) in zip(out, feet, strict=True):
        level = np.zeros_like(floor)
        if shape.step_m:
            level = np.where(corner > shape.first_m, shape.first_m, corner)
            for _ in range(40):
                level = np.where(
                    shape.slopes[0] * (level + shape.step_m) <= away, level + shape.step_m, level
                )
            face = corner / (1.0 - shape.slopes[0] * up_hill[None, :])
            beyond = away >= np.where(corner > shape.first_m, shape.slopes[0] * face, 0.0)
            level = np.where(beyond, np.inf, level)
        else:
            # Out from the foot, layer by layer: how high is the wall here?
            rest, level = away.copy(), np.minimum(shape.upright_m, corner)
            below = corner - level
            edges = [0.0, *shape.to_m, np.inf]
            for k in range(len(shape.slopes) - 1, -1, -1):
                thick = np.maximum(np.minimum(below, edges[k + 1]) - edges[k], 0.0)
                share = 1.0 - shape.slopes[k] * up_hill[None, :]
                long = shape.slopes[k] * thick / share
                part = np.where(long > 0.0, np.minimum(rest / np.maximum(long, 1e-12), 1.0), 1.0)
                level = level + part * thick / share
                rest = np.maximum(rest - long, 0.0)
                below = below - thick
            level = np.where(rest > 0.0, np.inf, level)
        level = np.where(away > 0.0, level, 0.0)
        floor, dug = np.maximum(floor, level), dug & np.isfinite(level)
    deep = np.where(dug, np.maximum(ground - floor, 0.0), 0.0)
    return float((deep * wide).sum())


@pytest.mark.parametrize(("soil", "layers", "walls"), CASES)
@pytest.mark.parametrize("rise", [0.0, 0.15])
def test_a_pit_in_a_plane_hillside_against_cells(soil, layers, walls, rise):
    shape = shapes(soil, layers, cohesive=True, box_height_m=6 * FOOT)[walls]
    width, depth, length = 3 * FOOT, 11 * FOOT, 20 * FOOT
    wide, deep = np.full(2, width), np.full(2, depth)
    said = prismoidal_volume_m3(np.array([0.0, length]), wide, deep, shape, (rise, -rise))
    assert said == pytest.approx(counted(shape, rise, width, depth, length), rel=1e-3)


@pytest.mark.parametrize("walls", ["sloped", "box and slope"])
def test_a_layer_that_begins_on_the_way_is_counted_within_a_thousandth(walls):
    # The bottom falls through the layer's foot between two stations of many.
    shape = shapes("B", [(5.0, "C")], box_height_m=4 * FOOT)[walls]
    plan, few = np.linspace(0.0, 20.0, 67), np.linspace(0.0, 20.0, 20_001)
    found = []
    for at in (plan, few):
        deep = 2 * FOOT + at * 0.1
        found.append(prismoidal_volume_m3(at, np.full(len(at), 0.6), deep, shape))
    assert found[0] == pytest.approx(found[1], rel=1e-3)


SHARE = st.floats(0.0, 1.0)
SOFTER = {"A": "B", "B": "C", "C": "C"}


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from("ABC"), st.sampled_from("ABC"), st.floats(0.3, 2.5), st.floats(0.4, 6.0),
    st.floats(0.0, 0.3), SHARE, SHARE, SHARE, st.booleans(),
)  # fmt: skip
def test_deeper_steeper_softer_never_opens_less_ground_or_digs_less(
    soil, over, to, depth, rise, deeper, steeper, thicker, under
):
    def judged(soil=soil, over=over, to=to, depth=depth, rise=rise):
        layers = [(to / FOOT, over)]
        found = shapes(soil, layers, box_height_m=5 * FOOT)
        if over == soil:
            found |= shapes(soil, cohesive=True)
        wide, deep = np.full(2, 0.6), np.full(2, depth)
        return {
            walls: (
                draw_wall(shape, depth, rise).out_m[-1],
                prismoidal_volume_m3(np.array([0.0, 5.0]), wide, deep, shape, (rise, rise)),
            )
            for walls, shape in found.items()
        }

    before = judged()
    steep = min(rise + 0.2 * steeper, 0.45)
    softest = max((soil, over), key=SLOPES.get)
    changes = [
        judged(depth=depth + deeper), judged(rise=steep),
        judged(**({"soil": SOFTER[soil]} if under else {"over": SOFTER[over]})),
    ]  # fmt: skip
    if SLOPES[over] >= SLOPES[soil]:
        changes.append(judged(to=to + thicker))
    for after in changes:
        for walls in ("sloped", "box and slope", "shored"):
            for less, more in zip(before[walls], after[walls], strict=True):
                # Twelve slices an end: far finer than the thousandth that is promised.
                assert more >= less - 2e-4 * max(less, 1.0)
        if "benched" in before and "benched" in after and SLOPES[softest] < 1.5:
            assert after["benched"][0] >= before["benched"][0] - 1e-9
    # No wall is steeper anywhere than that of the softest soil throughout is taken to be.
    widest = draw_wall(WallShape((SLOPES[softest],)), depth, rise).out_m[-1]
    assert all(out <= widest + 1e-9 for out, _ in before.values())


@pytest.mark.parametrize("walls", ["shored", "sloped", "benched", "box and slope"])
def test_white_lines_hold_the_cut_at_its_deeper_bound(walls):
    route, profile, _, _ = laid(0.1, "B")
    dig = dig_rules("B", cohesive=True, box_height_m=6 * FOOT)
    rules = read_trench_rules(dig)
    (reach,) = propose_reaches(route, (), (), ())
    found = measure_excavation(profile, 0.0, LENGTH, dig, rules)
    (cut,) = [one for one in found.cuts if one.walls == walls]
    outline = outline_dig(profile, reach, cut.shape)
    assert outline.buffer(1e-6).covers(cut.footprint)
    corner = 8 * FOOT + 0.1 * FOOT
    out = {
        "shored": 0.0, "sloped": corner / 0.9, "benched": corner / 0.9,
        "box and slope": (corner - 4.5 * FOOT) / 0.9,
    }[walls]  # fmt: skip
    assert cut.footprint.bounds[3] == pytest.approx(FOOT + out, rel=1e-3)
    assert outline.covers(Point(LENGTH / 2, FOOT + out - 1e-6))
    held = {"shored": 2 * 8.0, "box and slope": 2 * 4.5}.get(walls, 0.0)
    assert cut.held_m2 == pytest.approx(held * 20 * FOOT**2, rel=2e-3)


def test_walls_that_are_not_to_be_had_fall_back_and_are_still_compared():
    route, profile, _, _ = laid(0.0, "C")
    dig = dig_rules("C", walls="benched")
    rules = read_trench_rules(dig)
    (reach,) = propose_reaches(route, (), (), ())
    found = measure_excavation(profile, 0.0, LENGTH, dig, rules)
    methods = compare_methods(replace(route.site, dig=dig), reach, found, ((), ()))
    assert [one.walls for one in found.cuts] == ["shored", "sloped"]
    assert choose_walls("benched", methods) == "sloped"
    assert choose_walls("shored", methods) == "shored"


@pytest.mark.parametrize(
    ("aside_ft", "depth_ft", "walls", "told"),
    [
        (6.0, 3.0, "sloped", True),
        (6.0, None, "sloped", True),
        (6.0, 3.0, "shored", False),  # nothing is dug there
        (6.0, 14.0, "sloped", False),  # surely under the trench's bottom
        (16.0, 3.0, "sloped", False),  # the cut ends 13 ft from the middle
        (0.5, 3.0, "sloped", False),  # in the trench itself, which is told already
    ],
)
def test_what_a_slope_lays_open_is_told_beside_what_lies_in_the_trench(
    aside_ft, depth_ft, walls, told
):
    # 8 ft deep, 2 ft wide in soil C: the cut reaches 1 + 1.5 x 8 = 13 ft from the middle.
    ends = np.array([[-5.0, aside_ft * FOOT], [15.0, aside_ft * FOOT]])
    line = UtilityLine("gas", "gas", ends, depth_ft and depth_ft * FOOT, 0.05)
    route, profile, rules, dig = laid(0.0, "C", plan=Plan(utilities=(line,)))
    (found,) = find_conflicts(route, profile, 0.5)
    cut = measure_excavation(profile, 0.0, LENGTH, dig, rules)
    near = find_structures(route.site, profile, cut, rules)
    assert bool(list_dug_into(walls, cut, near, (found,))) is told
    assert found.in_trench is (aside_ft < 1.0)
