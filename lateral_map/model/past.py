"""How far past a plan line the route lies, jointly with the line's own shift.

Past is positive beyond the line as seen from the start. The line meant is the real one: the mapped
line moved by its adjusted shift.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike

from lateral_map.model.arrays import Floats, in_row
from lateral_map.model.lines import signed_distances, signed_offsets
from lateral_map.model.route import Route
from lateral_map.model.strip import Covariance

if TYPE_CHECKING:
    from lateral_map.model.site import PlanLine

# A line carried straight on past its mapped end may have turned: 1 in 10 (1 sd; common practice, no
# source), so that 30 ft beyond it nothing within 6 ft of it is told apart.
_SD_CARRIED: Final = 0.1


@dataclass(frozen=True, slots=True)
class Past:
    """Places on the route against one line, one entry a footage.

    ``past_m`` is the signed distance; ``gradient`` (k, unknowns) its derivative; ``rate`` its
    change per unit of footage (m/m). ``normal`` (k, 2) is the unit vector past the line.
    ``carried_m`` is how far beyond its mapped ends the line had to be carried on, 0 beside it;
    ``line_variance_m2`` is what the line adds of its own: the doubt of where it goes on there, and
    its mapped accuracy (``mapped_m``) where its shift is no unknown of the route. ``doubt_m2`` is
    the mean square of how far off what else the notes may mean puts each place, by its weight.
    """

    past_m: Floats
    gradient: Floats
    rate: Floats
    normal: Floats
    carried_m: Floats
    line_variance_m2: Floats
    mapped_m: float
    doubt_m2: Floats

    def sd_m(self, route: Route) -> Floats:
        """Return the 1 sd (m) of each distance past, by the stated accuracies alone."""
        return np.sqrt(variances(self.gradient, route.covariance) + self.line_variance_m2)

    def told_sd_m(self, route: Route) -> Floats:
        """Return the 1 sd (m) of each distance past, as sure as the fit and all doubts allow."""
        sds = route.noise.widen(self.sd_m(route), self.gradient)
        return np.asarray(np.sqrt(np.square(sds) + self.doubt_m2))


def measure_past(route: Route, line: str, footage_m: ArrayLike) -> Past:
    """Return distances past the plan line called ``line`` at footages; raises ``KeyError``."""
    return measure_pasts(route, [(line, in_row(footage_m))])[0]


def measure_pasts(route: Route, asked: Sequence[tuple[str, Floats]]) -> list[Past]:
    """Return distances past several plan lines, each at footages (k,) of its own."""
    footage = np.concatenate([at for _, at in asked])
    positions, jacobian = route.position_jacobian(footage)
    directions = route.directions(footage)
    # In the riser footage is spent going down: nothing moves in plan.
    along = (1.0 + route.unknowns[route.layout.scale]) * (footage >= route.chain.nodes_m[0])
    pasts, end = [], 0
    for line, at in asked:
        own = slice(end, end := end + len(at))
        mapped, sense = route.site.plan.line(line), sense_past(route, line)
        found = signed_offsets(mapped.segments, positions[own, :2])
        normal = sense * found.normal
        gradient = np.einsum("kx,kxn->kn", normal, jacobian[own, :2])
        shift_column = route.layout.line_column(line)
        if shift_column is not None:
            gradient[:, shift_column] -= sense
        sd = 0.0 if shift_column is not None else mapped.sd_m
        past = np.asarray(sense * (found.offset_m - line_shift_m(route, line)))
        carried = carried_on_m(mapped, found.along_m)
        doubt = np.zeros(len(at))
        for one in route.doubts:
            doubt += one.weight * np.square(pasts_m(one.route, line, one.along(at)) - past)
        pasts.append(
            Past(
                past_m=past,
                gradient=gradient,
                rate=along[own] * np.einsum("kx,kx->k", normal, directions[own, :2]),
                normal=normal,
                carried_m=carried,
                line_variance_m2=sd**2 + np.square(_SD_CARRIED * carried),
                mapped_m=sd,
                doubt_m2=doubt,
            )
        )
    return pasts


def carried_on_m(line: PlanLine, along_m: Floats) -> Floats:
    """Return how far beyond its mapped ends places ``along_m`` (k,) a line lie, 0 beside it."""
    beyond = np.maximum(-along_m, along_m - line.segments.along_m[-1])
    # An along-line distance summed in another order may pass the length by a rounding.
    return np.asarray(np.where(beyond > 1e-9, beyond, 0.0))


def pasts_m(route: Route, line: str, footage_m: ArrayLike) -> Floats:
    """Return (k,) distances (m) past the plan line at footages, not how sure they are."""
    place = route.positions(footage_m)[:, :2]
    found = signed_distances(route.site.plan.line(line).segments, place)
    return np.asarray(sense_past(route, line) * (found - line_shift_m(route, line)))


def drawn_pasts(route: Route, line: str, footage_m: ArrayLike) -> Floats:
    """Return (draws, k) distances (m) past a line of the route's drawn lines; they must exist."""
    draws = route.draws
    column = route.layout.line_column(line)
    shift = 0.0 if column is None or draws is None else draws[:, column, None]
    found = signed_distances(route.site.plan.line(line).segments, route.drawn_plan(footage_m))
    return np.asarray(sense_past(route, line) * (found - shift))


def sense_past(route: Route, line: str) -> float:
    """Return +1 where past the line is to the right of its direction, else -1."""
    return route.senses[line]


def line_shift_m(route: Route, line: str) -> float:
    """Return the line's adjusted shift (m) to the right of its direction."""
    column = route.layout.line_column(line)
    return 0.0 if column is None else float(route.unknowns[column])


def variances(gradient: Floats, covariance: Covariance) -> Floats:
    """Return the variances g C gᵀ of linear quantities with gradients (k, unknowns)."""
    return np.asarray(np.einsum("kn,kn->k", gradient @ covariance, gradient))
