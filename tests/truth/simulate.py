"""Lines whose truth is known, and the readings a careful technician would have taken of them.

The true line is walked in small steps by plain arithmetic, with none of the package's own chaining:
its direction is a random walk, its bends turn by their fitting give or take, its counter runs a
little fast or slow, its plan is mapped a little off. Every reading then gets the noise its stated
accuracy says.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from lateral_map.adjust.transmitter import sd_depth_m, sd_mark_m
from lateral_map.frame import local_frame
from lateral_map.model.site import (
    Accuracy,
    AlongTie,
    Bend,
    Boundary,
    Counter,
    Finding,
    Locate,
    OffsetTie,
    PipeRun,
    Plan,
    PlanLine,
    PlanPoint,
    PositionTie,
    Run,
    Site,
    Start,
    TapeTie,
    Tie,
    Transmitter,
)

Floats = NDArray[np.float64]
FOOT = 0.3048
STEP_M = 0.03


def default_accuracy() -> Accuracy:
    """Return the accuracies a site has when it states none, in metres."""
    root_foot = np.sqrt(FOOT)
    return Accuracy(
        tape_m=0.1 * FOOT,
        tape_fraction=0.002,
        mark_m=0.25 * FOOT,
        mark_fraction=0.03,
        offset_m=0.1 * FOOT,
        ground_m=0.05 * FOOT,
        wander_deg=0.5 / root_foot,
        fitting_deg=2.0,
        eye_deg=8.0,
        fall=0.02,
        sd_fall=0.02,
        fall_wander_deg=0.2 / root_foot,
        mapped_line_m=FOOT,
        mapped_point_m=0.1 * FOOT,
    )


@dataclass
class Truth:
    """A true line: readings (m), (k, 3) positions and ground elevations along it."""

    reading_m: Floats
    position_m: Floats
    ground_m: Floats
    line_shift_m: dict[str, float]
    true_lines: dict[str, Floats]
    finding_reading_m: Floats = field(default_factory=lambda: np.zeros(0))

    def at(self, reading_m: float) -> Floats:
        """Return the true position (3,) at an error-free reading."""
        return np.array(
            [np.interp(reading_m, self.reading_m, self.position_m[:, i]) for i in range(3)]
        )

    def depth(self, reading_m: float) -> float:
        """Return the true invert depth below ground at an error-free reading."""
        ground = float(np.interp(reading_m, self.reading_m, self.ground_m))
        return ground - float(self.at(reading_m)[2])


def simulate(seed: int) -> tuple[Site, Truth]:
    """Return one site with noisy readings, and the truth it was read from."""
    rng = np.random.default_rng(seed)
    accuracy, counter, transmitter = default_accuracy(), Counter(), Transmitter()
    length = rng.uniform(14.0, 36.0)
    azimuth = rng.uniform(0.0, 2.0 * np.pi)
    bends = _bends(rng, length)
    truth = _walk(rng, accuracy, counter, length, azimuth, bends)
    plan, shifts, lines = _plan(rng, truth, azimuth, length)
    truth.line_shift_m, truth.true_lines = shifts, lines
    known_azimuth = rng.random() < 0.5
    levelled = bool(np.ptp(truth.ground_m) > 0.0)
    start_true = truth.position_m[0]
    start = Start(
        easting_m=start_true[0] + rng.normal(0.0, 0.15),
        northing_m=start_true[1] + rng.normal(0.0, 0.15),
        sd_m=0.15,
        depth_m=truth.depth(0.0) + rng.normal(0.0, 0.0762),
        sd_depth_m=0.0762,
        ground_m=truth.ground_m[0] + rng.normal(0.0, accuracy.ground_m) if levelled else None,
        azimuth_deg=float(np.degrees(azimuth) + rng.normal(0.0, 10.0)) if known_azimuth else None,
    )
    site = Site(
        name=f"simulated {seed}",
        frame=local_frame("ft"),
        unit="ft",
        start=start,
        accuracy=accuracy,
        run=Run(end_m=length),
        counter=counter,
        transmitter=transmitter,
        pipes=(PipeRun(0.0, "clay", 0.1524),),
        boundaries=(
            Boundary("curb", "owner", "city", decides=True),
            Boundary("right of way", "owner", "city"),
        ),
        bends=bends,
        plan=plan,
    )
    site = replace(site, locates=_locates(rng, site, truth, length, levelled))
    return _with_findings(rng, site, truth, length), truth


def _bends(rng: np.random.Generator, length: float) -> tuple[Bend, ...]:
    count = int(rng.integers(0, 4))
    places = np.sort(rng.uniform(2.0, length - 2.0, count))
    places = places[np.concatenate([[True], np.diff(places) > 1.0])] if count else places
    turns = rng.choice([-45.0, -22.5, 22.5, 45.0], len(places))
    hows = rng.choice(["fitting", "eye"], len(places))
    return tuple(
        Bend(float(f), float(t), 0.0, "eye" if h == "eye" else "fitting")
        for f, t, h in zip(places, turns, hows, strict=True)
    )


def _walk(
    rng: np.random.Generator,
    accuracy: Accuracy,
    counter: Counter,
    length: float,
    azimuth: float,
    bends: tuple[Bend, ...],
) -> Truth:
    scale = 1.0 + rng.normal(0.0, counter.sd_scale)
    zero = rng.normal(0.0, counter.sd_zero_m)
    reading = np.arange(zero, length + 1.0, STEP_M)
    count = len(reading) - 1
    heading = azimuth + np.cumsum(
        rng.normal(0.0, np.radians(accuracy.wander_deg) * np.sqrt(STEP_M), count)
    )
    pitch = (
        np.arctan(accuracy.fall)
        + rng.normal(0.0, accuracy.sd_fall)
        + np.cumsum(rng.normal(0.0, np.radians(accuracy.fall_wander_deg) * np.sqrt(STEP_M), count))
    )
    for bend in bends:
        sd = accuracy.fitting_deg if bend.how == "fitting" else accuracy.eye_deg
        true_turn = np.radians(bend.turn_deg + rng.normal(0.0, sd))
        heading[reading[:-1] >= bend.footage_m] += true_turn
    step = STEP_M * scale
    moves = step * np.stack(
        [np.cos(pitch) * np.sin(heading), np.cos(pitch) * np.cos(heading), -np.sin(pitch)], axis=1
    )
    slope = rng.choice([0.0, 0.0, rng.normal(0.0, 0.04)])
    ground = slope * scale * (reading - zero)
    if slope:
        ground += _undulation(rng, reading)
    position = np.concatenate([np.zeros((1, 3)), np.cumsum(moves, axis=0)])
    # Deep enough at the start that the pipe stays buried all the way.
    shallowest = float((ground - position[:, 2]).min())
    position[:, 2] -= rng.uniform(0.9, 2.4) - min(shallowest, 0.0)
    return Truth(reading, position, ground, {}, {})


def _undulation(rng: np.random.Generator, reading: Floats) -> Floats:
    """Return gentle rises and dips of the ground: nobody's lawn is a plane."""
    knots = np.arange(reading[0], reading[-1] + 5.0, 2.5)
    smooth = CubicSpline(knots, rng.normal(0.0, 0.06, len(knots)))
    return np.asarray(smooth(reading) - smooth(reading[0]))


def _plan(
    rng: np.random.Generator, truth: Truth, azimuth: float, length: float
) -> tuple[Plan, dict[str, float], dict[str, Floats]]:
    shifts, true_lines, lines = {}, {}, []
    for name, kind, share, sd in (
        ("right of way", "right_of_way", rng.uniform(0.35, 0.55), 0.15),
        ("curb", "curb", rng.uniform(0.6, 0.85), 0.6),
    ):
        true_line = _line_across(rng, truth.at(share * length)[:2], truth, share * length)
        step = np.diff(true_line, axis=0)[0]
        right = np.array([step[1], -step[0]]) / np.hypot(*step)
        shift = rng.normal(0.0, sd)
        # The map is wrong by minus the shift: the real line lies ``shift`` to the right of it.
        lines.append(PlanLine(name, kind, true_line - shift * right, sd))
        shifts[name], true_lines[name] = shift, true_line
    points = []
    for index, letter in enumerate("ABCDE"):
        near = truth.at(rng.uniform(0.0, length))[:2] + rng.normal(0.0, 5.0, 2)
        sd = 0.03
        mapped = near + rng.normal(0.0, sd, 2)
        points.append((PlanPoint(letter, mapped[0], mapped[1], sd), near, index))
    truth_points = {point.name: near for point, near, _ in points}
    true_lines.update({f"point {name}": near for name, near in truth_points.items()})
    return Plan(lines=tuple(lines), points=tuple(p for p, _, _ in points)), shifts, true_lines


def _line_across(rng: np.random.Generator, through: Floats, truth: Truth, reading: float) -> Floats:
    ahead = truth.at(reading + 0.5)[:2] - truth.at(reading - 0.5)[:2]
    bearing = np.arctan2(ahead[0], ahead[1]) + np.pi / 2.0 + rng.normal(0.0, 0.25)
    unit = np.array([np.sin(bearing), np.cos(bearing)])
    if rng.random() < 0.5:
        unit = -unit
    return np.stack([through - 40.0 * unit, through + 40.0 * unit])


def _locates(
    rng: np.random.Generator, site: Site, truth: Truth, length: float, levelled: bool
) -> tuple[Locate, ...]:
    hidden = rng.uniform(0.15, 0.75) * length
    reach = rng.uniform(0.1, 0.25) * length
    footages = np.sort(rng.uniform(1.0, length - 0.3, int(rng.integers(5, 12))))
    open_air = footages[(footages < hidden) | (footages > hidden + reach)]
    found = []
    for index, footage in enumerate(open_air):
        true_reading = footage + rng.normal(0.0, site.counter.sd_reading_m)
        place = truth.at(true_reading - site.transmitter.behind_lens_m)
        depth = truth.depth(true_reading - site.transmitter.behind_lens_m)
        held = 0.5 if rng.random() < 0.15 else 0.0
        buried = depth - site.transmitter.above_invert_m
        exact = buried + held
        locate = Locate(f"{index + 1}", float(footage), exact, held)
        read = exact + rng.normal(0.0, sd_depth_m(site, locate, buried))
        mark = place[:2] + rng.normal(0.0, sd_mark_m(site, locate, buried), 2)
        ground = float(np.interp(true_reading - 0.15, truth.reading_m, truth.ground_m))
        found.append(
            replace(
                locate,
                depth_m=read,
                ties=_ties(rng, site, truth, mark),
                ground_m=ground + rng.normal(0.0, site.accuracy.ground_m) if levelled else None,
            )
        )
    return tuple(found)


def _ties(rng: np.random.Generator, site: Site, truth: Truth, mark: Floats) -> tuple[Tie, ...]:
    kind = rng.choice(["gnss", "xy", "tapes", "line", "past", "mixed"])
    ties: list[Tie] = []
    if kind in ("gnss", "mixed"):
        sd = 1.2
        ties.append(PositionTie(*(mark + rng.normal(0.0, sd, 2)), sd, "gnss"))
    if kind == "xy":
        ties.append(PositionTie(*(mark + rng.normal(0.0, 0.03, 2)), 0.03, "xy"))
    if kind in ("tapes", "mixed"):
        ties.extend(_tapes(rng, site, truth, mark, 3 if kind == "tapes" else 2))
    if kind in ("line", "past", "mixed"):
        ties.extend(_line_ties(rng, site, truth, mark, both=kind == "line"))
    return tuple(ties)


def _tapes(
    rng: np.random.Generator, site: Site, truth: Truth, mark: Floats, count: int
) -> list[Tie]:
    chosen = rng.choice(len(site.plan.points), count, replace=False)
    ties: list[Tie] = []
    for index, point in enumerate(chosen):
        name = site.plan.points[point].name
        distance = float(np.hypot(*(mark - truth.true_lines[f"point {name}"])))
        sd = float(np.hypot(site.accuracy.tape_m, site.accuracy.tape_fraction * distance))
        read = max(distance + rng.normal(0.0, sd), 0.01)
        ties.append(TapeTie(name, read, sd, f"tape{index + 1}"))
    return ties


def _line_ties(
    rng: np.random.Generator, site: Site, truth: Truth, mark: Floats, *, both: bool
) -> list[Tie]:
    name = str(rng.choice(["curb", "right of way"]))
    begin, end = truth.true_lines[name]
    unit = (end - begin) / np.hypot(*(end - begin))
    right = np.array([unit[1], -unit[0]])
    sd = site.accuracy.offset_m
    ties: list[Tie] = [OffsetTie(name, float((mark - begin) @ right) + rng.normal(0.0, sd), sd)]
    if both:
        # Along is read from the mapped line's own first vertex, which the shift moves across only.
        ties.append(AlongTie(name, float((mark - begin) @ unit) + rng.normal(0.0, sd), sd))
    return ties


def _with_findings(rng: np.random.Generator, site: Site, truth: Truth, length: float) -> Site:
    """Add findings: four anywhere, and some close enough to each line to be hard to call."""
    footages = list(rng.uniform(0.5, length - 0.2, 4))
    for boundary in site.boundaries:
        crossing = true_crossing_m(truth, boundary.line)
        if crossing is not None:
            # Spread wide against any sd of the distance past, so that being near the line says
            # nothing by itself of which side.
            footages.extend(crossing + rng.uniform(-2.5, 2.5, 4))
    placed = np.sort(np.clip(footages, 0.2, length - 0.1))
    truth.finding_reading_m = placed + rng.normal(0.0, site.counter.sd_reading_m, len(placed))
    return replace(site, findings=tuple(Finding(float(one), "crack") for one in placed))


def true_crossing_m(truth: Truth, name: str) -> float | None:
    """Return the error-free reading at which the true line first crosses a true plan line."""
    past = true_past_m(truth, name, truth.position_m[:, :2])
    change = np.flatnonzero((past[:-1] < 0.0) & (past[1:] >= 0.0))
    if len(change) != 1:
        return None
    index = int(change[0])
    share = -past[index] / (past[index + 1] - past[index])
    return float(
        truth.reading_m[index] + share * (truth.reading_m[index + 1] - truth.reading_m[index])
    )


def true_past_m(truth: Truth, name: str, points: Floats) -> Floats:
    """Return true signed distances past a true plan line, positive away from the start."""
    begin, end = truth.true_lines[name]
    unit = (end - begin) / np.hypot(*(end - begin))
    right = np.array([unit[1], -unit[0]])
    offset = (points - begin) @ right
    return offset if (truth.position_m[0, :2] - begin) @ right < 0.0 else -offset
