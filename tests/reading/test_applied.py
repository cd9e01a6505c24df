"""[[applied]]: what is written of a slip is read back as the same slip, and what cannot be is told.

The folder is held against ``mend``, which the diagnoses are worked out with.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import numpy as np
import pytest

from lateral_map.errors import SiteError
from lateral_map.model.diagnosis import Slip
from lateral_map.model.identity import ReadingId
from lateral_map.model.mending import mend_all
from lateral_map.model.readings import readings_of, taken_otherwise
from lateral_map.model.site import Site
from lateral_map.reading.applied import applied_entries
from lateral_map.reading.folder import load_site
from lateral_map.words.names import footage_words, taken_words

FT = 0.3048
DEMO = Path(__file__).parents[2] / "demo_sites" / "plain_lot"


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """Return the plain lot with one mark by GNSS beside its tapes."""
    folder = tmp_path_factory.mktemp("lot") / "site"
    shutil.copytree(DEMO, folder)
    site = load_site(folder)
    places = site.frame.plane_to_lonlat([site.start.easting_m], [site.start.northing_m])
    lon, lat = (float(one[0]) for one in places)
    lines = (folder / "locates.csv").read_text().splitlines()
    head, *rows = lines
    rows = [f"{row},," for row in rows]
    rows.append(f"P,12.0{',' * (head.count(',') - 1)},{lat:.7f},{lon:.7f}")
    (folder / "locates.csv").write_text("\n".join([f"{head},lat,lon", *rows]) + "\n")
    return folder


def with_entries(folder: Path, where: Path, entries: tuple[str, ...]) -> Path:
    shutil.copytree(folder, where / "site")
    with (where / "site" / "site.toml").open("a") as file:
        file.write("".join(f"\n[[applied]]\n{entry}" for entry in entries))
    return where / "site"


def numbers(site: Site) -> list[float]:
    """Return everything of a site that a slip may change."""
    ties = [
        value
        for one in site.locates
        for tie in one.ties
        for name in ("distance_m", "along_m", "offset_m", "easting_m", "northing_m")
        if (value := getattr(tie, name, None)) is not None
    ]
    own = [v for one in site.locates for v in (one.footage_m, one.depth_m or 0.0, one.held_above_m)]
    bends = [v for one in site.bends for v in (one.footage_m, one.turn_deg, one.fall_deg)]
    start = site.start
    begin = [start.easting_m, start.northing_m, start.depth_m or 0.0, start.riser_m]
    begin += [start.azimuth_deg or 0.0, site.counter.zero_m, site.run.end_m]
    plan = [v for one in site.plan.points for v in (one.easting_m, one.northing_m)]
    plan += [float(v) for line in site.plan.lines for v in line.vertices_m.ravel()]
    return [*ties, *own, *bends, *begin, *plan, *(one.footage_m for one in site.findings)]


TAPE, DEPTH = ReadingId("tape", "D", "tape2"), ReadingId("depth", "D", "depth")
TURN = ReadingId("turn", "55.9", "turn")
SLIPS = [
    (Slip("tape misread", (5.025 * FT,), TAPE),),
    (Slip("another unit", (-2.1,), TAPE),),
    (Slip("tape from another point", (0.0,), TAPE, point="hydrant"),),
    (Slip("footage misread", (3 * FT,), ReadingId("footage", "B", "footage")),),
    (Slip("depth misread", (-1.0,), DEPTH),),
    (Slip("depth misread", (0.3,), ReadingId("start depth")),),
    (Slip("held above left out", (0.9,), DEPTH),),
    (Slip("held above left out", (0.9,)),),
    (Slip("offset misread", (0.5,), ReadingId("offset", "F", "past")),),
    (Slip("position misread", (2.0, -1.0), ReadingId("position", "P", "gnss")),),
    (Slip("positions shifted together", (1.0, 0.5)),),
    (Slip("bend turned the other way", (22.5,), TURN),),
    (Slip("bend angle", (-45.0,), TURN),),
    (Slip("bend misplaced", (2.0,), TURN),),
    (Slip("bend not noted", (22.5,), footage_m=9.0),),
    (Slip("counter not at zero", (1.2,)),),
    (Slip("counter slipped", (1.0,), footage_m=12.0),),
    (Slip("counter scale", (0.03,)),),
    (Slip("riser left out", (0.9,)),),
    (Slip("riser left out", (0.9,), at_foot=True),),
    (Slip("line mapped elsewhere", (0.6,), ReadingId("line", "curb")),),
    (Slip("point mapped elsewhere", (0.6, -0.2), ReadingId("point", "hydrant")),),
    (Slip("start elsewhere", (0.6, -0.2), ReadingId("start position")),),
    (Slip("azimuth", (30.0,), ReadingId("start azimuth")),),
    (Slip("counter slipped", (1.0,), footage_m=12.0), Slip("tape misread", (1.5,), TAPE)),
]


@pytest.mark.parametrize("slips", SLIPS, ids=lambda slips: slips[-1].slip)
def test_what_is_written_is_read_as_the_same_slips(folder, tmp_path, slips) -> None:
    site = load_site(folder)
    entries = applied_entries(site, slips)
    assert len(entries) == len(slips)
    read = load_site(with_entries(folder, tmp_path, entries))
    mended = mend_all(site, slips)
    assert mended is not None
    np.testing.assert_allclose(numbers(read), numbers(mended), atol=2e-4)
    other = numbers(site)
    assert slips[0].point or len(other) != len(numbers(read)) or other != numbers(read)
    assert [one.slip.slip for one in read.applied] == [one.slip for one in slips]
    # The tables stay as they are written.
    assert read.as_written is not None
    np.testing.assert_allclose(numbers(read.as_written), numbers(site))


def test_how_well_its_size_is_known_goes_with_it(folder, tmp_path) -> None:
    slip = Slip("counter not at zero", (1.2,), sd=0.2 * FT)
    (entry,) = applied_entries(load_site(folder), (slip,))
    assert "accuracy = 0.2\n" in entry
    (taken,) = load_site(with_entries(folder, tmp_path, (entry,))).applied
    assert taken.slip.sd == pytest.approx(slip.sd)


def test_a_reading_is_told_as_written_and_as_taken(folder, tmp_path) -> None:
    entries = applied_entries(load_site(folder), SLIPS[0])
    site = load_site(with_entries(folder, tmp_path, entries))
    assert taken_words(site, TAPE) == "as written 8.12 ft, taken as 3.1 ft"
    changed = [one for one in readings_of(site) if taken_otherwise(site, one)]
    assert changed == [TAPE]


def test_a_finding_that_a_slipped_counter_moves_says_what_the_counter_showed(
    folder, tmp_path
) -> None:
    slip = Slip("counter slipped", (2 * FT,), footage_m=12.0)
    site = load_site(with_entries(folder, tmp_path, applied_entries(load_site(folder), (slip,))))
    before = [one.footage_m for one in load_site(folder).findings]
    for was, one in zip(before, site.findings, strict=True):
        assert one.noted_m == (pytest.approx(was) if was > 12.0 else None)
        assert one.noted[0] == pytest.approx(was)
        assert ("the counter showed" in footage_words(one, "ft")) == (was > 12.0)


TAPE_ENTRY = 'slip = "tape misread"\nkind = "tape"\nof = "D"\ncolumn = "tape2"\n'


@pytest.mark.parametrize(
    ("entry", "field", "said"),
    [
        (TAPE_ENTRY.replace('"D"', '"Q"') + "size = 5", "", 'of = "Q"'),
        (TAPE_ENTRY, "", "how large"),
        (TAPE_ENTRY + "size = 5\nwould_read = 3", ".would_read", "size is given too"),
        (TAPE_ENTRY + "size = 0", "", "changes nothing"),
        (TAPE_ENTRY + "size = [1, 2]", ".size", "one number"),
        (TAPE_ENTRY + 'size = "five"', ".size", "not a length"),
        ('slip = "tape mislead"\nsize = 1', ".slip", "did you mean 'tape misread'"),
        ('slip = "tape misread"\nsize = 1', "", "write kind = 'tape'"),
        (TAPE_ENTRY.replace('kind = "tape"', 'kind = "depth"') + "size = 1", ".kind", "'tape'"),
        ('slip = "counter slipped"\nsize = 5', ".footage", "write footage"),
        (
            'slip = "footage misread"\nkind = "footage"\nof = "B"\ncolumn = "footage"\nsize = -500',
            "",
            "off the run",
        ),
        ('slip = "counter scale"\nsize = "3 ft"', ".size", "a share"),
        (TAPE_ENTRY.replace("misread", "from another point") + 'point = "well"', ".point", "well"),
        (TAPE_ENTRY + 'size = 5\npoint = "hydrant"', ".point", "leave it out"),
        ('slip = "riser left out"\nsize = 500', "", "would begin"),
        ('slip = "riser left out"\nsize = -5', "", "never negative"),
        ('slip = "counter scale"\nsize = -1', "", "no counter"),
        ('slip = "bend not noted"\nfootage = 20\nsize = 1000', "", "turns so far"),
        (TAPE_ENTRY + "size = 50", "", "less than nothing"),
        (
            'slip = "start elsewhere"\nkind = "start position"\nwould_read = 3',
            ".would_read",
            "size",
        ),
        (TAPE_ENTRY + "size = 5\nhow = 3", ".how", "unknown"),
    ],
)
def test_an_entry_that_does_not_fit_is_one_clear_fault(
    folder, tmp_path, entry, field, said
) -> None:
    with pytest.raises(SiteError) as raised:
        load_site(with_entries(folder, tmp_path, (entry + "\n",)))
    (fault,) = raised.value.faults
    assert (fault.file, fault.field) == ("site.toml", f"applied[1]{field}")
    assert fault.row is not None
    assert re.search(re.escape(said), fault.words)
    assert fault.remedy


def test_an_entry_is_held_against_the_site_as_mended_so_far(folder, tmp_path) -> None:
    moved = (
        'slip = "bend misplaced"\nkind = "turn"\nof = "55.9"\ncolumn = "turn"\nwould_read = 50\n'
    )
    turned = 'slip = "bend turned the other way"\nkind = "turn"\nof = "{}"\ncolumn = "turn"\n'
    load_site(with_entries(folder, tmp_path / "a", (moved, turned.format("50"))))
    with pytest.raises(SiteError, match=r'applied\[2\].*of = "55.9".*of = "50"'):
        load_site(with_entries(folder, tmp_path / "b", (moved, turned.format("55.9"))))


def test_a_run_that_ends_at_a_footage_alone_claims_the_main_once_that_is_put_right(
    folder, tmp_path
) -> None:
    where = with_entries(folder, tmp_path, ())
    text = (where / "site.toml").read_text()
    (where / "site.toml").write_text(re.sub(r"end_footage = .*", "", text))
    table = (where / "locates.csv").read_text()
    assert "\nD,40.0," in table
    assert load_site(where).run.reached_main
    (where / "locates.csv").write_text(table.replace("\nD,40.0,", "\nD,400,"))
    site = load_site(where)
    assert site.run.end_m == pytest.approx(400.0 * FT)
    assert not site.run.reached_main
    assert any("end_footage" in one for one in site.notices)
    slip = Slip("footage misread", (360.0 * FT,), ReadingId("footage", "D", "footage"))
    mended = load_site(with_entries(where, tmp_path / "mended", applied_entries(site, (slip,))))
    assert mended.run.end_m == pytest.approx(66.1 * FT)
    assert mended.run.reached_main


def test_an_entry_says_whether_it_was_checked(folder, tmp_path):
    entries = tuple(
        f'slip = "depth misread"\nkind = "depth"\nof = "{of}"\ncolumn = "depth"\nsize = 0.5\n{said}'
        for of, said in zip(
            [one.mark for one in load_site(folder).locates][:2],
            ("", "checked = true\n"),
            strict=True,
        )
    )
    site = load_site(with_entries(folder, tmp_path, entries))
    assert [one.checked for one in site.applied] == [False, True]
