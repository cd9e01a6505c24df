"""A site's readings to one adjusted route."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from lateral_map.adjust.chain import (
    Turns,
    lay_chain,
    turns_at_nodes,
)
from lateral_map.adjust.ground import has_surface, lay_ground
from lateral_map.adjust.possible import find_impossible
from lateral_map.adjust.prior import (
    UNKNOWN_DEPTH_M,
    UNKNOWN_DEPTH_SD_M,
    LinearRows,
    prior_rows,
    tied_locates,
)
from lateral_map.adjust.solve import Solution, gram_matrix, settle, solve_least_squares
from lateral_map.adjust.starts import first_azimuths, first_guess
from lateral_map.adjust.ties import Ties, evaluate_ties, gather_ties, loosen_ties
from lateral_map.adjust.transmitter import near_vertical_bend_deg
from lateral_map.errors import AdjustmentError, Fault
from lateral_map.model.arrays import Floats
from lateral_map.model.route import Chain, Ground, Layout, Route
from lateral_map.model.site import Site, TapeTie

# Two solutions whose costs differ by less than the 95 % point of chi-square with 2 degrees of
# freedom cannot be told apart by the readings.
_ABOUT_AS_WELL = 5.991
_SAME_PLACE_M = 0.3
# A cost this many times its freedom is worth a second, gentler try.
_POOR = 1.5
_LOOSENED_M = (3.0, 1.0, 0.3)


@dataclass(frozen=True)
class System:
    """One site's equations: linear rows, ties, and where the unknowns stand."""

    site: Site
    chain: Chain
    layout: Layout
    ground: Ground
    rows: LinearRows
    ties: Ties

    def evaluate(self, unknowns: Floats) -> tuple[Floats, Floats]:
        """Return whitened residuals and design of the ties and depths."""
        return evaluate_ties(self.ties, self.chain, self.layout, self.ground, unknowns)


def adjust_route(site: Site) -> Route:
    """Return the route that fits a site's readings best, with its joint covariance.

    Weighted non-linear least squares over start, counter, directions, marks, and the shifts of
    mapped lines and points. Raises ``AdjustmentError`` where two locates lie farther apart than
    the footage between them allows.
    """
    impossible = find_impossible(site)
    if impossible:
        raise AdjustmentError(impossible)
    system, solution, alternatives = solve_site(site)
    return _finish(system, solution, alternatives)


def solve_site(site: Site) -> tuple[System, Solution, tuple[Floats, ...]]:
    """Return a site's equations, their best solution, and the plan lines that fit as well."""
    chain = lay_chain(site)
    turns = turns_at_nodes(site, chain)
    guess_ground = lay_ground(site, chain, _at_start(site, chain))
    solutions = _solve_all(site, chain, turns, guess_ground)
    system, solution = solutions[0]
    if has_surface(site):
        system, solution = _solve_on_surface(system, solution, turns)
    return system, solution, _alternatives(solutions)


def _at_start(site: Site, chain: Chain) -> Floats:
    here = [site.start.easting_m, site.start.northing_m]
    return np.tile(here, (len(chain.nodes_m), 1))


def _lay_out(site: Site, chain: Chain, ground: Ground) -> Layout:
    taped = {
        tie.point for one in site.used_locates() for tie in one.ties if isinstance(tie, TapeTie)
    }
    taped |= {site.start.point} if site.start.point else set()
    return Layout(
        pieces=len(chain.nodes_m) - 1,
        marks=len(tied_locates(site)),
        readings=len(site.used_locates()),
        lines=tuple(line.name for line in site.plan.lines if line.sd_m > 0.0),
        points=tuple(p.name for p in site.plan.points if p.sd_m > 0.0 and p.name in taped),
        knots=len(ground.correction_knots_m),
    )


def build_system(
    site: Site, chain: Chain, turns: Turns, ground: Ground, first_azimuth: tuple[float, float]
) -> System:
    """Return a site's equations; ``first_azimuth`` is (azimuth, 1 sd) in radians."""
    layout = _lay_out(site, chain, ground)
    rows = prior_rows(site, chain, layout, ground, turns, first_azimuth)
    ties = gather_ties(site, layout, rows)
    return System(site, chain, layout, ground, rows, ties)


def _solve_all(
    site: Site, chain: Chain, turns: Turns, ground: Ground
) -> list[tuple[System, Solution]]:
    """Solve from every start worth trying; best first."""
    measured = site.start.azimuth_deg
    prior = (np.radians(measured or 0.0), np.radians(site.start.sd_azimuth_deg))
    system = build_system(site, chain, turns, ground, prior)
    starts = first_azimuths(site, chain, system.layout, turns, system.ties)
    solved = []
    for azimuth, sd in starts:
        if measured is None:
            system = build_system(site, chain, turns, ground, (azimuth, sd))
        guess = first_guess(site, system.layout, turns, azimuth)
        level = float(ground.elevation(chain.zero_m)[0])
        guess[system.layout.elevation] = level - (site.start.depth_m or 1.0)
        solution = _solve(system, guess)
        if measured is None:
            # Centre the all-but-empty prior on what was found, so that where the tries began
            # leaves no trace.
            found = float(solution.unknowns[system.layout.azimuth.start])
            system = build_system(site, chain, turns, ground, (found, sd))
            solution = _solve(system, solution.unknowns)
        solved.append((system, solution))
        freedom = len(solution.residuals) + system.rows.count - system.layout.size
        if solution.cost > _POOR * freedom:
            solved.append((system, _solve_gently(system, guess)))
    return sorted(solved, key=lambda pair: pair[1].cost)


def _solve_gently(system: System, guess: Floats) -> Solution:
    """Solve with the ties loosened, then ever less so.

    A mark taped from points nearly in line with it has a mirror image close by, where the solver
    can be caught; with loose ties the pipe's own straightness chooses the right one first.
    """
    for slack in _LOOSENED_M:
        loose = replace(system, ties=loosen_ties(system.ties, slack))
        guess = _solve(loose, guess).unknowns
    return _solve(system, guess)


def _solve(system: System, guess: Floats) -> Solution:
    design, observed = system.rows.stacked()
    try:
        return solve_least_squares(design, observed, gram_matrix(design), system.evaluate, guess)
    except np.linalg.LinAlgError:
        raise AdjustmentError(
            Fault(
                "the readings leave part of the line undetermined",
                "add a tie, or give the start an azimuth",
                file=system.site.name,
            )
        ) from None


def _solve_on_surface(system: System, solution: Solution, turns: Turns) -> tuple[System, Solution]:
    """Read the spot levels off again under the solved line, and solve once more."""
    site, chain = system.site, system.chain
    nodes = chain.positions(solution.unknowns, system.layout, chain.nodes_m)[:, :2]
    ground = lay_ground(site, chain, nodes)
    measured = site.start.azimuth_deg
    if measured is None:
        first = (float(solution.unknowns[system.layout.azimuth.start]), np.pi)
    else:
        first = (np.radians(measured), np.radians(site.start.sd_azimuth_deg))
    again = build_system(site, chain, turns, ground, first)
    return again, _solve(again, solution.unknowns)


def _alternatives(solutions: list[tuple[System, Solution]]) -> tuple[Floats, ...]:
    """Return the plan lines of other solutions that fit about as well as the best."""
    kept: list[Floats] = []
    for system, solution in solutions:
        if solution.cost - solutions[0][1].cost > _ABOUT_AS_WELL:
            continue
        nodes = system.chain.positions(solution.unknowns, system.layout, system.chain.nodes_m)
        line = nodes[:, :2]
        if all(np.hypot(*(line - other).T).max() > _SAME_PLACE_M for other in kept):
            kept.append(line)
    return tuple(kept[1:])


def _finish(system: System, solution: Solution, alternatives: tuple[Floats, ...]) -> Route:
    settled = settle(*system.rows.stacked(), system.evaluate, solution)
    return Route(
        site=system.site,
        chain=system.chain,
        layout=system.layout,
        ground=system.ground,
        unknowns=settled.unknowns,
        covariance=settled.covariance,
        residuals=settled.residuals,
        design=settled.design,
        observations=tuple(system.rows.observations),
        alternatives=alternatives,
        tied_footages_m=np.array(
            [system.site.transmitter_footage_m(one) for one in tied_locates(system.site)]
        ),
        iterations=solution.steps,
        settled=solution.settled,
        assumed_start_depth_m=None
        if system.site.start.depth_m is not None
        else (UNKNOWN_DEPTH_M, UNKNOWN_DEPTH_SD_M),
        tilted=tuple(
            (one.mark, bend)
            for one in system.site.used_locates()
            if (bend := near_vertical_bend_deg(system.site, one))
        ),
    )
