"""A programme of sites: each a row, right or with why; nothing done twice, lost or doubled."""

from __future__ import annotations

import csv
import json
import multiprocessing
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
from batch import fuzzing
from batch.programme import write_programme

import lateral_map.batch.run as running
import lateral_map.batch.solve as solving
from lateral_map import build_report, load_site
from lateral_map.batch.engine import Engine, solve_all
from lateral_map.batch.run import Batch, Ran, run_batch, watch
from lateral_map.batch.solve import Asked, solve_chunk
from lateral_map.batch.sources import Root, Source
from lateral_map.errors import ExportError, LateralMapError
from lateral_map.export.result import result_json

HOSTILE = "</script><img src=x onerror=alert(1)>{{7*7}}{%\u2028"


def quiet(*_: object) -> None:
    pass


@pytest.fixture(scope="module")
def programme(tmp_path_factory) -> Path:
    root = tmp_path_factory.mktemp("programme")
    folders = write_programme(root, 7)
    shutil.copytree(folders[3], root / "a copy")
    with zipfile.ZipFile(root / "packed.zip", "w") as archive:
        for path in folders[5].iterdir():
            archive.write(path, f"moved/{path.name}")
    shutil.rmtree(folders[5])
    bad = root / "bad"
    shutil.copytree(folders[1], bad)
    (bad / "locates.csv").write_text("mark,footage\nA,=cmd()\n")
    (root / "junk.zip").write_text("no archive")
    (root / "tables").mkdir()
    (root / "tables" / "locates.csv").write_text("mark,footage\nA,12\n")
    named = folders[2] / "site.toml"
    text = named.read_text("utf-8").splitlines()
    at = next(i for i, line in enumerate(text) if line.startswith("name"))
    text[at] = f"name = {json.dumps(HOSTILE)}"
    named.write_text("\n".join(text), "utf-8")
    return root


@pytest.fixture(scope="module")
def batch(programme) -> Batch:
    return Batch(Asked(str(programme), results=True), programme / "out", jobs=2, chunk=3)


@pytest.fixture(scope="module")
def ran(batch) -> Ran:
    return run_batch(batch, quiet)


@pytest.fixture(scope="module")
def rows(ran, batch) -> dict[str, dict]:
    sites = pyogrio.read_dataframe(batch.out / "programme.gpkg", layer="sites")
    assert sites["site"].is_unique
    return {row["site"]: row for row in sites.to_dict("records")}


def test_every_site_is_one_row(rows, ran):
    lots = {f"district 0/lot {seed}" for seed in range(7) if seed != 5} | {"packed.zip/moved"}
    assert set(rows) == lots | {"a copy", "bad", "junk.zip", "tables"}
    assert ran.sites == ran.solved_now == len(rows)
    assert {name for name, row in rows.items() if row["state"] == "refused"} == {
        "bad", "junk.zip", "tables"
    }  # fmt: skip
    # Of two with the same files, the first by name is the site.
    assert rows["district 0/lot 3"]["state"] == "copy"
    assert rows["district 0/lot 3"]["same_as"] == "a copy"


def test_failed_sites_say_why_and_no_cell_is_a_formula(ran, batch, rows):
    with (batch.out / "failed.csv").open(encoding="utf-8-sig", newline="") as file:
        failed = list(csv.DictReader(file))
    assert {one["site"] for one in failed} == {"bad", "junk.zip", "tables"}
    assert all(one["why"] for one in failed)
    assert not any(cell.startswith(("=", "+", "@")) for one in failed for cell in one.values())
    assert any("locates.csv" in one["why"] for one in failed if one["site"] == "bad")


def test_results_are_those_of_draw_to_the_byte(ran, batch, programme, tmp_path):
    for seed in (2, 4, 5):
        name, folder = f"district 0/lot {seed}", programme / f"district 0/lot {seed}"
        if seed == 5:
            zipfile.ZipFile(programme / "packed.zip").extractall(tmp_path)
            name, folder = "packed.zip/moved", tmp_path / "moved"
        drawn = result_json(build_report(load_site(folder))).encode()
        assert (batch.out / "results" / name / "result.json").read_bytes() == drawn


def test_layers_hold_every_row_in_one_system(ran, batch, rows):
    solved = {name for name, row in rows.items() if row["state"] == "solved"}
    results = {
        name: json.loads((batch.out / "results" / name / "result.json").read_bytes())
        for name in solved
    }
    for layer in ("findings", "crossings", "readings", "diagnoses"):
        packed = pyogrio.read_dataframe(batch.out / "programme.gpkg", layer=layer)
        table = gpd.read_parquet(batch.out / f"{layer}.parquet")
        for name in solved:
            assert (packed["site"] == name).sum() == len(results[name][layer]), (layer, name)
        assert list(packed["site"]) == list(table["site"])
        assert table.crs == "EPSG:4326" == packed.crs
    findings = gpd.read_parquet(batch.out / "findings.parquet")
    for name in solved:
        mine = findings[findings["site"] == name].sort_values("number")
        for row, told in zip(mine.to_dict("records"), results[name]["findings"], strict=True):
            feet = {"ft": 1.0, "us_ft": 1200 / 3937 / 0.3048, "m": 1 / 0.3048}
            scale = feet[results[name]["unit"]]
            assert row["depth_to_invert"] == pytest.approx(told["depth_to_invert"] * scale)
            assert row["verdict"] == told["verdict"]
            if told["lat"] is None:
                assert row["geometry"] is None
            else:
                assert row["geometry"].x == pytest.approx(told["lon"], abs=1e-9)
                assert row["geometry"].y == pytest.approx(told["lat"], abs=1e-9)


@pytest.mark.usefixtures("at_home", "ran")
def test_what_is_done_is_not_done_again(batch, programme):
    before = (batch.out / "findings.parquet").read_bytes()
    assert run_batch(batch, quiet).solved_now == 0
    assert (batch.out / "findings.parquet").read_bytes() == before
    path = programme / "district 0/lot 4/findings.csv"
    text = path.read_text("utf-8")
    path.write_text(text + "\n", "utf-8")
    assert run_batch(batch, quiet).solved_now == 1
    path.write_text(text, "utf-8")
    moved = programme / "district 0/lot 4", programme / "district 0/lot four"
    moved[0].rename(moved[1])
    run_batch(batch, quiet)
    names = set(gpd.read_parquet(batch.out / "sites.parquet")["site"])
    assert "district 0/lot four" in names
    assert "district 0/lot 4" not in names
    moved[1].rename(moved[0])
    run_batch(batch, quiet)


@pytest.fixture
def at_home(monkeypatch) -> None:
    """Solve in this process: what is tried is not the workers."""

    @contextmanager
    def engine(_: int) -> Iterator[Engine]:
        with ThreadPoolExecutor(1) as pool:
            yield Engine(1, lambda: pool)

    monkeypatch.setattr(running, "local_engine", engine)


@pytest.fixture
def district(batch, tmp_path) -> Batch:
    """The same without what lies beside the district, for runs that need not hold everything."""
    return replace(
        batch,
        asked=Asked(f"{batch.asked.root}/district 0"),
        out=tmp_path / "out",
    )


def in_district(batch, name: str) -> gpd.GeoDataFrame:
    """What the whole programme says of the district, its copy left out, as the district would."""
    table = gpd.read_parquet(batch.out / f"{name}.parquet")
    table = table[table["site"].str.startswith("district 0/")].reset_index(drop=True)
    return table.assign(site=table["site"].str.removeprefix("district 0/"))


@pytest.mark.usefixtures("at_home", "ran")
def test_another_unit_or_system_is_another_answer(batch, district):
    metres = replace(district, asked=replace(district.asked, unit="m"), crs="EPSG:3857")
    run_batch(metres, quiet)
    feet = in_district(batch, "routes")
    other = gpd.read_parquet(metres.out / "routes.parquet")
    other = other[other["site"].isin(feet["site"])].reset_index(drop=True)
    assert other.crs == "EPSG:3857"
    assert list(other["to"]) == pytest.approx([one * 0.3048 for one in feet["to"]], abs=1e-5)
    back = other.geometry.to_crs("EPSG:4326")
    placed = back.notna()
    assert back[placed].geom_equals_exact(feet.geometry[placed], 1e-8).all()


@pytest.mark.usefixtures("at_home", "ran")
def test_without_diagnoses_the_line_is_the_same_and_every_output_says_so(batch, district):
    told = run_batch(
        replace(district, asked=replace(district.asked, results=True, diagnose=False)), quiet
    )
    full = in_district(batch, "sites").set_index("site")
    bare = gpd.read_parquet(district.out / "sites.parquet").set_index("site")
    bare = bare[bare["state"] == "solved"]
    assert not bare["diagnosed"].any()
    assert told.written.totals.undiagnosed == len(bare)
    disagree = bare.index[bare["suspects"] > 0]
    assert len(disagree)
    assert len(gpd.read_parquet(district.out / "diagnoses.parquet")) == 0
    summary = (district.out / "summary.html").read_text("utf-8")
    assert f"No diagnosis was sought for {len(bare)} of the sites" in summary
    for name, row in bare.iterrows():
        both = [folder / "results" / at / "result.json"
                for folder, at in ((district.out, name), (batch.out, f"district 0/{name}"))
                if not (folder is batch.out and full.loc[name, "state"] == "copy")]  # fmt: skip
        result, *other = [json.loads(path.read_bytes()) for path in both]
        assert result["diagnoses"] is None
        assert any(str(one).startswith("no diagnosis was sought") for one in result["notices"])
        assert (f"{row['suspects']:.0f} reading" in row["diagnosis"]) == (name in disagree)
        for one in other:
            # How sure the line is may hang on what would explain readings that disagree.
            for here, there in zip(one["stations"], result["stations"], strict=True):
                places = ("footage", "x", "y", "depth_to_invert", "basis")
                assert [here[key] for key in places] == [there[key] for key in places]


KILLED = """
import os, signal, sqlite3, sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from lateral_map.batch import run, store
from lateral_map.batch.engine import Engine
from lateral_map.batch.solve import Asked

root, out, at, number = sys.argv[1], Path(sys.argv[2]), sys.argv[3], int(sys.argv[4])

def die():
    os.kill(os.getpid(), signal.SIGKILL)

def told(doing, done, of):
    if doing == at and done >= number:
        die()

if at == "keeping":
    true = store.Store.keep
    def keep(self, outcomes):
        global number
        number -= 1
        self._db.set_progress_handler(die if number < 0 else None, 1)
        true(self, outcomes)
    store.Store.keep = keep
@contextmanager
def engine(_):
    yield Engine(1, lambda: ThreadPoolExecutor(1))

run.local_engine = engine
run.run_batch(run.Batch(Asked(root), out, jobs=1, chunk=1), told)
"""


def kept_of(out: Path) -> int:
    """How many sites' answers are kept, as anybody else who opens the store sees it."""
    with sqlite3.connect(out / "done.sqlite") as store:
        (count,) = store.execute("SELECT count(*) FROM site WHERE state IS NOT NULL").fetchone()
    store.close()
    return count


def test_a_run_killed_at_any_moment_goes_on(batch, ran, district):
    """What is kept is never solved again: a kill costs no more than the chunk being solved."""
    for at, number, kept in (("keeping", 1, 1), ("Solving", 4, 4), ("Writing the files", 2, 6)):
        command = [sys.executable, "-c", KILLED, district.asked.root, str(district.out), at]
        done = subprocess.run([*command, str(number)], check=False)
        assert done.returncode == -signal.SIGKILL
        assert kept_of(district.out) == kept, at
        assert not (district.out / "programme.gpkg").exists()
    again = run_batch(district, quiet)
    assert (again.sites, again.solved_now) == (6, 0)
    _same_in_district(batch, district)


@pytest.mark.usefixtures("at_home", "ran")
def test_watching_solves_again_what_changed_and_nothing_else(district, tmp_path):
    root = tmp_path / "lots"
    shutil.copytree(district.asked.root, root)
    watched = replace(district, asked=Asked(str(root), results=True))
    seen: list[tuple[int, int]] = []

    def sites() -> set[str]:
        return set(gpd.read_parquet(watched.out / "sites.parquet")["site"])

    def results() -> set[str]:
        return {one.parent.name for one in (watched.out / "results").glob("*/result.json")}

    def change() -> None:
        path = root / "lot 1/findings.csv"
        path.write_text(path.read_text("utf-8") + "\n", "utf-8")

    def spoil() -> None:
        (root / "lot 0/site.toml").write_text("format = ", "utf-8")

    steps = iter((
        (lambda: None, None),
        (change, (6, 1)),
        (lambda: shutil.rmtree(root / "lot 4"), (5, 0)),
        (lambda: None, None),
        (lambda: shutil.copytree(root / "lot 2", root / "lot 9"), (6, 1)),
        (spoil, (6, 1)),
    ))  # fmt: skip
    expected = [(6, 6)]

    def wait() -> None:
        assert seen == expected
        do, then = next(steps, (None, None))
        if do is None:
            raise KeyboardInterrupt
        do()
        if then is not None:
            expected.append(then)

    with pytest.raises(KeyboardInterrupt):
        watch(watched, quiet, lambda ran: seen.append((ran.sites, ran.solved_now)), wait)
    lots = {"lot 0", "lot 1", "lot 2", "lot 3", "lot 6", "lot 9"}
    assert sites() == lots
    # No answer stays that is no longer so.
    assert results() == lots - {"lot 0"}


def _same_in_district(batch: Batch, district: Batch) -> None:
    for name in ("sites", "findings", "routes", "readings"):
        whole = in_district(batch, name)
        whole = whole[whole["state"] == "solved"] if name == "sites" else whole
        mine = gpd.read_parquet(district.out / f"{name}.parquet")
        mine = mine[mine["site"].isin(whole["site"])]
        kept = [one for one in mine if one not in ("geometry", "seconds", "memory_mb", "bbox")]
        assert len(whole)
        assert mine[kept].reset_index(drop=True).equals(whole[kept].reset_index(drop=True))


def _take_300_mb() -> None:
    solving.build_report = lambda *_, **__: np.ones(300_000_000, np.uint8).sum()


def test_a_site_beyond_its_bounds_is_a_row(batch, ran):
    source = Source("district 0/lot 0")
    (late,) = solve_chunk(replace(batch.asked, seconds=0.02), ((source, ""),))
    assert (late.state, "--seconds" in late.message) == ("out of time", True)
    with ProcessPoolExecutor(1, multiprocessing.get_context("fork"), _take_300_mb) as pool:
        asked = replace(batch.asked, memory_mb=100)
        (large,) = pool.submit(solve_chunk, asked, ((source, ""),)).result()
    assert (large.state, "--memory" in large.message) == ("out of memory", True)


def _die_at_lot_one() -> None:
    true = solving.load_site

    def deadly(folder, **how):
        if folder.name == "lot 1":
            os.kill(os.getpid(), signal.SIGKILL)
        return true(folder, **how)

    solving.load_site = deadly


def test_a_site_that_kills_its_worker_is_found(batch):
    fork = multiprocessing.get_context("fork")
    engine = Engine(2, lambda: ProcessPoolExecutor(2, fork, initializer=_die_at_lot_one))
    sites = [(Source(f"district 0/lot {seed}"), "") for seed in (0, 1, 2, 4)]
    try:
        found = [one for some in solve_all(engine, batch.asked, iter(sites), 2) for one in some]
    finally:
        engine.stop()
    assert sorted((one.source.path[-1], one.state) for one in found) == [
        ("0", "solved"), ("1", "worker died"), ("2", "solved"), ("4", "solved"),
    ]  # fmt: skip


def test_sites_are_read_from_a_store(programme, batch, ran):
    import fsspec

    store = fsspec.filesystem("memory")
    store.put(str(programme / "district 0/lot 0"), "/sites/north/lot", recursive=True)
    store.put(str(programme / "packed.zip"), "/sites/packed.zip")
    found = list(Root("memory://sites").find())
    assert [one.name for one in found] == ["packed.zip/moved", "north/lot"]
    asked = replace(batch.asked, root="memory://sites")
    for outcome, name in zip(
        solve_chunk(asked, tuple((one, "") for one in found)),
        ("packed.zip/moved", "district 0/lot 0"),
        strict=True,
    ):
        assert outcome.result == (batch.out / "results" / name / "result.json").read_bytes()
    assert {one.name for one in Root(f"file://{programme}/district 0").find()} == {
        f"lot {seed}" for seed in (0, 1, 2, 3, 4, 6)
    }


@pytest.mark.usefixtures("at_home")
def test_a_name_no_disk_takes_stops_no_run(programme, tmp_path):
    with zipfile.ZipFile(tmp_path / "packed.zip", "w") as archive:
        for folder in ("n" * 300, "result.json"):
            for path in (programme / "district 0/lot 0").iterdir():
                archive.write(path, f"{folder}/{path.name}")
    run = Batch(Asked(str(tmp_path), results=True), tmp_path / "out")
    assert run_batch(run, quiet).written.totals.states["solved"] == 1
    assert len(list((tmp_path / "out/results/packed.zip").glob("*~*/result.json"))) == 2


@pytest.mark.usefixtures("at_home")
def test_a_folder_that_looks_like_an_address_is_one_to_write_in(programme, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shutil.copytree(programme / "district 0/lot 0", tmp_path / "one/lot 0")
    batch = Batch(Asked(str(tmp_path / "one")), Path("EPSG:0"), jobs=1)
    assert run_batch(batch, quiet).solved_now == 1
    assert len(gpd.read_parquet((tmp_path / "EPSG:0/sites.parquet").absolute())) == 1


def test_a_picture_that_is_not_packed_with_its_site_stops_no_site(programme, tmp_path):
    """No result depends on it."""
    with zipfile.ZipFile(tmp_path / "packed.zip", "w") as archive:
        for path in (programme / "district 0/lot 0").iterdir():
            text = path.read_bytes()
            if path.name == "site.toml":
                text += b'\n[picture]\nfile = "aerial.jpg"\naccuracy = 1.5\n'
            archive.writestr(f"lot/{path.name}", text)
    run = Batch(Asked(str(tmp_path), results=True), tmp_path / "out")
    assert run_batch(run, quiet).written.totals.states["solved"] == 1


def test_one_run_at_a_time_and_a_spoilt_store_is_said(batch, tmp_path):
    mine = replace(batch, out=tmp_path)
    with sqlite3.connect(tmp_path / "done.sqlite") as other:
        other.execute("PRAGMA locking_mode = EXCLUSIVE")
        other.execute("CREATE TABLE held (x)")
        other.commit()
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(ExportError, match="another run"):
            run_batch(mine, quiet)
    other.close()
    (tmp_path / "done.sqlite").write_bytes(b"nonsense" * 1000)
    with pytest.raises(ExportError, match="take it away"):
        run_batch(mine, quiet)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"asked": Asked("/nowhere at all")}, "no folder"),
        ({"crs": "EPSG:4269"}, "not projected"),
        ({"crs": "moon"}, "not a coordinate system"),
        ({"scheduler": "nonsense"}, "no Dask scheduler answers"),
    ],
)
def test_what_cannot_be_used_is_said_at_once(batch, tmp_path, changed, said):
    with pytest.raises(LateralMapError, match=said):
        run_batch(replace(batch, out=tmp_path / "out", **changed), quiet)


@pytest.mark.slow
def test_a_cluster_that_loses_a_worker_loses_no_site(batch, ran, district):
    script = Path(__file__).with_name("losing_a_worker.py")
    command = [sys.executable, str(script), district.asked.root, str(district.out)]
    run = subprocess.run(command, capture_output=True, text=True, check=True, timeout=300)
    assert run.stdout.split() == ["6", "6", "1"]
    _same_in_district(batch, district)


def test_damaged_sites_are_rows_right_or_with_why(tmp_path):
    states, wrong = fuzzing.run(tmp_path / "sites", 24, seed=3, jobs=2)
    assert not wrong
    assert states["refused"]
    assert states["solved"]


@pytest.mark.browser
def test_pages_show_hostile_names_as_text_and_ask_nothing(browser, batch, ran):
    asked, said = [], []
    page = browser.new_page(viewport={"width": 1200, "height": 800})
    page.on("request", lambda one: asked.append(one.url))
    page.on("console", lambda one: said.append(one.text))
    page.on("pageerror", lambda one: said.append(str(one)))
    page.on("dialog", lambda one: (said.append(one.message), one.dismiss()))
    page.goto(f"{(batch.out / 'overview.html').as_uri()}#site=district%200%2Flot%202")
    page.wait_for_selector("html[data-ready=yes]")
    assert page.inner_text("#picked-title") == " ".join(HOSTILE.split("\u2028")).strip()
    assert "district 0/lot 2" in page.inner_text("#picked-rows")
    page.fill("#search", "lot 0")
    page.wait_for_selector("#hits button")
    page.click("#hits button")
    assert "district 0/lot 0" in page.inner_text("#picked-rows")
    before = page.evaluate("document.querySelector('.plan canvas').toDataURL()")
    for box in page.query_selector_all("#classes input"):
        box.click()
    assert page.evaluate("document.querySelector('.plan canvas').toDataURL()") != before
    page.goto((batch.out / "summary.html").as_uri())
    assert "alert(1)" in page.inner_text("body")
    assert page.query_selector("body img") is None
    page.close()
    assert not said
    assert all(url.startswith("file:") for url in asked)
