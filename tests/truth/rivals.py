"""Find sites whose notes truly fit two lines or more, and see whether the report shows the others.

Run as ``python tests/truth/rivals.py [--sites N]``: makes sites with few ties until N of them (40)
have by brute force more than one line that fits within the 95 % range of the best, then prints how
many of those lines the report shows. Brute force is the same equations solved from many random
lines: random directions of every piece, each run's start turned at random.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1]))

from truth.jobs import draw_job
from truth.simulate import FOOT, Floats, Truth, simulate

from lateral_map.adjust.chain import lay_chain, turns_at_nodes
from lateral_map.adjust.ground import lay_ground
from lateral_map.adjust.route import build_system
from lateral_map.adjust.solve import LeastSquares, Linear, solve_least_squares
from lateral_map.adjust.starts import first_guess
from lateral_map.errors import AdjustmentError
from lateral_map.model.site import Locate, OffsetTie, Site, TapeTie, Tie
from lateral_map.report import build_report

WITHIN = 5.991464547107979
STARTS = 60
# Lines are two where somewhere they lie this far apart, and one where nowhere farther than half.
APART_M = 0.6
KINDS = (
    "two tapes from the wall",
    "two tapes nearly in line",
    "one tape",
    "offsets alone",
    "mixed",
)
HEAD = (
    "marks tied by", "sites", "all lines shown", "best shown", "rival lines", "of these shown",
    "a line not shown is truer",
)  # fmt: skip


def draw_doubtful(seed: int) -> tuple[Site, Truth, str]:
    """Return a site with few ties and no azimuth, its truth, and how its marks are tied."""
    rng = np.random.default_rng([seed, 5])
    kind = KINDS[seed % len(KINDS)]
    site, truth = draw_job(seed)
    while kind.startswith("two tapes") and site.bends:
        # A bend noted to the right tells a straight run's mirror image from it.
        site, truth = simulate(int(rng.integers(1 << 40)))
    keep = int(rng.integers(2, 6))
    locates = sorted(rng.choice(len(site.locates), min(keep, len(site.locates)), replace=False))
    begin = truth.position_m[0, :2]
    points = {p.name: truth.true_lines[f"point {p.name}"] for p in site.plan.points}
    points.pop("cleanout", None)
    if kind == "two tapes from the wall":
        # Tape from two points either side of the cleanout, on the wall it stands at.
        along = np.radians(rng.uniform(0.0, 360.0))
        unit = np.array([np.sin(along), np.cos(along)])
        names = list(points)[:2]
        for name, away in zip(names, (-rng.uniform(8, 25), rng.uniform(8, 25)), strict=True):
            points[name] = begin + away * FOOT * unit + rng.normal(0.0, 0.1, 2)
        points = {name: points[name] for name in names}
    mapped = tuple(
        replace(p, easting_m=float(points[p.name][0]), northing_m=float(points[p.name][1]))
        if p.name in points
        else p
        for p in site.plan.points
    )
    site = replace(site, plan=replace(site.plan, points=mapped))
    tied = tuple(_tie(rng, site, truth, site.locates[index], kind, points) for index in locates)
    return (
        replace(
            site,
            start=replace(site.start, azimuth_deg=None),
            locates=tuple(one for one in tied if one.ties),
        ),
        truth,
        kind,
    )


def _tie(
    rng: np.random.Generator,
    site: Site,
    truth: Truth,
    locate: Locate,
    kind: str,
    points: dict[str, Floats],
) -> Locate:
    place = truth.at(locate.footage_m - site.transmitter.behind_lens_m)[:2]
    mark = place + rng.normal(0.0, 0.09, 2)
    own = kind if kind != "mixed" else str(rng.choice(["one tape", "offsets alone"]))
    ties: list[Tie] = []
    if own == "offsets alone":
        name = str(rng.choice(["curb", "right of way"]))
        begin, end = truth.true_lines[name]
        unit = (end - begin) / np.hypot(*(end - begin))
        offset = float((mark - begin) @ np.array([unit[1], -unit[0]])) + rng.normal(0.0, 0.03)
        ties.append(OffsetTie(name, offset, site.accuracy.offset_m))
    else:
        for index, name in enumerate(_chosen(rng, mark, own, points)):
            away = float(np.hypot(*(mark - points[name])))
            sd = float(np.hypot(site.accuracy.tape_m, site.accuracy.tape_fraction * away))
            ties.append(TapeTie(name, away + rng.normal(0.0, sd), sd, f"tape{index + 1}"))
    return replace(locate, ties=tuple(ties))


def _chosen(
    rng: np.random.Generator, mark: Floats, kind: str, points: dict[str, Floats]
) -> list[str]:
    names = [name for name in points if np.hypot(*(mark - points[name])) > 1.0]
    if kind == "one tape" or len(names) < 2:
        return [str(rng.choice(names))]
    if kind == "two tapes from the wall":
        return names[:2]

    def sine(pair: tuple[str, str]) -> float:
        one, other = mark - points[pair[0]], mark - points[pair[1]]
        return float(abs(one[0] * other[1] - one[1] * other[0]) / np.hypot(*one) / np.hypot(*other))

    pairs = [(one, other) for one in names for other in names if one < other]
    return list(min(pairs, key=lambda pair: sine(pair) + rng.uniform(0.0, 0.1)))


def fit_by_force(site: Site, seed: int) -> list[tuple[float, Floats]]:
    """Return (cost, plan line) of every distinct line within the 95 % range of the best.

    Lines are (nodes, 2) at the chain's nodes; best first.
    """
    rng = np.random.default_rng([seed, 9])
    chain, start = lay_chain(site), site.start
    turns = turns_at_nodes(site, chain)
    at_start = np.tile([start.easting_m, start.northing_m], (len(chain.nodes_m), 1))
    ground = lay_ground(site, chain, at_start)
    level = float(ground.elevation(chain.zero_m)[0])
    found: list[tuple[float, Floats]] = []
    for azimuth in rng.uniform(0.0, 2.0 * np.pi, STARTS):
        guess: Floats | None = None
        first = float(azimuth)
        cost = np.inf
        for _ in range(2):
            # The second time the empty prior of the azimuth is centred on what was found.
            system = build_system(site, chain, turns, ground, (first, np.pi))
            design, observed = system.linear.design, system.rows.observed
            if guess is None:
                guess = first_guess(site, system.layout, turns, first)
                guess[system.layout.elevation] = level - (start.depth_m or 1.0)
                count = system.layout.pieces
                guess[system.layout.azimuth] += np.cumsum(
                    rng.normal(0.0, rng.choice([0.05, 0.2]), count)
                )
            try:
                solution = solve_least_squares(
                    LeastSquares(Linear.of(design), observed, system.evaluate),
                    guess,
                    most_steps=150,
                )
            except np.linalg.LinAlgError:
                break
            guess, cost = solution.unknowns, solution.cost if solution.settled else np.inf
            first = float(guess[system.layout.azimuth.start])
        if np.isfinite(cost) and guess is not None:
            line = chain.positions(guess, system.layout, chain.nodes_m)[:, :2]
            found.append((cost, line))
    found.sort(key=lambda pair: pair[0])
    kept: list[tuple[float, Floats]] = []
    for cost, line in found:
        if cost <= found[0][0] + WITHIN and all(_gap(line, one) > APART_M for _, one in kept):
            kept.append((cost, line))
    return kept


def _gap(one: Floats, other: Floats) -> float:
    return float(np.hypot(*(one - other).T).max())


@dataclass(frozen=True)
class Found:
    """A site's lines by brute force: cost above the best, gap from the best, shown, off the truth.

    ``missed_is_truer`` is True where a line that is not shown is nearer the truth than any shown.
    """

    seed: int
    kind: str
    behind: list[float]
    gap_m: list[float]
    shown: list[bool]
    missed_is_truer: bool


def look(seed: int) -> Found | None:
    """Return what is found on one site, None where only one line fits or none can be made."""
    site, truth, kind = draw_doubtful(seed)
    lines = fit_by_force(site, seed)
    if len(lines) < 2:
        return None
    try:
        route = build_report(site).route
    except AdjustmentError:
        return None
    nodes = route.chain.nodes_m
    told = [route.positions(nodes)[:, :2]]
    told += [one.line_m for one in route.alternatives]
    shown = [min(_gap(line, _as(line, one)) for one in told) < APART_M / 2.0 for _, line in lines]
    real = np.array([truth.at(at)[:2] for at in nodes])
    off = [float(np.hypot(*(line - real).T).mean()) for _, line in lines]
    told_off = min(float(np.hypot(*(_as(real, one) - real).T).mean()) for one in told)
    missed = [one for one, seen in zip(off, shown, strict=True) if not seen]
    return Found(
        seed,
        kind,
        [cost - lines[0][0] for cost, _ in lines],
        [_gap(line, lines[0][1]) for _, line in lines],
        shown,
        bool(missed) and min(missed) < told_off - APART_M / 2.0,
    )


def _as(like: Floats, line: Floats) -> Floats:
    """Return a line with as many places as another, along its own length."""
    if len(line) == len(like):
        return line
    share: NDArray[np.float64] = np.linspace(0.0, 1.0, len(line))
    wanted = np.linspace(0.0, 1.0, len(like))
    return np.stack([np.interp(wanted, share, line[:, i]) for i in range(2)], axis=1)


def table(found: list[Found]) -> str:
    """Return Markdown: a row a kind, and one of all."""
    lines = [
        f"| {' | '.join(HEAD)} |",
        "| --- |" + " ---: |" * (len(HEAD) - 1),
    ]
    for kind in (*KINDS, "all"):
        own = [one for one in found if kind in (one.kind, "all")]
        rivals = [seen for one in own for seen in one.shown[1:]]
        lines.append(
            f"| {kind} | {len(own)} | {sum(all(one.shown) for one in own)} "
            f"| {sum(one.shown[0] for one in own)} | {len(rivals)} | {sum(rivals)} "
            f"| {sum(one.missed_is_truer for one in own)} |"
        )
    return "\n".join(lines)


def main() -> None:
    """Find and print."""
    parser = argparse.ArgumentParser(description="See whether every line that fits is shown.")
    parser.add_argument("--sites", type=int, default=40, help="how many to find")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--list", action="store_true", dest="each")
    asked = parser.parse_args()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    found: list[Found] = []
    with multiprocessing.get_context("spawn").Pool(asked.processes) as pool:
        seeds = range(asked.first, asked.first + 40 * asked.sites)
        for tried, one in enumerate(pool.imap(look, seeds), 1):
            if one is not None:
                found.append(one)
                if asked.each:
                    sys.stdout.write(f"{one}\n")
            sys.stderr.write(f"\r{len(found)} of {asked.sites} found among {tried}")
            if len(found) >= asked.sites:
                break
        pool.terminate()
    sys.stderr.write("\n")
    sys.stdout.write(table(found) + "\n")


if __name__ == "__main__":
    main()
