"""A site much like one solved already: its line found from the other's, without a search."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from lateral_map.adjust.chain import lay_chain, turns_at_nodes
from lateral_map.adjust.ground import lay_ground
from lateral_map.adjust.possible import find_impossible
from lateral_map.adjust.route import (
    Found,
    System,
    as_route,
    build_system,
    first_azimuth,
    solve_system,
)
from lateral_map.errors import ImpossibleError
from lateral_map.model.arrays import Floats, sparse_product
from lateral_map.model.route import Route
from lateral_map.model.site import Site
from lateral_map.model.strip import Strip
from lateral_map.model.threads import one_blas_thread

_MOST_STEPS = 20


@dataclass(frozen=True)
class Fitted:
    """A site's best line: its equations, whitened residuals (m,), design (m, n), covariance."""

    system: System
    unknowns: Floats
    residuals: Floats
    design: Floats
    covariance: Floats | Strip

    @cached_property
    def spread(self) -> Floats:
        """A C (m, n), A being the design and C the covariance."""
        assert isinstance(self.covariance, np.ndarray)  # noqa: S101
        return sparse_product(self.design, self.covariance)

    @property
    def chi_square(self) -> float:
        """Sum of the squared whitened residuals."""
        return float(self.residuals @ self.residuals)

    @property
    def freedom(self) -> int:
        """Observations less unknowns."""
        return len(self.residuals) - self.system.layout.size


def fitted_of(route: Route) -> Fitted:
    """Return a route with its equations."""
    site = route.site
    first = first_azimuth(site, float(route.unknowns[route.layout.azimuth.start]))
    turns = turns_at_nodes(site, route.chain)
    system = build_system(site, route.chain, turns, route.ground, first)
    return Fitted(system, route.unknowns, route.residuals, route.design, route.covariance)


def fit_near(site: Site, near: Fitted, most_steps: int = _MOST_STEPS) -> Fitted:
    """Return a site's best line, the solver started from that of a site much like it.

    With no steps it is that line itself, under the site's own equations.
    Raises ``AdjustmentError`` where part of the line is undetermined.
    """
    system, found = _solve_near(site, near, most_steps)
    design, observed = system.linear.design, system.rows.observed
    return Fitted(
        system=system,
        unknowns=found.unknowns,
        residuals=np.concatenate([observed - design @ found.unknowns, found.residuals]),
        design=np.concatenate([design, found.design]),
        covariance=found.joint_covariance(),
    )


@one_blas_thread()
def adjust_near(site: Site, near: Fitted) -> Route:
    """Return a site's route as ``adjust_route`` does, started from that of a site much like it.

    Other lines that fit as well are not sought. Raises ``AdjustmentError`` where two locates lie
    farther apart than the footage between them allows, or part of the line is undetermined.
    """
    impossible = find_impossible(site)
    if impossible:
        raise ImpossibleError(impossible, site)
    return as_route(*_solve_near(site, near))


def _solve_near(site: Site, near: Fitted, most_steps: int = _MOST_STEPS) -> tuple[System, Found]:
    chain, old = lay_chain(site), near.system.chain
    layout, unknowns = near.system.layout, near.unknowns
    route = old.positions(unknowns, layout, chain.nodes_m)[:, :2]
    piece = old.piece_of((chain.nodes_m[:-1] + chain.nodes_m[1:]) / 2.0)
    azimuth, pitch = unknowns[layout.azimuth][piece], unknowns[layout.pitch][piece]
    ground, turns = lay_ground(site, chain, route), turns_at_nodes(site, chain)
    system = build_system(site, chain, turns, ground, first_azimuth(site, float(azimuth[0])))
    guess = np.zeros(system.layout.size)
    guess[:5] = unknowns[:5]
    guess[system.layout.azimuth], guess[system.layout.pitch] = azimuth, pitch
    return system, solve_system(system, guess, most_steps)
