"""Jobs as technicians do them, whose truth is known: a second generator beside ``simulate``.

A house, a street, a curb and a right of way; a lateral of 40 to 120 ft with one to four bends from
a cleanout to the main, or from the street to the house; six to fourteen locates, most of them taped
from house corners and offset from the curb, some fixed by GNSS or survey. Every true place is plain
arithmetic on a finely walked line: nothing of the package's own chaining is used.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from truth.simulate import (
    FOOT,
    STEP_M,
    Floats,
    Truth,
    _undulation,
    default_accuracy,
    true_crossing_m,
)

from lateral_map.frame import local_frame
from lateral_map.model.site import (
    Bend,
    Boundary,
    Counter,
    Finding,
    Locate,
    OffsetTie,
    PipeRun,
    Place,
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

Noise = Callable[..., Floats]
_TENTH = 0.1 * FOOT
_POINTS = ("front left corner", "front right corner", "rear left corner", "rear right corner")


@dataclass(frozen=True)
class _Lot:
    """A lot in street coordinates, feet: x along the street, y toward it, the house front at 0.

    ``legs`` are (length, heading) of the pipe's straight pieces from ``start``, headings in degrees
    right of straight to the street.
    """

    start: Floats
    legs: tuple[tuple[float, float], ...]
    right_of_way_y: float
    curb_y: float
    skew_deg: tuple[float, float]
    points: dict[str, Floats]
    from_street: bool

    @property
    def length(self) -> float:
        return sum(length for length, _ in self.legs)


@dataclass(frozen=True)
class _Street:
    """Street coordinates in feet to plan coordinates in metres: turned, and moved."""

    turned_rad: float
    origin_m: Floats

    def to_plan(self, xy: Floats) -> Floats:
        sine, cosine = np.sin(self.turned_rad), np.cos(self.turned_rad)
        return np.asarray(xy) * FOOT @ np.array([[cosine, -sine], [sine, cosine]]) + self.origin_m


def draw_job(seed: int, *, wander: float = 1.0, heavy_tails: bool = False) -> tuple[Site, Truth]:
    """Return one job with noisy notes, and the truth they were taken from.

    ``wander`` multiplies the pipe's true wander. With ``heavy_tails`` every reading's error is its
    stated sd times a Student t variate of 4 degrees of freedom, whose own sd is 1.41.
    """
    rng = np.random.default_rng([seed, 77])

    def noise(sd: float, size: int | None = None) -> Floats:
        return sd * (rng.standard_t(4, size) if heavy_tails else rng.normal(0.0, 1.0, size))

    lot = _draw_lot(rng)
    street = _Street(rng.uniform(0.0, 2.0 * np.pi), rng.uniform(-200.0, 200.0, 2))
    accuracy, counter, transmitter = default_accuracy(), Counter(), Transmitter()
    riser = float(rng.choice([0.0, 0.0, round(rng.uniform(1.0, 5.0), 1)])) * FOOT
    truth, bends = _walk(rng, noise, lot, street, riser, np.radians(accuracy.wander_deg) * wander)
    plan = _map_plan(rng, noise, lot, street, truth)
    reached = rng.random() < 0.75
    end = truth.reading_m[-1] - FOOT - (0.0 if reached else rng.uniform(1.0, 8.0) * FOOT)
    start = _describe_start(rng, noise, truth, riser, plan)
    inside, outside = ("city", "owner") if lot.from_street else ("owner", "city")
    if lot.from_street:
        accuracy = replace(accuracy, fall=-accuracy.fall)
    site = Site(
        name=f"job {seed}",
        frame=local_frame("ft"),
        unit="ft",
        start=start,
        accuracy=accuracy,
        run=Run(
            end_m=_rounded(end), end="main" if reached and not lot.from_street else "not reached"
        ),
        counter=counter,
        transmitter=transmitter,
        pipes=(PipeRun(0.0, str(rng.choice(["clay", "pvc", "cast iron", "concrete"])), 0.1016),),  # type: ignore[arg-type]
        boundaries=(
            Boundary("curb", inside, outside, decides=True),
            Boundary("right of way", inside, outside),
        ),
        bends=bends,
        plan=plan,
    )
    site = replace(site, locates=_locate(rng, noise, site, truth))
    return replace(site, findings=_see(rng, noise, site, truth)), truth


def _rounded(value_m: float) -> float:
    """Round to a tenth of a foot, as notes are written."""
    return round(float(value_m) / _TENTH) * _TENTH


def _draw_lot(rng: np.random.Generator) -> _Lot:
    while True:
        set_back = rng.uniform(18.0, 65.0)
        curb = set_back + rng.uniform(4.0, 14.0)
        main = curb + rng.uniform(6.0, 20.0)
        start = np.array([rng.uniform(-15.0, 15.0), rng.uniform(-18.0, 6.0)])
        count = int(rng.choice([1, 2, 3, 4], p=[0.3, 0.35, 0.2, 0.15]))
        turns = rng.choice([22.5, 45.0, 45.0, 45.0, 90.0], count) * rng.choice([-1.0, 1.0], count)
        headings = (
            rng.uniform(-35.0, 35.0) - np.sum(turns) + np.concatenate([[0], np.cumsum(turns)])
        )
        shares = rng.dirichlet(np.full(count + 1, 2.5))
        toward = float(np.sum(shares * np.cos(np.radians(headings))))
        if np.abs(headings).max() > 95.0 or toward < 0.3:
            continue
        lengths = shares * (main - start[1]) / toward
        y = start[1] + np.cumsum(lengths * np.cos(np.radians(headings)))
        fits = 42.0 <= lengths.sum() <= 118.0 and lengths.min() > 3.0
        if not fits or (np.diff(y) < 0.0).any():
            continue
        legs = tuple(zip(lengths.tolist(), headings.tolist(), strict=True))
        from_street = rng.random() < 0.25
        if from_street:
            step = np.stack([np.sin(np.radians(headings)), np.cos(np.radians(headings))], axis=1)
            start = start + (lengths[:, None] * step).sum(axis=0)
            legs = tuple((length, heading + 180.0) for length, heading in reversed(legs))
        width, depth = rng.uniform(28.0, 60.0), rng.uniform(24.0, 45.0)
        left = rng.uniform(-0.8, -0.2) * width
        corners = [(left, 0.0), (left + width, 0.0), (left, -depth), (left + width, -depth)]
        points = {name: np.array(xy) for name, xy in zip(_POINTS, corners, strict=True)}
        points["hydrant"] = np.array([rng.uniform(-60, 60), curb - rng.uniform(1.0, 4.0)])
        points["power pole"] = np.array([rng.uniform(-60, 60), curb - rng.uniform(1.0, 8.0)])
        points["water meter"] = np.array([rng.uniform(-25, 25), set_back + rng.uniform(-3.0, 3.0)])
        if rng.random() < 0.5:
            points["neighbour's corner"] = np.array([left + width + rng.uniform(10, 25), -2.0])
        skew = rng.normal(0.0, 3.0)
        return _Lot(
            start=start,
            legs=legs,
            right_of_way_y=set_back,
            curb_y=curb,
            skew_deg=(skew, skew + rng.normal(0.0, 2.0)),
            points=points,
            from_street=from_street,
        )


def _walk(
    rng: np.random.Generator,
    noise: Noise,
    lot: _Lot,
    street: _Street,
    riser: float,
    wander: float,
) -> tuple[Truth, tuple[Bend, ...]]:
    """Walk the true pipe in small steps; return it, and its bends as they are noted."""
    accuracy, counter = default_accuracy(), Counter()
    scale = 1.0 + rng.normal(0.0, counter.sd_scale)
    zero = float(noise(counter.sd_zero_m))
    lengths = np.array([length for length, _ in lot.legs]) * FOOT
    headings = np.array([heading for _, heading in lot.legs])
    # Three feet beyond the main, so that there is pipe wherever a reading's error puts it.
    along = np.arange(0.0, lengths.sum() + 3.0 * FOOT, STEP_M)
    leg = np.clip(
        np.searchsorted(np.cumsum(lengths), along[:-1], side="right"), 0, len(lengths) - 1
    )
    heading = np.radians(headings[0]) + street.turned_rad + np.zeros(len(leg))
    bends = []
    for index, turn in enumerate(np.diff(headings)):
        by_eye = rng.random() < 0.25
        sd = accuracy.eye_deg if by_eye else accuracy.fitting_deg
        heading[leg > index] += np.radians(turn + rng.normal(0.0, sd))
        at = zero + riser + np.cumsum(lengths)[index] / scale + float(noise(counter.sd_reading_m))
        bends.append(Bend(_rounded(at), float(turn), how="eye" if by_eye else "fitting"))
    heading += np.cumsum(rng.normal(0.0, wander * np.sqrt(STEP_M), len(leg)))
    pitch = np.arctan(accuracy.fall) + rng.normal(0.0, 0.01)
    pitch = pitch + np.cumsum(
        rng.normal(0.0, np.radians(accuracy.fall_wander_deg) * np.sqrt(STEP_M), len(leg))
    )
    pitch = -pitch if lot.from_street else pitch
    moves = STEP_M * np.stack(
        [np.cos(pitch) * np.sin(heading), np.cos(pitch) * np.cos(heading), -np.sin(pitch)], axis=1
    )
    position = np.concatenate([np.zeros((1, 3)), np.cumsum(moves, axis=0)])
    reading = zero + riser + along / scale
    top = street.to_plan(lot.start[None, :])[0]
    level = rng.random() < 0.4
    slope = 0.0 if level else rng.normal(0.0, 0.03)
    ground = slope * along + (0.0 if level else _undulation(rng, along))
    shallowest = float((ground - position[:, 2]).min())
    position[:, 2] -= rng.uniform(3.0, 7.5) * FOOT + riser / 2.0 - min(shallowest, 0.0)
    position[:, :2] += top
    if riser:
        # Straight down from the cleanout: footage, and no distance in plan.
        down = np.linspace(0.0, riser, 20, endpoint=False)
        above = np.repeat(position[:1], len(down), axis=0)
        above[:, 2] += riser - down
        reading = np.concatenate([zero + down, reading])
        position = np.concatenate([above, position])
        ground = np.concatenate([np.full(len(down), ground[0]), ground])
    truth = Truth(reading, position, np.asarray(ground), {}, {})
    for name, y, skew in (
        ("right of way", lot.right_of_way_y, lot.skew_deg[0]),
        ("curb", lot.curb_y, lot.skew_deg[1]),
    ):
        tilt = np.tan(np.radians(skew))
        ends = np.array([[-110.0, y - 110.0 * tilt], [110.0, y + 110.0 * tilt]])
        truth.true_lines[name] = street.to_plan(ends[:: rng.choice([-1, 1])])
    for name, place in lot.points.items():
        truth.true_lines[f"point {name}"] = street.to_plan(place[None, :])[0]
    truth.true_lines["point cleanout"] = top
    return truth, tuple(bends)


def _map_plan(
    rng: np.random.Generator, noise: Noise, lot: _Lot, street: _Street, truth: Truth
) -> Plan:
    lines = []
    for name, kind, sds in (
        ("right of way", "right_of_way", (0.1, 0.3, 0.5)),
        ("curb", "curb", (0.5, 1.0, 1.0, 2.0)),
    ):
        begin, end = truth.true_lines[name]
        unit = (end - begin) / np.hypot(*(end - begin))
        right = np.array([unit[1], -unit[0]])
        sd = float(rng.choice(sds)) * FOOT
        shift = float(noise(sd))
        truth.line_shift_m[name] = shift
        share = np.linspace(0.0, 1.0, int(rng.integers(2, 5)))[:, None]
        lines.append(PlanLine(name, kind, begin + share * (end - begin) - shift * right, sd))
    sd = float(rng.choice([0.05, 0.1, 0.1, 0.2])) * FOOT
    points = tuple(
        PlanPoint(name, *(truth.true_lines[f"point {name}"] + noise(sd, 2)), sd)
        for name in (*lot.points, "cleanout")
    )
    return Plan(lines=tuple(lines), points=points)


def _describe_start(
    rng: np.random.Generator, noise: Noise, truth: Truth, riser: float, plan: Plan
) -> Start:
    sd, named = 0.5 * FOOT, rng.random() < 0.5
    mapped = plan.point("cleanout")
    place = truth.position_m[0, :2] + noise(sd, 2)
    if named:
        place = np.array([mapped.easting_m, mapped.northing_m])
    ahead = np.diff(
        truth.position_m[truth.reading_m > truth.reading_m[0] + riser][[0, 5], :2], axis=0
    )
    azimuth = np.degrees(np.arctan2(*ahead[0])) + float(noise(10.0))
    level = bool(np.ptp(truth.ground_m) == 0.0)
    return Start(
        easting_m=float(place[0]),
        northing_m=float(place[1]),
        sd_m=0.25 * FOOT if named else sd,
        point="cleanout" if named else None,
        depth_m=max(_rounded(truth.depth(truth.reading_m[0]) + noise(0.25 * FOOT)), 0.0),
        sd_depth_m=0.25 * FOOT,
        ground_m=None if level else float(truth.ground_m[0] + noise(0.05 * FOOT)),
        riser_m=riser,
        azimuth_deg=float(azimuth % 360.0) if rng.random() < 0.5 else None,
    )


def _locate(rng: np.random.Generator, noise: Noise, site: Site, truth: Truth) -> tuple[Locate, ...]:
    count = int(rng.integers(6, 15))
    first, last = site.start.riser_m + 2.0 * FOOT, site.run.end_m - 0.5 * FOOT
    footages = np.linspace(first, last, count)
    footages += rng.uniform(-0.35, 0.35, count) * (last - first) / count
    style = str(rng.choice(["taped", "gnss", "surveyed"], p=[0.7, 0.17, 0.13]))
    gnss_sd = float(rng.choice([1.0, 1.5, 2.0, 4.0])) * FOOT
    level, found = site.start.ground_m is None, []
    letters = rng.random() < 0.5
    for index, footage in enumerate(np.clip(footages, first, last)):
        noted = _rounded(footage)
        real = noted + float(noise(site.counter.sd_reading_m)) - site.transmitter.behind_lens_m
        deep = truth.depth(real)
        sd_mark = np.sqrt((0.25 * FOOT) ** 2 + (0.03 * deep) ** 2 + (0.007 * deep) ** 2)
        mark = truth.at(real)[:2] + noise(sd_mark, 2)
        held = float(rng.choice([0.0, 0.0, 0.0, 0.0, 0.5])) * FOOT
        exact = deep - site.transmitter.above_invert_m + held
        read = exact + float(noise(max(0.05 * exact, 0.25 * FOOT)))
        ground = float(np.interp(real, truth.reading_m, truth.ground_m)) + noise(0.05 * FOOT)
        found.append(
            Locate(
                mark=chr(ord("A") + index) if letters else f"{index + 1}",
                footage_m=noted,
                depth_m=max(_rounded(read), _TENTH) if rng.random() < 0.9 else None,
                held_above_m=held,
                ties=_tie(rng, noise, site, truth, mark, style, gnss_sd),
                ground_m=None if level or rng.random() < 0.2 else float(ground),
                place=Place("locates.csv", index + 2),
            )
        )
    return tuple(found)


def _tie(
    rng: np.random.Generator,
    noise: Noise,
    site: Site,
    truth: Truth,
    mark: Floats,
    style: str,
    gnss_sd: float,
) -> tuple[Tie, ...]:
    """Tie a mark as the job's technician mostly does, with a tape or an offset beside it."""
    ties: list[Tie] = []
    own = style if rng.random() < 0.85 else "taped"
    if own == "gnss":
        ties.append(PositionTie(*(mark + noise(gnss_sd, 2)), gnss_sd, "gnss"))
    if own == "surveyed":
        ties.append(PositionTie(*(mark + noise(_TENTH, 2)), _TENTH, "xy"))
    tapes = 2 + (rng.random() < 0.35) if own == "taped" else int(rng.choice([0, 0, 1, 2]))
    for index, name in enumerate(_points_to_tape(rng, truth, site, mark, tapes)):
        distance = float(np.hypot(*(mark - truth.true_lines[f"point {name}"])))
        sd = float(np.hypot(site.accuracy.tape_m, site.accuracy.tape_fraction * distance))
        read = max(_rounded(distance + noise(sd)), _TENTH)
        ties.append(TapeTie(name, read, sd, f"tape{index + 1}"))
    begin, end = truth.true_lines["curb"]
    unit = (end - begin) / np.hypot(*(end - begin))
    right = np.array([unit[1], -unit[0]])
    offset = float((mark - begin) @ right)
    if abs(offset) < 25.0 * FOOT and rng.random() < 0.5:
        past_right = float((truth.position_m[0, :2] - begin) @ right) < 0.0
        sd = site.accuracy.offset_m
        ties.append(OffsetTie("curb", _rounded(offset + noise(sd)), sd, True, bool(past_right)))
    return tuple(ties)


def _points_to_tape(
    rng: np.random.Generator, truth: Truth, site: Site, mark: Floats, count: int
) -> list[str]:
    """Return points within a long tape's reach that cross well at the mark, most of the time."""
    names = [point.name for point in site.plan.points]
    away = {name: mark - truth.true_lines[f"point {name}"] for name in names}
    reach = [name for name in names if 2.0 * FOOT < np.hypot(*away[name]) < 95.0 * FOOT]
    careful, chosen = rng.random() < 0.9, list[str]()
    for name in sorted(reach, key=lambda one: np.hypot(*away[one]) * rng.uniform(0.6, 1.4)):
        unit = away[name] / np.hypot(*away[name])
        others = [away[one] / np.hypot(*away[one]) for one in chosen]
        sines = [abs(unit[0] * one[1] - unit[1] * one[0]) for one in others]
        if len(chosen) < count and (len(chosen) != 1 or not careful or sines[0] > 0.35):
            chosen.append(name)
    return chosen


def _see(rng: np.random.Generator, noise: Noise, site: Site, truth: Truth) -> tuple[Finding, ...]:
    """Note six to ten findings, three to five of them within some feet of a line."""
    first, last = 0.5 * FOOT, site.run.end_m - 0.2 * FOOT
    footages = list(rng.uniform(first, last, int(rng.integers(3, 6))))
    for name, count in (
        ("curb", int(rng.integers(2, 4))),
        ("right of way", int(rng.integers(1, 3))),
    ):
        crossing = true_crossing_m(truth, name)
        if crossing is not None:
            footages.extend(crossing + rng.uniform(-5.0, 5.0, count) * FOOT)
    footages = [_rounded(one) for one in np.sort(np.clip(footages, first, last))]
    words = ["roots", "crack", "offset joint", "broken pipe", "standing water", "grease", "tap"]
    found = []
    for footage in footages:
        stretch = rng.random() < 0.2
        to = min(footage + _rounded(rng.uniform(1.0, 10.0) * FOOT), last) if stretch else None
        to = to if to is not None and to > footage + _TENTH else None
        found.append(Finding(footage, str(rng.choice(words)), to))
    truth.finding_reading_m = np.array(footages) + noise(site.counter.sd_reading_m, len(footages))
    return tuple(found)
