"""Whole site folders, made up from a seed: a true line, its readings, and a plan round it.

Nothing in them is real: names are invented words and the places lie in open water. Lengths are laid
out in feet and written in the site's own unit.
"""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from pyproj import Transformer

Floats = NDArray[np.float64]

_CRS: Final = {
    # unit -> (system, longitude, latitude) in open water
    "ft": ("EPSG:6499", -83.62, 43.86),
    "us_ft": ("EPSG:6597", -122.93, 48.28),
    "m": ("EPSG:25832", 7.31, 54.42),
}
# How one unit of footage is in feet.
_FEET: Final = {"ft": 1.0, "us_ft": 1.0, "m": 1.0 / 0.3048}
_LINES: Final = {
    "lot line": "property_line",
    "right of way": "right_of_way",
    "curb": "curb",
    "street centre": "centreline",
}
_OWNER, _TERRACE, _CITY, _COUNTY = "owner", "Ambersea Terrace association", "city", "Osper county"
# What may decide, from the house on: (place, inside, outside). Places of _LINES, main, cleanout.
_RULES: Final[dict[str, tuple[tuple[str, str, str], ...]]] = {
    "nothing": (),
    "right of way": (("right of way", _OWNER, _CITY),),
    "curb": (("curb", _OWNER, _CITY),),
    "two lines": (("lot line", _OWNER, _TERRACE), ("curb", _TERRACE, _CITY)),
    "three lines": (
        ("lot line", _OWNER, _TERRACE),
        ("right of way", _TERRACE, _CITY),
        ("curb", _CITY, _COUNTY),
    ),
    "owner on both sides": (("right of way", _OWNER, _OWNER),),
    "owner again": (("lot line", _OWNER, _TERRACE), ("curb", _TERRACE, _OWNER)),
    "to the main": (("main", _OWNER, _CITY),),
    "line and main": (("right of way", _OWNER, _CITY), ("main", _CITY, _COUNTY)),
    "contradicting": (("right of way", _OWNER, _CITY), ("curb", _OWNER, _CITY)),
    "cleanout": (("cleanout", _OWNER, _CITY),),
    "cleanout and curb": (("cleanout", _OWNER, _TERRACE), ("curb", _TERRACE, _CITY)),
}
_DEFECTS: Final = (
    "crack", "roots", "offset joint", "broken pipe", "standing water", "grease", "hole",
)  # fmt: skip
_DANGERS: Final = ("gas pipe through sewer", "electric cable in the sewer")
_UTILITIES: Final = ("gas", "electric", "water", "communication", "reclaimed", "sewer")


@dataclass(frozen=True, slots=True)
class Traits:
    """What a made-up site is to show."""

    unit: str = "ft"
    local: bool = False
    from_street: bool = False
    rule: str = "right of way"
    client: str = ""
    danger: bool = False
    trouble: str = ""  # "", tape or depth: one reading of this kind is grossly wrong
    set_aside: bool = False
    shared_name: bool = False  # a reference point is called like the curb
    utility_like_line: bool = False  # a utility is called like a line of the plan
    levels: bool = False
    located: bool = True  # else dead reckoned
    behind: bool = False  # the first line that decides lies behind the start, within its accuracy
    bends: int = 1
    stretches: int = 3


COVERING: Final = (
    Traits(trouble="tape", danger=True, stretches=4),
    Traits("us_ft", rule="three lines", client=_TERRACE, set_aside=True, stretches=5),
    Traits("m", from_street=True, rule="two lines", shared_name=True, levels=True),
    Traits(local=True, rule="owner on both sides", danger=True, utility_like_line=True),
    Traits("m", local=True, rule="line and main", client=_OWNER, stretches=5, bends=2, behind=True),
    Traits("us_ft", from_street=True, rule="three lines", client=_OWNER, trouble="depth"),
    Traits(rule="cleanout and curb", set_aside=True, levels=True, utility_like_line=True),
    Traits("m", rule="owner again", trouble="tape", stretches=4),
    Traits(rule="to the main", shared_name=True, danger=True),
    Traits("us_ft", rule="nothing", set_aside=True, stretches=2, bends=0),
    Traits(local=True, located=False, rule="contradicting", shared_name=True),
    Traits("m", from_street=True, local=True, rule="cleanout", client=_CITY, danger=True),
)


def traits_of(seed: int) -> Traits:
    """Return the traits of a seed: the covering ones first, then drawn by chance."""
    if seed < len(COVERING):
        return COVERING[seed]
    rng = np.random.default_rng((seed, 1))
    rule = str(rng.choice([name for name in _RULES if name != "contradicting"]))
    if rule in ("right of way", "curb") and seed % 4 == 0:
        rule = "contradicting"
    parties = sorted({party for _, *both in _RULES[rule] for party in both})
    return Traits(
        unit=str(rng.choice(["ft", "us_ft", "m"])),
        local=bool(rng.random() < 0.3),
        # A run from the main never meets it.
        from_street="main" not in rule and bool(rng.random() < 0.35),
        rule=rule,
        client=str(rng.choice(parties)) if parties and rng.random() < 0.5 else "",
        danger=bool(rng.random() < 0.3),
        trouble=str(rng.choice(["", "", "tape", "depth"])),
        set_aside=bool(rng.random() < 0.4),
        shared_name=bool(rng.random() < 0.3),
        utility_like_line=bool(rng.random() < 0.3),
        levels=bool(rng.random() < 0.3),
        located=bool(rng.random() < 0.85),
        bends=int(rng.integers(0, 3)),
        stretches=int(rng.integers(1, 7)),
        behind=bool(rng.random() < 0.2),
    )


def write_site(folder: Path, seed: int, traits: Traits | None = None) -> Traits:
    """Write a whole site folder and return what it shows; the same seed writes the same bytes."""
    traits = traits or traits_of(seed)
    Maker(np.random.default_rng((seed, 2)), traits).write(folder, seed)
    return traits


@dataclass
class Maker:
    """One site being made. Places and lengths are in feet, x to the right of the page, y up it."""

    rng: np.random.Generator
    traits: Traits
    names: dict[str, Floats] = field(default_factory=dict)
    says_direction: bool = False

    def write(self, folder: Path, seed: int) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.walk()
        tables = {
            "locates.csv": self.locates(),
            "bends.csv": self.bend_rows(),
            "findings.csv": self.findings(),
        }
        for name, rows in tables.items():
            if not rows:
                continue
            columns = list(dict.fromkeys(key for row in rows for key in row))
            with (folder / name).open("w", encoding="utf-8", newline="") as file:
                writer = csv.DictWriter(file, columns, lineterminator="\n")
                writer.writeheader()
                writer.writerows(rows)
        (folder / "site.toml").write_text(self.site_toml(seed), "utf-8")
        plan = {"type": "FeatureCollection", "features": self.plan()}
        (folder / "plan.geojson").write_text(json.dumps(plan), "utf-8")

    # ── the truth ────────────────────────────────────────────────────────────────────────────────

    def walk(self) -> None:
        """Lay the true line and what it crosses. The house end is at the left, the main right."""
        rng, traits = self.rng, self.traits
        self.end = float(rng.uniform(62.0, 118.0))
        self.heading = float(rng.uniform(0.0, 360.0))
        turns = rng.choice([-45.0, -30.0, -22.5, 15.0, 22.5, 30.0], traits.bends)
        places = np.sort(rng.uniform(0.15, 0.8, traits.bends)) * self.end
        self.bends = [(float(at), float(turn)) for at, turn in zip(places, turns, strict=True)]
        step = 0.1
        self.footage = np.arange(0.0, self.end + step, step)
        turned = sum(np.where(self.footage >= at, turn, 0.0) for at, turn in self.bends)
        wander = np.cumsum(rng.normal(0.0, 0.35 * np.sqrt(step), len(self.footage)))
        heading = np.radians(self.heading + turned + wander)
        steps = step * np.stack([np.sin(heading), np.cos(heading)], axis=-1)
        self.line = np.concatenate([[[0.0, 0.0]], np.cumsum(steps[:-1], axis=0)])
        start, fall = float(rng.uniform(2.5, 5.0)), float(rng.uniform(0.012, 0.03))
        self.depth = start + fall * self.footage
        # Lines of the plan, as shares of the run from the house.
        shares = np.sort(rng.uniform(0.25, 0.8, 3)) + np.array([0.0, 0.03, 0.06])
        if traits.from_street:
            shares = 1.0 - shares[::-1]
            order = ("curb", "right of way", "lot line")
        else:
            order = ("lot line", "right of way", "curb")
        self.crossed = dict(zip(order, (float(s) * self.end for s in shares), strict=True))
        self.skew = float(rng.uniform(-25.0, 25.0))

    def place(self, footage: float) -> Floats:
        return np.array([np.interp(footage, self.footage, axis) for axis in self.line.T])

    def deep(self, footage: float) -> float:
        return float(np.interp(footage, self.footage, self.depth))

    def along(self, footage: float) -> Floats:
        """Unit vector of the pipe's direction."""
        ahead = self.place(min(footage + 0.5, self.end)) - self.place(max(footage - 0.5, 0.0))
        return np.asarray(ahead / np.hypot(*ahead))

    def across(self, footage: float) -> Floats:
        """Unit vector to the right of the pipe, turned by the plan's skew."""
        east, north = self.along(footage)
        turn = np.radians(self.skew)
        right = np.array([north, -east])
        c, s = np.cos(turn), np.sin(turn)
        return np.array([c * right[0] - s * right[1], s * right[0] + c * right[1]])

    # ── how it is written ────────────────────────────────────────────────────────────────────────

    def length(self, feet: float) -> float:
        return round(feet / _FEET[self.traits.unit], 3 if self.traits.unit == "m" else 2)

    def coordinates(self, places: Floats) -> list[list[float]]:
        """Places as GeoJSON has them: longitude and latitude, or a sketch's x and y."""
        own = np.atleast_2d(places) / _FEET[self.traits.unit]
        if self.traits.local:
            return [[round(float(x), 3), round(float(y), 3)] for x, y in own]
        crs, lon, lat = _CRS[self.traits.unit]
        there = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
        x0, y0 = there.transform(lon, lat)
        xs, ys = there.transform(own[:, 0] + x0, own[:, 1] + y0, direction="INVERSE")
        return [[round(float(x), 9), round(float(y), 9)] for x, y in zip(xs, ys, strict=True)]

    # ── tables ───────────────────────────────────────────────────────────────────────────────────

    def bend_rows(self) -> list[dict[str, Any]]:
        return [
            {"footage": self.length(at), "turn": turn, "how": "fitting", "note": "as seen"}
            for at, turn in self.bends
        ]

    def references(self) -> dict[str, Floats]:
        """Points to tape from, on both sides of the run."""
        if not self.names:
            for name, share, side in (
                ("house corner", 0.0, 14.0), ("shed corner", 0.2, -17.0), ("pear tree", 0.45, 15.0),
                ("lamp post", 0.7, -13.0), ("hydrant", 0.95, 16.0),
            ):  # fmt: skip
                at = share * self.end
                east, north = self.along(at)
                self.names[name] = self.place(at) + side * np.array([north, -east])
            if self.traits.shared_name:
                self.names["curb"] = self.names.pop("lamp post")
        return self.names

    def locates(self) -> list[dict[str, Any]]:
        rng, traits = self.rng, self.traits
        if not traits.located:
            return [
                {"mark": "A", "footage": self.length(0.3 * self.end), "depth": self.length(3.0)}
            ]
        points = self.references()
        shares = np.linspace(0.08, 0.93, 7)
        rows = []
        for i, share in enumerate(shares):
            at = float(np.round(share * self.end, 1))
            mark = self.place(at - 0.5) + rng.normal(0.0, 0.2, 2)
            near = sorted(points, key=lambda name: float(np.hypot(*(points[name] - mark))))[:3]
            row: dict[str, Any] = {"mark": "ABCDEFGHJ"[i], "footage": self.length(at)}
            row["depth"] = self.length(max(self.deep(at) - 0.12 + rng.normal(0.0, 0.15), 0.5))
            for k, name in enumerate(near, start=1):
                row[f"tape{k}_from"] = name
                tape = float(np.hypot(*(points[name] - mark))) + rng.normal(0.0, 0.06)
                if traits.trouble == "tape" and (i, k) == (3, 2):
                    tape += 4.0
                row[f"tape{k}"] = self.length(tape)
            if traits.trouble == "depth" and i == 4:
                row["depth"] = self.length(self.deep(at) + 6.0)
            row["use"] = ""
            row["note"] = "as marked, paint still wet" if i == 1 else ""
            rows.append(row)
        if traits.set_aside:
            at = float(np.round(0.5 * self.end, 1))
            aside = {"mark": "X", "footage": self.length(at), "use": "no", "note": "van over it"}
            aside["depth"] = self.length(self.deep(at) + 2.0)
            for k, name in enumerate(list(points)[1:4], start=1):
                mark = self.place(at - 0.5) + np.array([3.0, 2.0])
                aside[f"tape{k}_from"] = name
                aside[f"tape{k}"] = self.length(float(np.hypot(*(points[name] - mark))))
            rows.append(aside)
        return rows

    def findings(self) -> list[dict[str, Any]]:
        """Defects on both sides of every line and on it, stretches over it, features, dangers."""
        rng, traits = self.rng, self.traits
        rows: list[dict[str, Any]] = []

        def add(at: float, what: str, to: float | None = None, severity: str = "") -> None:
            at = min(max(at, 0.0), self.end)
            to = None if to is None else min(to, self.end)
            rows.append(
                {
                    "footage": self.length(at),
                    "to": "" if to is None or to <= at else self.length(to),
                    "finding": what,
                    "severity": severity or str(rng.choice(["minor", "moderate", "severe"])),
                    "note": str(rng.choice(["", "at the joint", "about 1/2 in, crown"])),
                }
            )

        for at in self.crossed.values():
            add(at + rng.normal(0.0, 0.3), str(rng.choice(_DEFECTS)))
            add(at + rng.uniform(3.0, 6.0), str(rng.choice(_DEFECTS)))
        for k in range(traits.stretches):
            at = float(rng.choice(list(self.crossed.values())))
            begin = at - rng.uniform(*((3.0, 9.0) if k % 2 == 0 else (-0.5, 1.0)))
            add(begin, str(rng.choice(_DEFECTS)), at + rng.uniform(3.0, 9.0))
        add(0.06 * self.end, "crack", severity="severe")
        add(self.transition(), "transition", severity="minor")
        add(0.4 * self.end, "tap", severity="minor")
        add(self.cleanout(), "cleanout", severity="minor")
        if traits.danger:
            add(rng.uniform(0.2, 0.9) * self.end, str(rng.choice(_DANGERS)), severity="severe")
        if not traits.from_street:
            add(self.end, "connection to the main", severity="minor")
        return sorted(rows, key=lambda row: float(row["footage"]))

    def transition(self) -> float:
        return 0.62 * self.end

    def cleanout(self) -> float:
        return (0.55 if not self.traits.from_street else 0.35) * self.end

    # ── site.toml ────────────────────────────────────────────────────────────────────────────────

    def site_toml(self, seed: int) -> str:
        traits = self.traits
        crs = "local" if traits.local else _CRS[traits.unit][0]
        accuracy = self.length(2.0 if self.behind() else 0.3)
        small = 25.4 if traits.unit == "m" else 1.0
        point, depth, azimuth = self.begins()
        from_street = self.goes_from_street()
        written = [
            "format = 1",
            f'[site]\nname = "Lot {seed}, Ambersea"\ndate = 2026-05-04',
            f'crs = "{crs}"\nunit = "{traits.unit}"',
            f'[start]\npoint = "{point}"\naccuracy = {accuracy}',
            f"depth = {self.length(depth)}\nazimuth = {azimuth:.1f}",
            *(
                f'[[pipe]]\nfrom = {self.length(at)}\nmaterial = "{material}"\n'
                f"size = {size * small:g}"
                for at, material, size in self.pipes()
            ),
            *self.boundaries(),
            '[dig]\ntolerance_zone = "24 in"\nrule = "invented for this site"\nsoil = "C"',
            f"[run]\nend_footage = {self.length(self.end)}",
            f'end = "{"not reached" if from_street else "main"}"',
        ]
        if self.says_direction:
            written.append(f'[job]\ncamera_direction = "{"up" if from_street else "down"}stream"')
        if traits.client:
            written.append(f'[referral]\nclient = "{traits.client}"\nfrom = "The camera office"')
        return "\n".join(written) + "\n"

    def begins(self) -> tuple[str, float, float]:
        """Return the start's point, its depth and the azimuth (degrees) in which the run leaves."""
        return self.start_name(), self.deep(0.0), self.heading

    def goes_from_street(self) -> bool:
        """Say whether the camera goes toward the house."""
        return self.traits.from_street

    def pipes(self) -> list[tuple[float, str, float]]:
        """Return where each pipe begins, its material and nominal size in inches."""
        return [(0.0, "concrete", 4.0), (self.transition(), "pvc", 6.0)]

    def start_name(self) -> str:
        return "manhole" if self.traits.from_street else "outlet"

    def behind(self) -> str:
        """Return the line that lies behind the start, the first that decides; empty for none."""
        rule = _RULES[self.traits.rule]
        rule = rule[::-1] if self.traits.from_street else rule
        lines = [place for place, *_ in rule if place in self.crossed]
        return lines[0] if lines and self.traits.behind else ""

    def boundaries(self) -> list[str]:
        """[[boundary]] tables; inside is the party on the start's side."""
        rule = _RULES[self.traits.rule]
        if self.goes_from_street():
            rule = tuple((place, out, ins) for place, ins, out in reversed(rule))
        decides = {place: (inside, outside) for place, inside, outside in rule}
        written = []
        for place in (*self.crossed, "main", "cleanout"):
            where = f'line = "{place}"' if place in self.crossed else f'at = "{place}"'
            if place in decides:
                inside, outside = decides[place]
                sides = f'inside = "{inside}"\noutside = "{outside}"\ndecides = true'
                written.append(f"[[boundary]]\n{where}\n{sides}")
            elif place == "curb":
                written.append(f"[[boundary]]\n{where}")
        return written

    # ── plan.geojson ─────────────────────────────────────────────────────────────────────────────

    def plan(self) -> list[dict[str, Any]]:
        features = []

        def add(geometry: str, places: Floats, **properties: Any) -> None:
            coordinates: Any = self.coordinates(places)
            if geometry == "Point":
                coordinates = coordinates[0]
            if geometry == "Polygon":
                coordinates = [[*coordinates, coordinates[0]]]
            kept = {key: value for key, value in properties.items() if value is not None}
            features.append(
                {
                    "type": "Feature",
                    "properties": kept,
                    "geometry": {"type": geometry, "coordinates": coordinates},
                }
            )

        for name, place in self.references().items():
            add("Point", place, kind="reference", name=name, accuracy=self.length(0.15))
        add(
            "Point",
            self.place(0.0),
            kind="reference",
            name=self.start_name(),
            accuracy=self.length(0.15),
        )
        if self.traits.levels:
            for share in (0.0, 0.35, 0.7, 1.0):
                at = share * self.end
                level = 100.0 + 0.01 * at
                add(
                    "Point",
                    self.place(at),
                    kind="ground",
                    name=f"level {share:g}",
                    z=self.length(level),
                )
        for name, crossed in self.crossed.items():
            at, back = (0.0, 0.2) if name == self.behind() else (crossed, 0.0)
            middle = self.place(at) - back * self.along(at)
            ends = np.stack([middle + s * 40.0 * self.across(at) for s in (-1.0, 1.0)])
            add(
                "LineString",
                ends,
                kind=_LINES[name],
                name=name,
                accuracy=self.length(self.rng.uniform(0.15, 0.5)),
            )
        self.utilities(add)
        corner = self.place(0.0) - 3.0 * self.along(0.0)
        right, back = self.across(0.0), -self.along(0.0)
        ring = np.stack(
            [
                corner - 10 * right,
                corner + 10 * right,
                corner + 10 * right + 18 * back,
                corner - 10 * right + 18 * back,
            ]
        )
        add("Polygon", ring, kind="building", name="house")
        return features

    def utilities(self, add: Any) -> None:
        rng = self.rng
        number = int(rng.integers(3, 7))
        for k in range(number):
            kind = _UTILITIES[k % len(_UTILITIES)]
            at = float(rng.uniform(0.1, 0.9)) * self.end
            depth = (
                None if rng.random() < 0.4 else self.length(rng.uniform(0.8, self.deep(at) + 1.5))
            )
            if rng.random() < 0.55:
                ends = np.stack([self.place(at) + s * 30.0 * self.across(at) for s in (-1.0, 1.0)])
            else:
                aside = float(rng.choice([-1.0, 1.0]) * rng.choice([0.8, 2.0, 6.0]))
                span = np.linspace(max(at - 15.0, 0.0), min(at + 15.0, self.end), 7)
                ends = np.stack(
                    [
                        self.place(f) + aside * np.array([self.along(f)[1], -self.along(f)[0]])
                        for f in span
                    ]
                )
            name = f"{kind} {'ABCDEFG'[k]}"
            if self.traits.utility_like_line and k == 1:
                name = "lot line"
            add(
                "LineString",
                ends,
                kind="utility",
                utility=kind,
                name=name,
                depth=depth,
                accuracy=self.length(1.0),
                source="paint marks",
            )
        if not self.traits.from_street:
            at = self.end
            ends = np.stack(
                [
                    self.place(at) + 0.3 * self.along(at) + s * 30.0 * self.across(at)
                    for s in (-1.0, 1.0)
                ]
            )
            add(
                "LineString",
                ends,
                kind="utility",
                utility="sewer",
                name="sewer main",
                depth=self.length(self.deep(at) - 0.3),
                accuracy=self.length(1.0),
            )
