"""A reading that makes no sense as written raises a question with what it would be."""

from __future__ import annotations

from dataclasses import replace

import pytest
from adjust.builder import FOOT, straight_site, surveyed, three_tapes

from lateral_map.adjust.screening import measure_fit
from lateral_map.analysis.questions import ask_questions
from lateral_map.model.far import far_footages, main_is_claimed
from lateral_map.model.identity import ReadingId
from lateral_map.model.mending import mend
from lateral_map.model.readings import ended
from lateral_map.model.site import Finding, Place, TapeTie
from lateral_map.report import build_report
from lateral_map.words.diagnoses import diagnoses_told
from lateral_map.words.notices import report_notices


def changed(site, index, **fields):
    locates = list(site.locates)
    locates[index] = replace(locates[index], **fields)
    return replace(site, locates=tuple(locates))


def good(unit="ft", footages=(4.0, 9.0, 14.0), tie=surveyed):
    return replace(straight_site(locate_footages_m=footages, tie=tie), unit=unit)


@pytest.mark.parametrize("tie", [surveyed, three_tapes])
@pytest.mark.parametrize("unit", ["ft", "us_ft", "m"])
def test_sensible_readings_raise_no_question(tie, unit):
    assert ask_questions(good(unit, tie=tie)) == ()


@pytest.mark.parametrize("footages", [(9.0,), (4.0, 9.0, 14.0)])
@pytest.mark.parametrize("index", [0, -1])
def test_inches_typed_as_feet(footages, index):
    site = good(footages=footages)
    site = changed(site, index, depth_m=52.0 * FOOT)
    (asked,) = ask_questions(site)
    assert (asked.reading.kind, asked.unit) == ("depth", "in")
    assert asked.would_be_m == pytest.approx(52.0 * FOOT / 12.0)
    said = [one for one in report_notices(build_report(site)) if "inches?" in one]
    assert said
    assert "52 in is 4.3 ft" in said[0]


def test_centimetres_typed_as_metres():
    (asked,) = ask_questions(changed(good("m"), 1, depth_m=140.0))
    assert (asked.unit, asked.would_be_m) == ("cm", pytest.approx(1.4))


class TestAFarFootage:
    """Typed without its decimal point, with nothing else to say where the run ends."""

    def open_ended(self, site):
        return ended(replace(site, run=replace(site.run, end_given=False)))

    def test_of_a_locate_is_named_and_no_verdict_rests_on_it(self):
        site = good(footages=(4.0, 8.0, 12.0, 16.0), tie=three_tapes)
        far = self.open_ended(changed(site, 1, footage_m=80.0))
        report = build_report(far)
        first = report.diagnoses[0]
        assert (first.slip.slip, first.slip.id.of) == ("footage misread", "2")
        assert first.would_read == pytest.approx(8.0, abs=0.2)
        assert report.questions[0].ends_run
        assert mend(far, first.slip).run.end_m == 16.0

    def test_of_a_finding_is_asked_and_its_side_left_open(self):
        site = replace(good(), findings=(Finding(5.0, "crack"), Finding(92.0, "roots")))
        report = build_report(self.open_ended(site))
        (asked,) = report.questions
        assert (asked.finding, asked.would_be_m) == (1, pytest.approx(9.2))
        near, far = report.findings
        assert (near.asked, near.verdict) == (False, "inside")
        assert (far.asked, far.verdict, far.answers) == (True, "too close to call", ())
        assert any("nothing else says" in one for one in report_notices(report))
        assert not main_is_claimed(report.site)
        assert main_is_claimed(replace(site, run=replace(site.run, end_given=True)))

    def test_out_of_its_tables_order(self):
        rows = [Place("locates.csv", row) for row in (2, 3, 4, 5)]
        site = good(footages=(2.0, 4.0, 12.0, 20.0))
        locates = tuple(replace(o, place=p) for o, p in zip(site.locates, rows, strict=True))
        site = replace(site, locates=locates)
        assert not far_footages(self.open_ended(site))
        (far,) = far_footages(self.open_ended(changed(site, 1, footage_m=40.0)))
        assert (far.reading.of, far.meant_m) == ("2", pytest.approx(4.0))


class TestARiser:
    """Whose depth may be that of its foot, and then counts it twice."""

    @pytest.mark.parametrize("locates", [(), (6.0, 12.0, 18.0)])
    def test_counted_twice_is_asked(self, locates):
        site = straight_site(riser_m=0.5, locate_footages_m=locates)
        start = site.start
        site = replace(site, start=replace(start, depth_m=start.depth_m + 0.5))
        (asked,) = ask_questions(site)
        assert asked.reading == ReadingId("start depth")
        assert asked.would_be_m == pytest.approx(start.depth_m)
        assert any("riser's foot?" in one for one in report_notices(build_report(site)))

    def test_is_not_asked_about_where_the_depths_beyond_agree(self):
        assert ask_questions(straight_site(riser_m=0.5, locate_footages_m=(6.0, 12.0, 18.0))) == ()

    def test_from_the_ground_is_not_asked_about(self):
        site = straight_site(riser_m=1.2)
        assert ask_questions(replace(site, start=replace(site.start, depth_m=0.0))) == ()


def test_a_tape_in_inches():
    site = good(tie=three_tapes)
    first, *rest = site.locates[1].ties
    inches = replace(first, distance_m=first.distance_m * 12.0)
    (asked,) = ask_questions(changed(site, 1, ties=(inches, *rest)))
    assert isinstance(inches, TapeTie)
    assert asked.reading == ReadingId("tape", "2", "tape1")
    assert (asked.unit, asked.would_be_m) == ("in", pytest.approx(first.distance_m))


def test_a_decimal_point_left_out_of_a_footage():
    site = replace(good(), findings=(Finding(11.3, "roots"), Finding(113.0, "crack")))
    (asked,) = ask_questions(site)
    assert (asked.reading.kind, asked.unit) == ("footage", "point")
    assert asked.would_be_m == pytest.approx(11.3)


def test_nothing_left_over_has_no_chance_of_a_worse_fit():
    report = build_report(replace(straight_site(), bends=()))
    assert report.fit.degrees_of_freedom == 0
    assert measure_fit(report.route).p_value is None


def test_no_diagnosis_is_told_as_certain():
    """A tape read 30 ft off leaves no other explanation standing, and its price is a judgement."""
    site = good(footages=(4.0, 9.0, 14.0, 19.0, 24.0, 29.0))
    wrong = changed(site, 3, depth_m=site.locates[3].depth_m + 30.0 * FOOT)
    assert diagnoses_told(build_report(wrong))[0].endswith("(> 99 %)")
