"""A report built by hand, so that drawings are tested apart from the adjustment."""

# ruff: noqa: E501  (the invented site reads best as a table)

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from shapely.geometry import LineString, Polygon, box

from lateral_map.adjust.marks import place_locates
from lateral_map.analysis.conflicts import find_conflicts
from lateral_map.analysis.trench import lay_trench
from lateral_map.analysis.trench_rules import read_trench_rules
from lateral_map.frame import Frame, local_frame, projected_frame_at
from lateral_map.model.identity import ReadingId
from lateral_map.model.results import (
    Crossing,
    DigBuffer,
    FallStretch,
    FindingResult,
    Fit,
    FoundPlace,
    NextLocate,
    PipeStretch,
    ReadingCheck,
    Report,
    ResponsibilityStretch,
    Settling,
    Side,
    Stations,
    Uncrossed,
)
from lateral_map.model.route import Alternative, Chain, Ground, Layout, Observation, Route
from lateral_map.model.site import (
    Accuracy,
    AlongTie,
    Bend,
    Boundary,
    DigRules,
    Finding,
    Locate,
    OffsetTie,
    PipeRun,
    Plan,
    PlanArea,
    PlanLine,
    PlanPoint,
    PositionTie,
    Run,
    Site,
    SpotLevel,
    Start,
    TapeTie,
    UtilityLine,
)
from lateral_map.units import metres_per


@dataclass(frozen=True)
class Wishes:
    """What one test wants changed of the invented site."""

    unit: str = "ft"
    local: bool = False
    level_ground: bool = False
    name: str = "Invented yard 7"
    word: str | None = None  # put in every text field
    findings: int = 8
    length_units: float = 100.0
    alternatives: bool = False
    centre: tuple[float, float] = (-84.5, 42.7)


FINDING_WORDS = (
    "roots", "crack", "offset joint", "standing water", "grease", "tap", "broken pipe", "transition",
)  # fmt: skip
VERDICT_PAST = (-38.0, -21.0, -9.0, -0.6, 0.4, 5.0, 9.5, 16.0)


class ReportMaker:
    """Builds one report; lengths inside are in the site's own unit until the model is made."""

    def __init__(self, wishes: Wishes) -> None:
        self.wishes = wishes
        self.metre = metres_per(wishes.unit)
        # A metric site of 100 would be three times as long: keep the ground about the same.
        self.scale = self.metre * (1.0 if wishes.unit != "m" else 0.3048)

    def said(self, ordinary: str) -> str:
        return ordinary if self.wishes.word is None else self.wishes.word

    def m(self, value: float) -> float:
        return value * self.scale

    def points(self, *pairs: tuple[float, float]) -> np.ndarray:
        return np.array(pairs, float) * self.scale

    def frame(self) -> Frame:
        if self.wishes.local:
            return local_frame(self.wishes.unit)
        crs = "EPSG:26916" if self.wishes.unit == "m" else "EPSG:6499"
        return projected_frame_at(crs, *self.wishes.centre)

    def plan(self) -> Plan:
        house = box(-34, -12, -1, 26)
        lawn = Polygon([(-1, -30), (58, -30), (58, 30), (-1, 30)])
        walk = box(58, -30, 63, 30)
        verge = box(63, -30, 70, 30)
        street = box(70.5, -30, 104, 30)
        bed = Polygon([(2, 10), (9, 10), (12, 16), (8, 22), (2, 20)])

        def area(name: str, kind: str, polygon: Polygon, cover: Any = None) -> PlanArea:
            ring = np.asarray(polygon.exterior.coords) * self.scale
            return PlanArea(self.said(name), kind, Polygon(ring), cover)  # type: ignore[arg-type]

        lines = (
            PlanLine(
                self.said("right of way"),
                "right_of_way",
                self.points((58, -30), (58, 30)),
                self.m(0.3),
            ),
            PlanLine(self.said("curb"), "curb", self.points((70.5, -30), (70.5, 30)), self.m(0.5)),
            PlanLine(
                self.said("street centre"),
                "centreline",
                self.points((88, -30), (88, 30)),
                self.m(1.0),
            ),
            PlanLine(
                self.said("north lot line"),
                "property_line",
                self.points((-34, 29), (58, 29)),
                self.m(0.3),
            ),
        )
        utilities = (
            UtilityLine(self.said("gas main"), "gas", self.points((66, -30), (66, 30)), self.m(3.0), self.m(1.0), self.said("utility record")),
            UtilityLine(self.said("water main"), "water", self.points((80, -30), (80, 30)), self.m(5.0), self.m(1.0)),
            UtilityLine(self.said("water service"), "water", self.points((0, -8), (80, -9.5))),
            UtilityLine(self.said("cable"), "communication", self.points((61, -30), (61, 30))),
        )  # fmt: skip
        return Plan(
            lines=lines,
            utilities=utilities,
            points=(
                PlanPoint(self.said("house SE"), self.m(-1), self.m(-12), self.m(0.1)),
                PlanPoint(self.said("house NE"), self.m(-1), self.m(26), self.m(0.1)),
                PlanPoint(self.said("hydrant"), self.m(68), self.m(12), self.m(0.2), self.m(100)),
            ),
            levels=(SpotLevel(self.m(20), self.m(6), self.m(100.2), self.said("lawn")),),
            areas=(
                area("lawn", "surface", lawn, "lawn"),
                area("bed", "surface", bed, "planting"),
                area("walk", "surface", walk, "concrete"),
                area("verge", "surface", verge, "gravel"),
                area("street", "surface", street, "asphalt"),
                area("house", "building", house),
            ),
        )

    def locates(self) -> tuple[Locate, ...]:
        p = self.plan()
        corner, hydrant = p.points[0].name, p.points[2].name
        curb = p.lines[1].name
        note = self.said("in the bed, probe hit the pipe")
        sd = self.m(0.15)
        m = self.m
        return (
            Locate("A", m(8.5), m(4.2), 0.0, (TapeTie(corner, m(15), sd), TapeTie(p.points[1].name, m(26), sd, "tape2")), note=note),
            Locate("B", m(24), m(4.7), m(0.4), (PositionTie(m(24.3), m(-1.1), m(2.0), "gnss"),)),
            Locate("C", m(45), m(5.4), 0.0, (PositionTie(m(41.0), m(-9.0), m(0.2), "xy"), OffsetTie(curb, m(-29), m(0.1))), note=note),
            Locate("D", m(57), None, 0.0, (TapeTie(hydrant, m(24), sd),), ground_m=m(99.6)),
            Locate("E", m(70), m(6.6), 0.0, (OffsetTie(curb, m(0.8), m(0.1), True), AlongTie(curb, m(18), m(0.2)))),
            Locate("F", m(74), m(6.8), 0.0, (), use=False, note=self.said("bus went by, reading jumped")),
        )  # fmt: skip

    def bends(self) -> tuple[Bend, ...]:
        return (
            Bend(self.m(30), 45.0, 0.0, "fitting", self.said("long sweep")),
            Bend(self.m(42), -45.0, 11.25, "eye", self.said("")),
        )

    def findings(self) -> tuple[Finding, ...]:
        count, length = self.wishes.findings, self.wishes.length_units
        footages = np.linspace(0.1 * length, 0.97 * length, count)
        severities = ("severe", "minor", "moderate", None)
        return tuple(
            Finding(
                self.m(float(at)),
                self.said(FINDING_WORDS[i % 8]),
                self.m(float(at) + 3.5) if i % 8 == 3 else None,
                severities[i % 4],  # type: ignore[arg-type]
                self.said("at the joint" if i % 2 else ""),
            )
            for i, at in enumerate(footages)
        )

    def site(self) -> Site:
        m, wishes = self.m, self.wishes
        plan = self.plan()
        accuracy = Accuracy(
            m(0.1), 0.002, m(0.25), 0.03, m(0.1), m(0.05), 0.9, 2.0, 8.0, 0.02, 0.02, 0.4, m(1), m(0.3)
        )  # fmt: skip
        boundaries = (
            Boundary(plan.lines[0].name, self.said("owner"), self.said("city"), decides=False),
            Boundary(plan.lines[1].name, self.said("owner"), self.said("city"), decides=True),
        )
        return Site(
            name=self.said(wishes.name),
            frame=self.frame(),
            unit=wishes.unit,  # type: ignore[arg-type]
            start=Start(0.0, 0.0, m(0.3), point=self.said("cleanout"), depth_m=m(4.0)),
            accuracy=accuracy,
            run=Run(m(wishes.length_units)),
            date=dt.date(2026, 5, 4),
            pipes=(
                PipeRun(0.0, "hdpe", 0.127),
                PipeRun(m(17), "bituminous fibre", 0.1016),
                PipeRun(m(51), "abs", 0.0762),
            ),
            boundaries=boundaries,
            dig=DigRules(0.6096, self.said("24 in each side, the invented town's rule")),
            locates=self.locates(),
            bends=self.bends(),
            findings=self.findings(),
            plan=plan,
        )

    def route(self, site: Site) -> Route:
        m, wishes = self.m, self.wishes
        length = m(wishes.length_units)
        chain = Chain(0.0, 0.0, np.array([0.0, m(30), m(42), length]))
        layout = Layout(3, 0, 0, (), (), 0)
        level = wishes.level_ground
        knots = np.array([0.0, m(20), m(60), m(72), length])
        levels = np.zeros(5) if level else m(1) * np.array([100.4, 100.2, 99.5, 98.9, 99.1])
        start_up = (0.0 if level else m(100.4)) - m(4.0)
        unknowns = np.zeros(layout.size)
        unknowns[2] = start_up
        unknowns[layout.azimuth] = np.radians([88.0, 133.0, 88.0])
        unknowns[layout.pitch] = [0.02, 0.021, 0.024]
        sd = np.zeros(layout.size)
        sd[:3] = m(0.3)
        sd[3:5] = 0.004, m(0.1)
        sd[layout.azimuth] = np.radians([1.0, 1.4, 1.0])
        sd[layout.pitch] = 0.004
        alternatives = (self.points((0, 0), (28, 9), (60, 14)),) if wishes.alternatives else ()
        return Route(
            site=site,
            chain=chain,
            layout=layout,
            ground=Ground(knots, levels, np.full(5, m(0.05)), level, np.array([])),
            unknowns=unknowns,
            covariance=np.diag(sd**2),
            residuals=np.zeros(4),
            design=np.zeros((4, layout.size)),
            observations=(
                Observation(ReadingId("start position"), 0.0, slice(0, 2), np.eye(2), np.eye(2)),
            ),
            alternatives=tuple(
                Alternative(line, unknowns, np.diag(sd**2), 0.0, 0.5) for line in alternatives
            ),
            tied_footages_m=np.array([m(8), m(23.5), m(44.5), m(56.5), m(69.5)]),
            iterations=4,
        )

    def stations(self, site: Site, route: Route) -> Stations:
        m = self.m
        length = m(self.wishes.length_units)
        step = 0.25 if site.unit == "m" else m(1)
        events = [b.footage_m for b in site.bends]
        events += [x.footage_m - site.transmitter.behind_lens_m for x in site.locates]
        events += [f.footage_m for f in site.findings]
        footage = np.unique(np.round([*np.arange(0.0, length, step), *events, length], 9))
        footage = footage[footage <= length]
        place = route.positions(footage)
        depth, depth_sd = route.depths(footage)
        heading, heading_sd = route.headings_deg(footage)
        nearest = np.abs(footage[:, None] - route.tied_footages_m).min(axis=1)
        across = np.hypot(m(0.25), 0.045 * nearest)
        along = np.full_like(footage, m(0.35))
        last = float(route.tied_footages_m.max())
        basis = tuple(
            "dead reckoned" if f > last + m(1) else "located" if near < m(1) else "between locates"
            for f, near in zip(footage, nearest, strict=True)
        )
        return Stations(
            footage_m=footage, easting_m=place[:, 0], northing_m=place[:, 1],
            elevation_m=place[:, 2], ground_m=place[:, 2] + depth, depth_m=depth,
            depth_sd_m=np.hypot(depth_sd, 0.02 * depth), heading_deg=heading,
            heading_sd_deg=heading_sd, across_sd_m=across, along_sd_m=along,
            semi_major_m=2.4477 * np.maximum(across, along),
            semi_minor_m=2.4477 * np.minimum(across, along),
            ellipse_azimuth_deg=np.where(across > along, heading + 90.0, heading) % 180.0,
            basis=basis,  # type: ignore[arg-type]
            events=tuple(() for _ in footage),
            ground_known=not self.wishes.level_ground,
        )  # fmt: skip

    def crossings(self, site: Site, route: Route) -> tuple[Crossing, ...]:
        plan = LineString(
            route.positions(np.linspace(0, self.m(self.wishes.length_units), 400))[:, :2]
        )
        found = []
        for index in (0, 1):
            line = site.plan.lines[index]
            meeting = plan.intersection(LineString(line.vertices_m))
            footage = float(plan.project(meeting))
            found.append(
                Crossing(
                    line.name, line.kind, footage, self.m(0.42), meeting.x, meeting.y,
                    float(route.depths([footage])[0][0]), self.m(0.2), 88.0, index == 1, index == 1,
                    (ReadingId("along", "E", "along"), ReadingId("offset", "E", "past")),
                )
            )  # fmt: skip
        return tuple(found)

    def finding_results(
        self, site: Site, route: Route, stations: Stations
    ) -> tuple[FindingResult, ...]:
        results = []
        for i, finding in enumerate(site.findings):
            sides = self.sides(site, VERDICT_PAST[i % 8])
            verdict, has_end = sides[1].verdict, finding.to_m is not None
            parties = (site.boundaries[1].inside, site.boundaries[1].outside)
            answers = {"inside": parties[:1], "past": parties[1:]}.get(verdict, ())
            settling = Settling(
                "tape from line", site.boundaries[1].line, self.m(71), "E", self.m(0.9), self.m(0.3)
            )
            results.append(
                FindingResult(
                    number=i + 1,
                    finding=finding,
                    finding_class="defect",
                    near=self.found(route, stations, finding.footage_m),
                    far=self.found(route, stations, finding.to_m) if has_end else None,
                    sides=sides,
                    sides_to=sides if has_end else (),
                    deciding=sides[1],
                    deciding_to=sides[1] if has_end else None,
                    verdict=verdict,
                    answers=answers,
                    may_answer=answers or parties,
                    rests_on=(ReadingId("offset", "E", "past"), ReadingId("offset", "C", "offset")),
                    settling=settling if i % 8 in (3, 4) else None,
                )
            )  # fmt: skip
        return tuple(results)

    def sides(self, site: Site, past_units: float) -> tuple[Side, ...]:
        from scipy.stats import norm

        sides = []
        for shift, boundary in ((12.5, site.boundaries[0]), (0.0, site.boundaries[1])):
            past = past_units + shift
            chance = float(norm.cdf(past / 0.45))
            verdict = (
                "past" if chance > 0.95 else "inside" if chance < 0.05 else "too close to call"
            )
            sides.append(Side(boundary.line, self.m(past), self.m(0.45), chance, verdict))  # type: ignore[arg-type]
        return tuple(sides)

    def found(self, route: Route, stations: Stations, footage_m: float) -> FoundPlace:
        east, north, _ = route.positions([footage_m])[0]
        depth, sd = route.depths([footage_m])
        k = stations.index_of(footage_m)
        return FoundPlace(
            footage_m, float(east), float(north), float(depth[0]), float(sd[0]),
            float(stations.semi_major_m[k]), float(stations.semi_minor_m[k]),
            float(stations.ellipse_azimuth_deg[k]), stations.basis[k],
        )  # fmt: skip

    def readings(self, site: Site) -> tuple[ReadingCheck, ...]:
        m = self.m
        rows = (
            ("tape", "A", "tape1", 0.11, 0.7, 0.5, "good"), ("tape", "A", "tape2", -0.2, -1.2, 0.5, "good"),
            ("depth", "A", "depth", 0.1, 0.4, 0.4, "good"), ("position", "B", "gnss", 1.9, 0.9, 0.9, "good"),
            ("position", "C", "xy", 4.7, 5.6, 0.7, "suspect"), ("offset", "C", "offset", 0.3, 1.4, 0.3, "good"),
            ("tape", "D", "tape1", 0.0, 0.0, 0.0, "unchecked"), ("offset", "E", "past", 0.05, 0.3, 0.3, "good"),
        )  # fmt: skip
        footage = {locate.mark: locate.footage_m for locate in site.locates}
        checks = [
            ReadingCheck(
                ReadingId(kind, mark, column), m(off), False, w, r, verdict,  # type: ignore[arg-type]
                verdict == "suspect", footage[mark],
            )
            for kind, mark, column, off, w, r, verdict in rows
        ]  # fmt: skip
        turn = ReadingId("turn", "30", "turn")
        checks.append(ReadingCheck(turn, 1.8, True, 0.8, 0.4, "good", False, m(30)))
        return tuple(checks)

    def dig(self, stations: Stations) -> DigBuffer:
        place = np.stack([stations.easting_m, stations.northing_m], axis=-1)
        lateral = 1.96 * stations.across_sd_m
        rule = self.said("24 in each side, the invented town's rule")
        return DigBuffer(
            centre_m=np.pad(place, ((1, 1), (0, 0)), mode="edge"),
            heading_deg=np.pad(stations.heading_deg, 1, mode="edge"),
            half_width_m=lateral + 0.6096 + 0.08,
            lateral_m=lateral,
            tolerance_m=0.6096,
            rule=rule,
        )

    def report(self) -> Report:
        site = self.site()
        route = self.route(site)
        stations = self.stations(site, route)
        crossings = self.crossings(site, route)
        m, end = self.m, self.m(self.wishes.length_units)
        cross = crossings[1].footage_m
        owner, city = site.boundaries[1].inside, site.boundaries[1].outside
        east, north, _ = route.positions([m(85)])[0]
        readings = self.readings(site)
        pipes = (
            PipeStretch(0.0, m(17), "hdpe", 0.127, 0.1413, "nominal"),
            PipeStretch(m(17), m(51), "bituminous fibre", 0.1016, 0.1219, "nominal"),
            PipeStretch(m(51), end, "abs", 0.0762, 0.0889, "nominal"),
        )
        trench = lay_trench(stations, pipes, site.dig, read_trench_rules(site.dig))
        return Report(
            site=site, route=route, stations=stations, crossings=crossings,
            uncrossed=(
                Uncrossed(
                    site.plan.lines[3].name, "property_line", False, m(14), m(0.5), m(42)
                ),
            ),
            findings=self.finding_results(site, route, stations),
            responsibility=(
                ResponsibilityStretch(0.0, cross, owner, 0.0, m(0.42), "", crossings[1].line),
                ResponsibilityStretch(cross, end, city, m(0.42), 0.0, crossings[1].line, ""),
            ),
            client=owner, client_assumed=False, letters=(),
            falls=(
                FallStretch(0.0, m(23.5), 0.021, 0.004, 0.02, "readings cannot tell", False),
                FallStretch(m(23.5), m(44.5), 0.023, 0.001, 0.02, "enough fall", False),
                FallStretch(m(44.5), m(69.5), 0.004, 0.003, 0.01, "too flat", False),
                FallStretch(m(69.5), end, 0.024, 0.02, None, "readings cannot tell", False),
            ),
            pipes=pipes,
            dig=self.dig(stations),
            readings=readings, locates=place_locates(route, readings),
            fit=Fit(30, 25, 5, 4.1, 0.53),
            next_locate=NextLocate(
                m(85), m(85.5), float(east), float(north),
                "finding" if site.findings else "crossing", crossings[1].line,
                1 if site.findings else None, m(0.9), m(0.3),
            ),
            trench=trench, utilities=find_conflicts(route, trench, 0.6096),
        )  # fmt: skip


@cache
def build(**wishes: Any) -> Report:
    return ReportMaker(Wishes(**wishes)).report()
