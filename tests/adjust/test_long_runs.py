"""A long run is solved piece by piece; what comes out is that of one matrix of all unknowns."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from truth.jobs import draw_job
from truth.simulate import simulate

import lateral_map.model.route
from lateral_map.adjust.chain import turns_at_nodes
from lateral_map.adjust.long import settle_long, solve_long
from lateral_map.adjust.prior import lower_of_tridiagonal
from lateral_map.adjust.route import System, build_system, first_azimuth, solve_site, solve_system
from lateral_map.model.halving import Halved
from lateral_map.model.pieces import Pieces
from lateral_map.model.site import Site

seeds = st.integers(0, 10_000)


def with_nulls(site: Site) -> Site:
    """Give every second locate's depth by its nulls too, so that two depths share a ground."""
    return replace(
        site,
        locates=tuple(
            replace(one, nulls_m=1.9) if index % 2 else one
            for index, one in enumerate(site.locates)
        ),
    )


def with_twins(site: Site) -> Site:
    """Repeat every locate at its own footage, so that two lie on one piece."""
    twins = (replace(one, mark=f"{one.mark} again") for one in site.locates)
    return replace(site, locates=(*site.locates, *twins))


CHANGES = {"as drawn": lambda site: site, "nulls": with_nulls, "twins": with_twins}


def as_long(system: System, unknowns: np.ndarray) -> System:
    """Return a site's equations as those of a long run."""
    site, chain = system.site, system.chain
    first = first_azimuth(site, float(unknowns[system.layout.azimuth.start]))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lateral_map.model.route, "MOST_WRITTEN_OUT", -1)
        return build_system(site, chain, turns_at_nodes(site, chain), system.ground, first)


def as_written(system: System, unknowns: np.ndarray) -> System:
    """Return a site's equations about a line with the prior azimuth centred on it."""
    site, chain = system.site, system.chain
    first = first_azimuth(site, float(unknowns[system.layout.azimuth.start]))
    return build_system(site, chain, turns_at_nodes(site, chain), system.ground, first)


@settings(max_examples=25, deadline=None)
@given(seeds, st.booleans(), st.sampled_from([*CHANGES]))
def test_every_part_of_the_covariance_is_that_of_the_whole_matrix(seed, is_job, change):
    site = CHANGES[change](draw_job(seed)[0] if is_job else simulate(seed)[0])
    system, solution, _ = solve_site(site)
    long = as_long(system, solution.unknowns).long
    rng = np.random.default_rng(seed)
    # Away from the solution, so that every error is at work in every derivative.
    unknowns = solution.unknowns + rng.normal(0.0, 0.01, system.layout.size)
    residuals, strip = long.about(unknowns)
    written = as_written(system, solution.unknowns)
    linear, observed = written.linear.design, written.rows.observed
    missed, rest = system.evaluate(unknowns)
    expected = np.concatenate([observed - linear @ unknowns, missed])
    assert residuals == pytest.approx(expected, rel=1e-9, abs=1e-8)
    design = np.concatenate([linear, rest])
    covariance = np.linalg.inv(design.T @ design)
    sd, spread = np.sqrt(np.diag(covariance)), design @ covariance
    step, promised = strip.step(residuals)
    assert step / sd == pytest.approx(spread.T @ residuals / sd, rel=1e-9, abs=1e-8)
    assert promised == pytest.approx(np.square(design @ step).sum(), rel=1e-8)
    assert strip.diagonal() == pytest.approx(np.square(sd), rel=1e-9)
    vectors = rng.normal(size=(len(sd), 3)) / sd[:, None]
    assert strip @ vectors / sd[:, None] == pytest.approx(
        covariance @ vectors / sd[:, None], abs=1e-8
    )
    assert vectors.T @ strip == pytest.approx((strip @ vectors).T)
    assert strip.seen(vectors) == pytest.approx(spread @ vectors, abs=1e-8)
    rows = rng.normal(size=(len(design), 2))
    assert strip.followed(rows) == pytest.approx(spread @ (design.T @ rows), abs=1e-8)
    followed = np.einsum("mn,mn->m", spread, design)
    assert strip.spread_diagonal == pytest.approx(followed, rel=1e-9, abs=1e-9)
    assert strip.column(system.layout.scale) == pytest.approx(
        covariance[:, system.layout.scale], rel=1e-6, abs=1e-12
    )
    # A turn between two pieces that nobody noted.
    walk = long.rows.walks[0]
    node = int(rng.integers(len(walk.main)))
    mark = np.zeros(len(design))
    mark[walk.rows] = walk.steps(np.eye(len(walk.main))[node])
    checked = mark @ mark - mark @ spread @ (design.T @ mark)
    assert strip.of_turns[node, 0] == pytest.approx(checked, rel=1e-7, abs=1e-9 * mark @ mark)


@settings(max_examples=20, deadline=None)
@given(seeds, st.booleans())
def test_places_are_as_sure_as_the_whole_matrix_has_them(seed, is_job):
    site = draw_job(seed)[0] if is_job else simulate(seed)[0]
    system, solution, _ = solve_site(site)
    long, unknowns = as_long(system, solution.unknowns).long, solution.unknowns
    strip, layout = long.about(unknowns)[1], system.layout
    design = np.concatenate([system.linear.design, system.evaluate(unknowns)[1]])
    covariance = np.linalg.inv(design.T @ design)
    chain = system.chain
    footage = np.linspace(chain.zero_m - 1.0, chain.nodes_m[-1] + 5.0, 57)
    footage = np.concatenate([footage, chain.nodes_m])
    place = Pieces(chain, layout, unknowns).at(footage)
    position, jacobian = chain.position_jacobian(unknowns, layout, footage)
    assert place.position == pytest.approx(position, abs=1e-9)
    common = np.zeros((len(footage), 3, len(strip.order.common)))
    common[:, :, :5] = place.common
    found = strip.blocks(place.piece, place.state, common)
    assert found == pytest.approx(
        jacobian @ covariance @ jacobian.swapaxes(1, 2), rel=1e-8, abs=1e-12
    )
    with_scale = strip.with_common(place.piece, place.state, common, layout.scale)
    assert with_scale == pytest.approx(jacobian @ covariance[:, layout.scale], rel=1e-7, abs=1e-13)
    changes = design[long.rows.walks[0].rows]
    pulled = jacobian @ covariance @ changes.T
    of_pipe = strip.of_pipe(place.piece, place.state, common)
    assert of_pipe == pytest.approx(pulled @ pulled.swapaxes(1, 2), rel=1e-7, abs=1e-12)


@settings(max_examples=15, deadline=None)
@given(seeds, st.booleans())
def test_the_steps_lead_to_the_same_line(seed, is_job):
    site = draw_job(seed)[0] if is_job else simulate(seed)[0]
    system, solution, _ = solve_site(site)
    if not solution.settled:
        return
    found = solve_long(as_long(system, solution.unknowns).long, solution.unknowns)
    again = solve_system(as_written(system, solution.unknowns), solution.unknowns)
    sd = np.sqrt(found.covariance.diagonal())
    assert found.cost == pytest.approx(again.cost, rel=1e-9, abs=1e-9)
    assert found.unknowns / sd == pytest.approx(again.unknowns / sd, abs=1e-5)
    settled = settle_long(as_long(system, solution.unknowns).long, found)
    assert settled.unknowns / sd == pytest.approx(again.unknowns / sd, abs=1e-5)


def test_two_lines_differ_in_weight_as_the_whole_matrix_has_it():
    site = simulate(3)[0]
    system, solution, _ = solve_site(site)
    long = as_long(system, solution.unknowns).long
    moved = solution.unknowns.copy()
    moved[system.layout.azimuth] += np.linspace(0.0, 0.5, system.layout.pieces)
    logs = []
    for unknowns in (solution.unknowns, moved):
        design = np.concatenate([system.linear.design, system.evaluate(unknowns)[1]])
        whole = np.linalg.slogdet(design.T @ design)[1]
        logs.append(whole - long.about(unknowns)[1].log_determinant)
    assert logs[0] == pytest.approx(logs[1], abs=1e-8)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 7, 8, 33])
def test_blocks_halved_are_those_of_the_whole_matrix(count):
    rng, size = np.random.default_rng(count), 3
    whole = rng.normal(size=(count * size, count * size))
    whole = whole + whole.T + 20.0 * np.eye(count * size)
    cut = whole.reshape(count, size, count, size).swapaxes(1, 2)
    index = np.arange(count)
    kept = np.abs(index[:, None] - index) <= 1
    cut = cut * kept[:, :, None, None]
    whole = cut.swapaxes(1, 2).reshape(count * size, count * size)
    halved = Halved(cut[index, index], cut[index[:-1], index[1:]])
    wanted = rng.normal(size=(count, size, 2))
    solved = np.linalg.solve(whole, wanted.reshape(-1, 2))
    assert halved.solve(wanted).reshape(-1, 2) == pytest.approx(solved, rel=1e-9, abs=1e-12)
    inverse = np.linalg.inv(whole).reshape(count, size, count, size).swapaxes(1, 2)
    assert halved.inverse_blocks() == pytest.approx(inverse[index, index], rel=1e-9, abs=1e-12)
    assert halved.log_determinant == pytest.approx(np.linalg.slogdet(whole)[1])


def test_a_tridiagonal_matrix_has_a_factor_of_two_diagonals():
    diagonal, beside = np.array([2.0, 3.0, 1.5]), np.array([0.7, -0.4])
    whole = np.diag(diagonal) + np.diag(beside, 1) + np.diag(beside, -1)
    main, below = lower_of_tridiagonal(diagonal, beside)
    assert np.diag(main) + np.diag(below, -1) == pytest.approx(np.linalg.cholesky(whole))
