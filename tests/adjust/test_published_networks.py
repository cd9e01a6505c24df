"""The solver and the dead reckoning against published worked examples.

F. Krumm, Geodetic Network Adjustment Examples, University of Stuttgart, Rev 3.5 (2020), as read
through the adjusted values that GNU Gama 2.24 ships with its tests; facts only, no file of theirs.
"""

from __future__ import annotations

import json

import numpy as np
import pytest

from lateral_map import build_report, load_site
from lateral_map.adjust.solve import LeastSquares, Linear, solve_least_squares
from lateral_map.model import noise
from lateral_map.model.route import Chain, Layout


def adjust_distances(fixed, start, measured, sd):
    """Adjust free points by measured distances; return places, a-posteriori covariance and s0."""
    names = list(start)
    first = np.array([start[name] for name in names], float).ravel()

    def place(unknowns, name):
        if name in fixed:
            return np.array(fixed[name])
        return unknowns[2 * names.index(name) : 2 * names.index(name) + 2]

    def evaluate(unknowns):
        residual, design = [], []
        for a, b, distance in measured:
            away = place(unknowns, b) - place(unknowns, a)
            length = np.hypot(*away)
            row = np.zeros(len(unknowns))
            for name, sign in ((a, -1.0), (b, 1.0)):
                if name in names:
                    index = 2 * names.index(name)
                    row[index : index + 2] = sign * away / length
            residual.append((distance - length) / sd)
            design.append(row / sd)
        return np.array(residual), np.array(design)

    size = len(first)
    found = solve_least_squares(
        LeastSquares(Linear.of(np.zeros((0, size))), np.zeros(0), evaluate), first
    )
    freedom = len(measured) - size
    s0 = np.sqrt(found.cost / freedom)
    return found.unknowns.reshape(-1, 2), found.normal.inverse() * s0**2, s0 * sd


def test_benning_quadrilateral():
    """Benning82_Distance_fix: coordinates, sd, s0 and ellipse."""
    places, covariance, s0 = adjust_distances(
        {"1": (0.0, 1000.0), "2": (1000.0, 1000.0)},
        {"3": (0.0, 0.0), "4": (1000.0, 0.0)},
        [
            ("1", "3", 1000.02),
            ("1", "4", 1414.20),
            ("2", "3", 1414.24),
            ("2", "4", 999.98),
            ("3", "4", 1000.00),
        ],
        0.01,
    )
    assert places == pytest.approx(np.array([[-0.0096, -0.0226], [999.9930, 0.0174]]), abs=6e-5)
    assert s0 == pytest.approx(6.8824e-3, abs=6e-8)
    expected = [
        [81.204, -27.069, 60.902, 20.301],
        [-27.069, 40.602, -20.300, -6.767],
        [60.902, -20.300, 81.200, 27.066],
        [20.301, -6.767, 27.066, 40.600],
    ]
    assert covariance * 1e6 == pytest.approx(np.array(expected), abs=6e-4)


def test_strang_borre_point():
    """StrangBorre_Distance_fix."""
    places, covariance, s0 = adjust_distances(
        {"1": (170.71, 270.71), "2": (100.0, 100.0), "3": (241.42, 100.0)},
        {"P": (170.0, 170.0)},
        [("1", "P", 100.01), ("2", "P", 100.02), ("3", "P", 100.03)],
        0.01,
    )
    assert places[0] == pytest.approx([170.7029, 170.7234], abs=6e-5)
    assert np.sqrt(np.diag(covariance)) * 100 == pytest.approx([3.303, 2.335], abs=6e-4)
    assert s0 * 100 == pytest.approx(3.3029, abs=6e-5)


def test_ghilani_trilateration_at_state_plane_size():
    """Ghilani14_5_Distance_fix: coordinates of millions lose nothing."""
    places, covariance, _ = adjust_distances(
        {"Badger": (2410000.0, 390000.0), "Bucky": (2411820.0, 386881.222)},
        {"Wisconsin": (2415776.0, 391043.0), "Campus": (2416893.0, 387603.0)},
        [
            ("Badger", "Wisconsin", 5870.302),
            ("Badger", "Campus", 7297.588),
            ("Wisconsin", "Campus", 3616.434),
            ("Wisconsin", "Bucky", 5742.878),
            ("Campus", "Bucky", 5123.760),
        ],
        0.01,
    )
    expected = [[2415776.9044, 391043.2945], [2416892.6955, 387603.2551]]
    assert places == pytest.approx(np.array(expected), abs=6e-5)
    sd = np.sqrt(np.diag(covariance)) * 100
    assert sd == pytest.approx([14.879, 22.061, 10.378, 27.054], abs=6e-3)


def dms(degrees, minutes, seconds):
    """Return radians of an angle in degrees, minutes and seconds."""
    return np.radians(degrees + minutes / 60.0 + seconds / 3600.0)


def test_krumm_traverse_dead_reckoning():
    """Krumm_Traverse1: the chain's own positions are the file's approximate coordinates."""
    turned = [dms(172, 53, 34), dms(185, 22, 14), dms(208, 26, 19)]
    azimuth = [dms(68, 15, 20.7) + turned[0]]
    for angle in turned[1:]:
        azimuth.append(azimuth[-1] + np.pi + angle)
    nodes = np.cumsum([0.0, 281.832, 271.300, 274.100])
    chain, layout = Chain(0.0, 0.0, nodes), Layout(3, 0, 0, (), (), 0)
    unknowns = np.zeros(layout.size)
    unknowns[:2] = 8478.139, 2483.826
    unknowns[layout.azimuth] = azimuth
    places = chain.positions(unknowns, layout, nodes[1:])[:, :2]
    expected = [
        [8231.2898089314, 2347.83058429498],
        [7982.4553931562, 2239.73283443029],
        [7709.38086, 2263.42060],
    ]
    assert places[:2] == pytest.approx(np.array(expected[:2]), abs=1e-8)
    assert places[2] == pytest.approx(np.array(expected[2]), abs=6e-6)


def test_krumm_traverse_adjusted():
    """Krumm_Traverse1 with both ends fixed: angles and distances, a-posteriori sd."""
    fixed = {"B": (8478.139, 2483.826), "E": (7709.336, 2263.411)}
    az_in, az_out = dms(68, 15, 20.7), dms(300, 11, 30.5)
    angles = [dms(172, 53, 34), dms(185, 22, 14), dms(208, 26, 19), dms(205, 13, 51)]
    distances, sd_distance, sd_angle = [281.832, 271.300, 274.100], 0.016, dms(0, 0, 10)

    def evaluate(unknowns):
        places = np.array([fixed["B"], unknowns[:2], unknowns[2:], fixed["E"]])
        leg = np.diff(places, axis=0)
        length = np.hypot(leg[:, 0], leg[:, 1])
        azimuth = np.arctan2(leg[:, 0], leg[:, 1])
        back = np.concatenate([[az_in], azimuth + np.pi])
        ahead = np.concatenate([azimuth, [az_out]])
        misfit = (np.array(angles) - (ahead - back) + np.pi) % (2 * np.pi) - np.pi
        to_length = np.zeros((3, 8))
        to_azimuth = np.zeros((3, 8))
        for i in range(3):
            unit = leg[i] / length[i]
            along, across = unit, np.array([leg[i, 1], -leg[i, 0]]) / length[i] ** 2
            to_length[i, 2 * i : 2 * i + 2], to_length[i, 2 * i + 2 : 2 * i + 4] = -along, along
            to_azimuth[i, 2 * i : 2 * i + 2] = -across
            to_azimuth[i, 2 * i + 2 : 2 * i + 4] = across
        to_angle = np.zeros((4, 8))
        to_angle[:3] += to_azimuth
        to_angle[1:] -= to_azimuth
        residual = np.concatenate([(np.array(distances) - length) / sd_distance, misfit / sd_angle])
        design = np.concatenate([to_length / sd_distance, to_angle / sd_angle])
        return residual, design[:, 2:6]

    start = np.array([8231.29, 2347.83, 7982.46, 2239.73])
    found = solve_least_squares(
        LeastSquares(Linear.of(np.zeros((0, 4))), np.zeros(0), evaluate), start
    )
    assert found.unknowns == pytest.approx([8231.2745, 2347.8218, 7982.4237, 2239.7178], abs=6e-5)
    s0 = np.sqrt(found.cost / 3)
    assert s0 * 1.6 == pytest.approx(1.8356, abs=6e-5)
    sd = np.sqrt(np.diag(found.normal.inverse())) * s0 * 100
    assert sd == pytest.approx([1.403, 0.999, 1.503, 0.860], abs=6e-4)


def test_norris_linear_fit():
    """NIST StRD Norris gives no room for a sloppy normal matrix; its data stand in the test."""
    y = [0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1,
         668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3,
         888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2]  # fmt: skip
    x = [0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5,
         666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1,
         887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5]  # fmt: skip
    design = np.column_stack([np.ones(len(x)), x])
    found = solve_least_squares(
        LeastSquares(Linear.of(design), np.array(y), lambda _: (np.zeros(0), np.zeros((0, 2)))),
        np.zeros(2),
    )
    assert found.unknowns == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-9)
    s0 = np.sqrt(found.cost / (len(x) - 2))
    sd = np.sqrt(np.diag(found.normal.inverse())) * s0
    assert sd == pytest.approx([0.232818234301152, 0.429796848199937e-3], rel=1e-8)


@pytest.mark.parametrize(("azimuth", "sd_cm"), [(90.0, 3.303), (0.0, 2.335)])
def test_tapes_of_strang_and_borre_lead_to_a_crossing(tmp_path, monkeypatch, azimuth, sd_cm):
    """StrangBorre_Distance_fix from folder to answer: three tapes, a mark, a curb 1 m past it.

    The pipe runs along one axis, and a start hardly known gives the mark alone a say: the crossing
    is a metre from the published point, as sure as that is along the pipe. Their s0 is the tapes'
    accuracy here, so that their standard deviations are those of the readings as stated, whose
    errors are normal there; a level pipe's transmitter lies right under its mark.
    """
    monkeypatch.setattr(noise, "_SITES_WITH_TAILS", 1e-12)
    east, north = 170.7029, 170.7234
    along = np.array([np.sin(np.radians(azimuth)), np.cos(np.radians(azimuth))])
    begin = np.array([east, north]) - 20.0 * along
    (tmp_path / "site.toml").write_text(
        'format = 1\n[site]\nname = "s"\ncrs = "local"\nunit = "m"\n'
        f"[start]\nx = {begin[0]}\ny = {begin[1]}\naccuracy = 5.0\ndepth = 2.0\n"
        f"azimuth = {azimuth}\nazimuth_accuracy = 0.001\n"
        "[counter]\nzero_accuracy = 0.0001\nscale_accuracy = 0.000001\n"
        "reading_accuracy = 0.0001\n[transmitter]\nbehind_lens = 0.0\n"
        "[accuracy]\ntape = 0.033029\ntape_fraction = 0.0\nmark = 0.0001\nmark_fraction = 0.0\n"
        "wander = 0.0001\nfall = 0.0001\nfall_accuracy = 0.0001\nfall_wander = 0.0001\n"
        "[run]\nend_footage = 30.0\n"
        '[[boundary]]\nline = "curb"\ninside = "owner"\noutside = "city"\ndecides = true\n'
    )
    (tmp_path / "locates.csv").write_text(
        "mark,footage,depth,tape1_from,tape1,tape2_from,tape2,tape3_from,tape3\n"
        "P,20,2,1,100.01,2,100.02,3,100.03\n"
    )
    across = np.array([along[1], -along[0]])
    curb = np.array([east, north]) + along + np.array([[-50.0], [50.0]]) * across
    fixed = {"1": (170.71, 270.71), "2": (100.0, 100.0), "3": (241.42, 100.0)}
    features = [
        {
            "type": "Feature",
            "properties": {"kind": kind, "name": name, "accuracy": 0.0001},
            "geometry": {"type": shape, "coordinates": places},
        }
        for kind, name, shape, places in (
            ("curb", "curb", "LineString", curb.tolist()),
            *(("reference", name, "Point", list(place)) for name, place in fixed.items()),
        )
    ]
    plan = {"type": "FeatureCollection", "features": features}
    (tmp_path / "plan.geojson").write_text(json.dumps(plan))
    (crossing,) = build_report(load_site(tmp_path)).crossings
    place = np.array([crossing.easting_m, crossing.northing_m])
    assert place == pytest.approx(np.array([east, north]) + along, abs=2e-4)
    assert crossing.footage_m == pytest.approx(21.0, abs=2e-4)
    assert crossing.sd_footage_m * 100 == pytest.approx(sd_cm, abs=0.01)
