"""Which pipe lies where, and how wide is it outside?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from lateral_map.model.pipe_sizes import nominal_inches
from lateral_map.model.results import PipeStretch
from lateral_map.model.site import Site
from lateral_map.units import to_metres


@dataclass(frozen=True, slots=True)
class OutsideDiameter:
    """The outside diameter (in) a table gives for a nominal size, and where it is printed."""

    inches: float
    source: str


_A74 = "ASTM A74 service weight, barrel"
_PVC_40 = "ASTM D1785 and D2665 Schedule 40, the larger of the pvc sewer pipes"
_PVC_35 = "ASTM D3034 SDR-35"
_ABS_40 = "ASTM D2661 and F628 Schedule 40"
_CLAY = "ASTM C700, the largest of the makers' sizes, from memory"
_CONCRETE = "ASTM C14, approximate, from memory"
_MEMORY = ", from memory"

# Where one nominal size is made in several diameters the largest stands, so that a dig buffer is
# never too narrow. Hubs and couplings are wider than the barrel.
OUTSIDE_DIAMETERS: Final[dict[str, dict[float, OutsideDiameter]]] = {
    "cast iron": {
        2.0: OutsideDiameter(2.30, _A74),
        3.0: OutsideDiameter(3.30, _A74),
        4.0: OutsideDiameter(4.30, _A74),
        5.0: OutsideDiameter(5.30, _A74),
        6.0: OutsideDiameter(6.30, _A74 + _MEMORY),
    },
    "pvc": {
        3.0: OutsideDiameter(3.500, _PVC_40),
        4.0: OutsideDiameter(4.500, _PVC_40),
        6.0: OutsideDiameter(6.625, _PVC_40 + _MEMORY),
        8.0: OutsideDiameter(8.400, _PVC_35),
        10.0: OutsideDiameter(10.5, _PVC_35),
        12.0: OutsideDiameter(12.5, _PVC_35),
    },
    "abs": {
        3.0: OutsideDiameter(3.500, _ABS_40),
        4.0: OutsideDiameter(4.500, _ABS_40),
        6.0: OutsideDiameter(6.625, _ABS_40 + _MEMORY),
    },
    "clay": {
        4.0: OutsideDiameter(5.4, _CLAY),
        6.0: OutsideDiameter(7.7, _CLAY),
        8.0: OutsideDiameter(9.9, _CLAY),
    },
    "concrete": {
        4.0: OutsideDiameter(5.5, _CONCRETE),
        6.0: OutsideDiameter(7.5, _CONCRETE),
    },
}
# Bituminous fibre pipe is named by its bore; the wall is 0.3 to 0.4 in (from memory).
_FIBRE_WALL_IN: Final = 0.4
# No table at hand: a wall of a fifth of the bore, at least half an inch, is thicker than drains
# are made (a guess, and said to be one).
_GUESSED_WALL: Final = 0.2
_LEAST_WALL_IN: Final = 0.5
# Nobody said what pipe it is: the widest of the common laterals, 6 in clay.
_UNKNOWN = OUTSIDE_DIAMETERS["clay"][6.0]


def list_pipes(site: Site) -> tuple[PipeStretch, ...]:
    """Return the pipe along the whole run, from the counter's zero to its end, without gaps."""
    begin, end = site.counter.zero_m, site.run.end_m
    runs = sorted(site.pipes, key=lambda run: run.from_m)
    until = [*(run.from_m for run in runs[1:]), end]
    first = min(runs[0].from_m, end) if runs else end
    stretches = []
    if not runs or first > begin:
        stretches.append(
            PipeStretch(
                from_m=begin,
                to_m=first,
                material="not stated",
                size_m=None,
                outside_diameter_m=to_metres(_UNKNOWN.inches, "in"),
                source="no pipe was given: taken as 6 in clay, the widest of the common laterals",
                is_guess=True,
            )
        )
    for run, run_end in zip(runs, until, strict=False):
        from_m, to_m = max(run.from_m, begin), min(run_end, end)
        if to_m > from_m:
            found, is_guess = find_outside_diameter(run.material, run.size_m)
            diameter = to_metres(found.inches, "in")
            stretches.append(
                PipeStretch(
                    from_m, to_m, run.material, run.size_m, diameter, found.source, is_guess
                )
            )
    return tuple(stretches)


def find_outside_diameter(material: str, size_m: float) -> tuple[OutsideDiameter, bool]:
    """Return the outside diameter for a nominal size in metres, and whether it is a guess.

    A size between two tabulated ones takes the next larger; one that no table reaches takes the
    nominal size and a generous wall.
    """
    nominal = nominal_inches(size_m)
    if material == "bituminous fibre":
        bore = max(nominal, size_m / to_metres(1.0, "in"))
        return OutsideDiameter(
            bore + 2 * _FIBRE_WALL_IN, "bore and a 0.4 in wall, from memory"
        ), False
    table = OUTSIDE_DIAMETERS.get(material, {})
    if nominal in table:
        return table[nominal], False
    larger = [size for size in sorted(table) if size > nominal]
    if larger:
        listed = table[larger[0]]
        return OutsideDiameter(
            listed.inches, f"as the next larger size, {larger[0]:g} in: {listed.source}"
        ), True
    wall = max(_LEAST_WALL_IN, _GUESSED_WALL * nominal)
    thick = "a fifth of it" if wall > _LEAST_WALL_IN else f"{_LEAST_WALL_IN:g} in"
    words = f"no table at hand: nominal size and a wall of {thick}, a guess"
    return OutsideDiameter(nominal + 2 * wall, words), True
