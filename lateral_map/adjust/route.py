"""A site's readings to one adjusted route."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from lateral_map.adjust.chain import (
    Turns,
    lay_chain,
    turns_at_nodes,
)
from lateral_map.adjust.ground import floor_under_start, has_surface, lay_ground
from lateral_map.adjust.long import LongEquations, LongSolution, settle_long, solve_long
from lateral_map.adjust.possible import find_impossible
from lateral_map.adjust.prior import (
    UNKNOWN_DEPTH_SD_M,
    LinearRows,
    prior_rows,
    tied_locates,
)
from lateral_map.adjust.rivals import other_places
from lateral_map.adjust.solve import (
    MOST_STEPS,
    LeastSquares,
    Linear,
    Settled,
    Solution,
    rounded,
    settle,
    solve_least_squares,
)
from lateral_map.adjust.starts import first_azimuths, first_guess, squared_misses
from lateral_map.adjust.ties import (
    Ties,
    curvature,
    evaluate_ties,
    gather_ties,
    loosen_ties,
    marks_of,
    split_unknowns,
)
from lateral_map.adjust.transmitter import near_vertical_bend_deg
from lateral_map.errors import AdjustmentError, Fault, ImpossibleError
from lateral_map.model.arrays import Floats
from lateral_map.model.expected import UNKNOWN_DEPTH_M
from lateral_map.model.route import Alternative, Chain, Ground, Layout, Route
from lateral_map.model.site import Site
from lateral_map.model.threads import one_blas_thread

# Two solutions whose costs differ by less than the 95 % point of chi-square with 2 degrees of
# freedom cannot be told apart by the readings.
_ABOUT_AS_WELL = 5.991
_SAME_PLACE_M = 0.3
_MOST_UNKNOWN_LINES = 24
# With fewer ties than this a solve of as many equations is as quick as eliminating the marks first.
_WORTH_SPLITTING = 150
# A cost this many times its freedom is worth a second, gentler try.
_POOR = 1.5
_LOOSENED_M = (3.0, 1.0, 0.3)
# Of 512 mirror images of made-up lines those 45 that led to another line missed their ties by 0.2
# at most, the mean square over what dead reckoning may have drifted; most others by 50 and more.
_TOO_FAR_OFF = 4.0
# The all-but-empty prior of an azimuth weighs some 1e-4 of what ties say of it, and is centred so
# well: together far less than anybody reads.
_CENTRE_RAD = 2.0**-12
# About how many of the lines that fit others are looked for.
_MOST_LOOKED_ROUND = 3


Found = Solution | LongSolution


@dataclass(frozen=True)
class System:
    """One site's equations: linear rows, ties, and where the unknowns stand."""

    site: Site
    chain: Chain
    layout: Layout
    ground: Ground
    rows: LinearRows
    ties: Ties
    # The linear part of equations that differ in what was observed alone.
    like: Linear | None = None

    @cached_property
    def linear(self) -> Linear:
        """The linear equations, each locate's own unknowns apart where that saves anything."""
        if self.like is not None:
            return self.like
        many = self.ties.count >= _WORTH_SPLITTING
        return self.rows.linear(split_unknowns(self.ties, self.layout) if many else None)

    @cached_property
    def long(self) -> LongEquations:
        """The same where the run is long."""
        return LongEquations(self.chain, self.layout, self.rows, self.ties)

    @property
    def freedom(self) -> int:
        """Equations less unknowns."""
        return self.rows.count + self.ties.count - self.layout.size

    def turned(self, turn_rad: float) -> System:
        """Return the equations with the azimuth expected at the start turned, as sure as before."""
        like = None if self.layout.is_long else self.linear
        return replace(self, rows=self.rows.turned(self.layout.azimuth, turn_rad), like=like)

    @cached_property
    def problem(self) -> LeastSquares:
        """What the solver makes as small as can be."""
        bends = None if self.linear.split is not None else self.curvature
        return LeastSquares(self.linear, self.rows.observed, self.evaluate, bends)

    def curvature(self, unknowns: Floats, residuals: Floats) -> Floats:
        """Return what the ties' curvature adds to the normal matrix at given unknowns."""
        return curvature(self.ties, self.layout, unknowns, residuals)

    def evaluate(self, unknowns: Floats) -> tuple[Floats, Floats]:
        """Return whitened residuals and design of the ties and depths."""
        return evaluate_ties(self.ties, self.layout, unknowns)


@one_blas_thread()
def adjust_route(site: Site) -> Route:
    """Return the route that fits a site's readings best, with its joint covariance.

    Weighted non-linear least squares over start, counter, directions, marks, and the shifts of
    mapped lines and points. Raises ``ImpossibleError`` where two locates lie farther apart than
    the footage between them allows, ``AdjustmentError`` where part of the line is undetermined.
    """
    impossible = find_impossible(site)
    if impossible:
        raise ImpossibleError(impossible, site)
    return fit_route(site)


@one_blas_thread()
def fit_route(site: Site) -> Route:
    """Return the route that fits best, be the readings possible or not; no answer rests on it."""
    return as_route(*solve_site(site))


def as_route(system: System, solution: Found, alternatives: tuple[Alternative, ...] = ()) -> Route:
    """Return a solved site's route, settled to the same bits on every processor."""
    site = system.site
    settled: Settled | LongSolution
    if isinstance(solution, LongSolution):
        settled = settle_long(system.long, solution)
    else:
        settled = settle(system.problem, solution)
    used = site.used_locates()
    expected = site.expected_depths_m
    tilted = [(one.mark, near_vertical_bend_deg(site, one, expected[one.mark])) for one in used]
    assumed = None if site.start.depth_m is not None else (UNKNOWN_DEPTH_M, UNKNOWN_DEPTH_SD_M)
    return Route(
        site=site,
        chain=system.chain,
        layout=system.layout,
        ground=system.ground,
        unknowns=settled.unknowns,
        covariance=settled.covariance,
        residuals=settled.residuals,
        design=settled.design,
        observations=tuple(system.rows.observations),
        alternatives=alternatives,
        tied_footages_m=np.array([site.transmitter_footage_m(one) for one in tied_locates(site)]),
        iterations=solution.steps,
        settled=settled.settled,
        assumed_start_depth_m=assumed,
        tilted=tuple((mark, bend_deg) for mark, bend_deg in tilted if bend_deg),
    )


def solve_site(site: Site) -> tuple[System, Found, tuple[Alternative, ...]]:
    """Return a site's equations, their best solution, and the others that fit as well."""
    chain, start = lay_chain(site), site.start
    turns = turns_at_nodes(site, chain)
    at_start = np.tile([start.easting_m, start.northing_m], (len(chain.nodes_m), 1))
    solutions = _solve_all(site, chain, turns, lay_ground(site, chain, at_start))
    kept = _distinct(solutions, chain)
    lines = [
        chain.positions(one.unknowns, formed.layout, chain.nodes_m)[:, :2] for formed, one in kept
    ]
    system, solution = solutions[0]
    if has_surface(site) or floor_under_start(site) is not None:
        # Find the wall and read the spot levels again under the solved line, and solve once more.
        first = first_azimuth(site, float(solution.unknowns[system.layout.azimuth.start]))
        system = build_system(site, chain, turns, lay_ground(site, chain, lines[0]), first)
        solution = solve_system(system, solution.unknowns)
    return system, solution, _weigh([one for _, one in kept], lines)


def _weigh(solutions: list[Found], lines: list[Floats]) -> tuple[Alternative, ...]:
    """Return all solutions but the first with their weights: likelihood times root determinant.

    That is Laplace's approximation of how much each valley of the cost holds.
    """
    if len(solutions) < 2:
        return ()
    logs = np.array([-(one.cost + one.log_determinant) / 2.0 for one in solutions], float)
    weights = np.exp(logs - logs.max())
    # Byte for byte the same on every processor: far below what anybody reads.
    weights = np.round(weights / weights.sum(), 6)
    return tuple(
        Alternative(line, one.unknowns, one.joint_covariance(), one.cost, float(weight))
        for line, one, weight in zip(lines[1:], solutions[1:], weights[1:], strict=True)
    )


def build_system(
    site: Site, chain: Chain, turns: Turns, ground: Ground, first_azimuth: tuple[float, float]
) -> System:
    """Return a site's equations; ``first_azimuth`` is (azimuth, 1 sd) in radians."""
    used = site.used_locates()
    taped = {site.start.point, *(tie.point for one in used for tie in one.ties)}
    layout = Layout(
        pieces=len(chain.nodes_m) - 1,
        marks=len(tied_locates(site)),
        readings=len(used),
        lines=_unknown_lines(site),
        points=tuple(p.name for p in site.plan.points if p.sd_m > 0.0 and p.name in taped),
        knots=len(ground.correction_knots_m),
    )
    rows = prior_rows(site, chain, layout, ground, turns, first_azimuth)
    ties = gather_ties(site, chain, layout, ground, rows)
    return System(site, chain, layout, ground, rows, ties)


def _unknown_lines(site: Site) -> tuple[str, ...]:
    """Return the lines whose shift is an unknown: those anything hangs on, and the nearest.

    A district's thousands of lines would each be one, though no reading tells of them: how far such
    a line is off is known as well without solving for it.
    """
    lines = [line for line in site.plan.lines if line.sd_m > 0.0]
    if len(lines) > _MOST_UNKNOWN_LINES:
        kept = {tie.line for one in site.used_locates() for tie in one.ties}
        kept |= {boundary.line for boundary in site.boundaries}
        kept |= set() if site.plan.sketch is None else set(site.plan.sketch.lines)
        here = np.array([site.start.easting_m, site.start.northing_m])
        near = sorted(lines, key=lambda line: np.hypot(*(line.vertices_m - here).T).min())
        kept |= {line.name for line in near[:_MOST_UNKNOWN_LINES]}
        lines = [line for line in lines if line.name in kept]
    return tuple(line.name for line in lines)


def _solve_all(
    site: Site, chain: Chain, turns: Turns, ground: Ground
) -> list[tuple[System, Found]]:
    """Solve from every start worth trying; best first.

    A later start is left as soon as it cannot lead to a line that fits about as well as the best.
    """
    measured, (expected, sd_expected) = site.start.azimuth_deg, first_azimuth(site, 0.0)
    system = build_system(site, chain, turns, ground, (expected, sd_expected))
    starts = first_azimuths(site, chain, system.layout, turns, system.ties)
    solved: list[tuple[System, Found]] = []
    worth = math.inf
    for azimuth, sd in starts:
        if measured is None and sd != sd_expected:
            system = build_system(site, chain, turns, ground, (azimuth, sd))
        elif measured is None:
            system = system.turned(azimuth - expected)
        expected, sd_expected = azimuth, sd
        guess = first_guess(site, system.layout, turns, azimuth)
        level = float(ground.elevation(chain.zero_m)[0])
        guess[system.layout.elevation] = level - (site.start.depth_m or 1.0)
        solution = solve_system(system, guess, worth_reaching=worth)
        if measured is None and solution.cost <= worth:
            # Centre the all-but-empty prior on what was found, so that where the tries began
            # leaves no trace.
            found = float(solution.unknowns[system.layout.azimuth.start])
            expected, _ = first_azimuth(site, found)
            system = system.turned(expected - azimuth)
            solution = solve_system(system, solution.unknowns)
        solved.append((system, solution))
        if _is_poor_in_plan(system, solution):
            gentler = _solve_loosened(system, guess, worth)
            solved += [] if gentler is None else [(system, gentler)]
        worth = min(one.cost for _, one in solved) + _ABOUT_AS_WELL
        # What the all-but-empty prior costs where it is not centred yet.
        worth += 1.0 if measured is None else 0.0
    return sorted([*solved, *_solve_round(solved, chain)], key=lambda pair: pair[1].cost)


def _solve_round(solved: list[tuple[System, Found]], chain: Chain) -> list[tuple[System, Found]]:
    """Solve about each line that fits, with its marks at the other places their tapes leave."""
    found: list[tuple[System, Found]] = []
    for near, fitted in _distinct(solved, chain)[:_MOST_LOOKED_ROUND]:
        if isinstance(fitted, LongSolution):
            continue
        mark, jacobian = marks_of(near.ties, near.layout, fitted.unknowns)
        may_fit = functools.partial(_may_fit, near)
        for guess in other_places(near.ties, fitted, mark, jacobian, near.layout.azimuth, may_fit):
            worth = min(one.cost for _, one in [*solved, *found]) + _ABOUT_AS_WELL
            found.append((near, solve_system(near, guess, worth_reaching=worth)))
    return found


def _may_fit(system: System, guess: Floats) -> bool:
    """Say whether ties are not too far from a guess's marks for any line about it to fit them."""
    ties, marks = system.ties, marks_of(system.ties, system.layout, guess)[0]
    misses = float(squared_misses(system.site, system.chain, ties, marks))
    return misses <= _TOO_FAR_OFF * ties.count_in_plan


def _is_poor_in_plan(system: System, solution: Found) -> bool:
    """Say whether the readings miss a line by much, and in plan, where ties can trap the solver."""
    depths = len(system.ties.depth_row)
    if solution.cost <= _POOR * system.freedom or depths == system.ties.count:
        return False
    if isinstance(solution, LongSolution):
        layout = system.layout
        upright = solution.covariance.kinds(layout.elevation, layout.ground)[1]
        level = solution.residuals[~upright]
        return float(level @ level) > _POOR * (system.freedom - depths)
    missed = system.rows.observed - system.linear.design @ solution.unknowns
    chi_square, freedom = misfit_in_plan(system, np.concatenate([missed, solution.residuals]))
    return chi_square > _POOR * freedom


def misfit_in_plan(system: System, residuals: Floats) -> tuple[float, int]:
    """Return the chi-square of a line's whitened residuals (m,) in plan, and its freedom.

    What hangs on nothing but heights is left out: of it there are as many equations as unknowns,
    and the depths read.
    """
    layout, depths, linear = system.layout, len(system.ties.depth_row), system.rows.count
    heights = np.zeros(layout.size, bool)
    heights[layout.elevation] = heights[layout.pitch] = heights[layout.ground] = True
    level = residuals[:linear][system.linear.design[:, ~heights].any(axis=1)]
    tied = residuals[linear : len(residuals) - depths]
    return float(level @ level + tied @ tied), len(residuals) - layout.size - depths


def _solve_loosened(system: System, guess: Floats, worth: float) -> Found | None:
    """Return the solution found by tightening the ties step by step, None where it is not worth it.

    A mark taped from points nearly in line with it has a mirror image close by, where the solver
    can be caught; with loose ties the pipe's own straightness chooses first.
    """
    for slack in _LOOSENED_M:
        loose = replace(system, ties=loosen_ties(system.ties, slack))
        found = solve_system(loose, guess, worth_reaching=worth)
        if found.cost > worth:  # with tight ties it costs no less
            return None
        guess = found.unknowns
    return solve_system(system, guess, worth_reaching=worth)


def _distinct(solved: list[tuple[System, Found]], chain: Chain) -> list[tuple[System, Found]]:
    """Return the solutions that fit about as well as the best and lie apart, best first."""
    ordered = sorted(solved, key=lambda pair: pair[1].cost)
    kept: list[tuple[System, Found]] = []
    lines: list[Floats] = []
    for system, solution in ordered:
        if solution.cost - ordered[0][1].cost > _ABOUT_AS_WELL:
            break
        line = chain.positions(solution.unknowns, system.layout, chain.nodes_m)[:, :2]
        if all(np.hypot(*(line - other).T).max() > _SAME_PLACE_M for other in lines):
            lines.append(line)
            kept.append((system, solution))
    return kept


def first_azimuth(site: Site, found_rad: float) -> tuple[float, float]:
    """Return the first azimuth as known beforehand, with 1 sd, radians.

    Where nobody measured it the prior stands near what was found and is all but empty. Where the
    steps to that ended, which is another place on another processor, leaves no trace in it.
    """
    start = site.start
    if start.azimuth_deg is None:
        return float(rounded(np.array(found_rad), _CENTRE_RAD)), np.pi
    return float(np.radians(start.azimuth_deg)), float(np.radians(start.sd_azimuth_deg))


def solve_system(
    system: System,
    guess: Floats,
    most_steps: int = MOST_STEPS,
    worth_reaching: float = math.inf,
) -> Found:
    """Return a system's solution from a guess (n,), unsettled where it is not ``worth_reaching``.

    Raises ``AdjustmentError`` where the readings leave part of the line undetermined.
    """
    try:
        if system.layout.is_long:
            return solve_long(system.long, guess, worth_reaching)
        return solve_least_squares(system.problem, guess, most_steps, worth_reaching)
    except np.linalg.LinAlgError:
        raise AdjustmentError(
            Fault(
                "the readings leave part of the line undetermined",
                "add a tie, or give the start an azimuth",
                file=system.site.name,
            )
        ) from None
