"""Lines of a wanted number of chain nodes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from adjust.builder import straight_site, surveyed

from lateral_map.model.site import Bend, Site


def line_of_nodes(nodes: int) -> Site:
    """Return a line with a locate every fourth node, a bend every tenth, noise on every mark."""
    spacing = 1.5
    length = spacing * nodes
    rng = np.random.default_rng(nodes)
    footages = tuple(np.arange(4.0 * spacing, length, 4.0 * spacing))
    site = straight_site(length_m=length, locate_footages_m=footages, tie=surveyed)
    locates = tuple(
        replace(
            one,
            ties=tuple(
                replace(
                    tie,
                    easting_m=tie.easting_m + rng.normal(0.0, 0.1),
                    northing_m=tie.northing_m + rng.normal(0.0, 0.1),
                )
                for tie in one.ties
            ),
        )
        for one in site.locates
    )
    bends = tuple(
        Bend(float(at) + 0.4, 22.5 if index % 2 else -22.5, how="eye")
        for index, at in enumerate(np.arange(10.0 * spacing, length, 10.0 * spacing))
    )
    return replace(site, locates=locates, bends=bends)
