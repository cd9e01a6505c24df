"""What each command does when all is well."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import jsonschema
import pytest
from cli.running import PLAIN_LOT, RISING_GROUND, Run

from lateral_map import load_site
from lateral_map.cli.main import COMMANDS
from lateral_map.export.registry import PRODUCTS, usual_products
from lateral_map.reading.vocabulary import VOCABULARY
from lateral_map.reading.words import clean_name

HEAVY = {"numpy", "scipy", "shapely", "pyproj", "pandas", "fontTools", "PIL", "folium", "starlette"}


@pytest.mark.parametrize("command", [[], *([command.__name__] for command in COMMANDS)])
def test_help_brings_in_nothing_heavy(command: list[str]) -> None:
    code = (
        "import sys; from lateral_map.cli.main import main\n"
        f"sys.argv = ['lateral-map', *{command!r}, '--help']\n"
        "try: main()\n"
        "except SystemExit as leaving: code = leaving.code\n"
        f"print('loaded:', code, sorted({HEAVY!r} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.endswith("loaded: 0 []\n")
    assert "Usage: lateral-map" in done.stdout


def test_version(run: Run) -> None:
    assert re.fullmatch(r"lateral-map \d+\.\d+\.\d+\n", run("--version").stdout)


def test_schema_is_a_schema_that_the_demo_meets(run: Run) -> None:
    schema = json.loads(run("schema").stdout)
    jsonschema.Draft202012Validator.check_schema(schema)
    site = tomllib.loads((PLAIN_LOT / "site.toml").read_text())
    site["site"]["date"] = site["site"]["date"].isoformat()
    jsonschema.validate(site, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**site, "nonsense": 1}, schema)


class TestNew:
    @pytest.mark.parametrize("unit", ["ft", "us_ft", "m"])
    def test_templates_pass_check(self, run: Run, tmp_path: Path, unit: str) -> None:
        folder = tmp_path / "Lot 21, Ambersea"
        made = run("new", folder, "--unit", unit)
        assert made.returncode == 0, made.stderr
        done = run("check", folder)
        assert done.returncode == 0, done.stderr
        assert "Lot 21, Ambersea" in done.stdout
        assert "SUSPECT" not in done.stdout
        assert load_site(folder).unit == unit
        assert "<" not in (folder / "locates.csv").read_text()

    @pytest.mark.parametrize(
        "name", ["W" * 200, "wide words " * 20, "\u202e", " ", "{{7*7}}", "=1+1"]
    )
    def test_a_folder_of_any_name_passes_check(self, run: Run, tmp_path: Path, name: str) -> None:
        assert run("new", tmp_path / name).returncode == 0
        checked = run("check", tmp_path / name)
        assert checked.returncode == 0, checked.stderr

    def test_templates_say_what_the_site_format_says(self, run: Run, tmp_path: Path) -> None:
        folder = tmp_path / "lot"
        assert run("new", folder).returncode == 0
        lines = (folder / "site.toml").read_text().splitlines()
        said = " ".join(re.sub(r"^# \w+ = .*?  #|^[^#]*#", "", one).strip() for one in lines)
        table = ""
        for line in lines:
            header, key = re.match(r"(?:# )?\[+(\w+)\]", line), re.match(r"(?:# )?(\w+) = ", line)
            table = header[1] if header else table
            if key and table:
                word = VOCABULARY[table][key[1]]
                assert word.description in said, key[1]
                assert all(choice in said for choice in word.choices), key[1]
        for name in ("locates.csv", "bends.csv", "findings.csv"):
            header = (folder / name).read_text().splitlines()[0].split(",")
            assert set(header) <= set(VOCABULARY[name]), name

    def test_fills_an_empty_folder(self, run: Run, tmp_path: Path) -> None:
        assert run("new", tmp_path).returncode == 0
        assert (tmp_path / "site.toml").exists()

    def test_overwrites_nothing(self, run: Run, tmp_path: Path) -> None:
        (tmp_path / "site.toml").write_text("mine")
        done = run("new", tmp_path)
        assert done.returncode == 2
        assert "not empty" in done.stderr
        assert [path.name for path in tmp_path.iterdir()] == ["site.toml"]
        assert (tmp_path / "site.toml").read_text() == "mine"

    @pytest.mark.parametrize("name", ['a "quoted" \\ name', "tab\there", "del\x7f", "naïve 管"])
    def test_any_folder_name_is_written_as_toml(self, run: Run, tmp_path: Path, name: str) -> None:
        done = run("new", tmp_path / name)
        assert done.returncode == 0, done.stderr
        text = (tmp_path / name / "site.toml").read_text(encoding="utf-8")
        assert tomllib.loads(text)["site"]["name"] == clean_name(name)


class TestCheck:
    def test_shows_every_reading_and_draws_nothing(self, run: Run, site: Path) -> None:
        before = sorted(site.iterdir())
        done = run("check", site)
        assert done.returncode == 0, done.stderr
        assert done.stderr == ""
        for words in (
            "The readings agree as far as they check one another; nothing checks",
            "locate A tape1",
            "locate D",
            "Verdict",
            "Next locate",
        ):
            assert words in done.stdout
        assert sorted(site.iterdir()) == before

    def test_names_a_planted_blunder(self, run: Run) -> None:
        done = run("check", RISING_GROUND)
        assert done.returncode == 0, done.stderr
        assert "SUSPECT" in done.stdout
        assert "Look at this one first" in done.stdout

    def test_says_what_would_explain_impossible_places(self, run: Run, tmp_path: Path) -> None:
        site = tmp_path / "site"
        shutil.copytree(PLAIN_LOT, site)
        table = site / "locates.csv"
        table.write_text(table.read_text().replace("\nC,31.5,", "\nC,13.5,"))
        done = run("check", site)
        assert done.returncode == 2
        first, second, *entry = done.stderr.strip().splitlines()
        assert "locate A and locate C are 21.5 ft apart on the ground" in first
        assert "Most probably locate C footage was misread: it would read 31.5" in second
        with (site / "site.toml").open("a") as file:
            file.write("\n".join(["", *entry[1:], ""]))
        mended = run("check", site)
        assert mended.returncode == 0, mended.stderr
        assert "as written 13.5 ft, taken as 31.5 ft" in mended.stdout

    def test_a_wrong_mark_points_at_its_whole_row(self, run: Run, tmp_path: Path) -> None:
        # A mark fixed by nothing but its coordinates takes the blame for a slip in them.
        site = tmp_path / "site"
        site.mkdir()
        (site / "site.toml").write_text(
            'format = 1\n[site]\nname = "s"\ncrs = "local"\nunit = "m"\n'
            "[start]\nx = 0\ny = 0\ndepth = 1\n[run]\nend_footage = 30\n"
        )
        (site / "locates.csv").write_text(
            "mark,footage,x,y,accuracy\n"
            "A,5,0,5,0.02\nB,10,0,10,0.02\nC,15,1.2,15,0.02\nD,20,0,20,0.02\nE,25,0,25,0.02\n"
        )
        done = run("check", site)
        assert "locate C mark: off by" in done.stdout, done.stdout
        assert "check locate C's footage and every tie of it too." in " ".join(done.stdout.split())

    def test_a_files_name_keeps_its_small_letter(self, run: Run, site: Path) -> None:
        (site / "bends.csv").write_text("footage,turn,how\n25,-30,fitting\n")
        done = run("check", site)
        assert "bends.csv row 2" in done.stdout, done.stdout + done.stderr

    @pytest.mark.parametrize("columns", [40, 200])
    def test_a_terminal_of_any_width_loses_nothing(
        self, run: Run, site: Path, columns: int
    ) -> None:
        terminal = {
            "COLUMNS": str(columns),
            "TTY_COMPATIBLE": "1",
            "NO_COLOR": "1",
            "TERM": "xterm",
        }
        shown = re.sub(r"\x1b\[\d*m", "", run("check", site, environment=terminal).stdout)
        assert max(map(len, shown.splitlines())) <= columns
        assert "…" not in shown
        words = run("check", site).stdout.split()
        assert "".join(sorted("".join(shown.split()))) == "".join(sorted("".join(words)))

    def test_another_program_gets_whole_lines(self, run: Run, site: Path) -> None:
        shown = run("check", site, environment={"COLUMNS": "30"}).stdout
        assert (
            "  Enough: every finding's side is firm, no more locates are wanted."
            in shown.splitlines()
        )
        unchecked = shown.count("unchecked")
        assert any(
            line.startswith("The readings agree") and f"nothing checks {unchecked} of the " in line
            for line in shown.splitlines()
        )
        assert not [line for line in shown.splitlines() if line != line.rstrip() and line[0] == " "]

    def test_colours_only_where_wanted(self, run: Run, site: Path) -> None:
        wanted = {"FORCE_COLOR": "1", "TERM": "xterm-256color"}
        assert "\x1b[" in run("check", site, environment={**wanted, "NO_COLOR": ""}).stdout
        assert "\x1b[3" not in run("check", site, environment={**wanted, "NO_COLOR": "1"}).stdout
        assert "\x1b[" not in run("check", site).stdout

    def test_a_terminal_without_unicode_still_reads(self, run_apart: Run, site: Path) -> None:
        done = run_apart("check", site, environment={"PYTHONIOENCODING": "ascii"})
        assert done.returncode == 0, done.stderr


class TestDraw:
    def test_writes_everything_beside_the_site(self, run: Run, site: Path) -> None:
        done = run("draw", site)
        assert done.returncode == 0, done.stderr
        assert sorted(path.name for path in (site / "out").iterdir()) == [
            "map.html", "profile.png", "profile.svg", "result.json", "route.geojson", "route.gpkg",
            "stations.csv",
        ]  # fmt: skip

    def test_summary(self, run: Run, tmp_path: Path) -> None:
        done = run("draw", PLAIN_LOT, "--out", tmp_path / "out", "--only", "result")
        assert done.stderr == ""
        for words in (
            "ft of pipe",
            "Crossings",
            "±",
            "Findings",
            "lies past with probability",
            "Wrote result",
        ):
            assert words in done.stdout

    @pytest.mark.parametrize("name", usual_products())
    def test_only(self, run: Run, site: Path, tmp_path: Path, name: str) -> None:
        done = run("draw", site, "--only", name, "--out", tmp_path / "elsewhere")
        assert done.returncode == 0, done.stderr
        written = {path.name for path in (tmp_path / "elsewhere").iterdir()}
        assert written
        assert all(file in PRODUCTS[name].summary for file in written)
        assert not (site / "out").exists()

    def test_only_is_repeatable_and_leaves_the_rest_alone(self, run: Run, site: Path) -> None:
        (site / "out").mkdir()
        (site / "out" / "map.html").write_text("older")
        done = run("draw", site, "--only", "result", "--only", "stations")
        assert done.returncode == 0, done.stderr
        assert {path.name for path in (site / "out").iterdir()} == {
            "map.html", "result.json", "stations.csv"
        }  # fmt: skip
        assert (site / "out" / "map.html").read_text() == "older"

    def test_redrawing_elsewhere_gives_the_same_bytes(
        self, run: Run, run_apart: Run, site: Path
    ) -> None:
        run("draw", site)
        first = {path.name: path.read_bytes() for path in (site / "out").iterdir()}
        done = run_apart("draw", site, environment={"PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo"})
        assert done.returncode == 0, done.stderr
        assert {path.name: path.read_bytes() for path in (site / "out").iterdir()} == first


def test_a_metric_sites_tables_are_said_to_have_decimal_points(run: Run, tmp_path: Path) -> None:
    said = "a spreadsheet that expects commas reads 30.344 as 30344."
    only = ("--only", "stations")
    alone, both = (
        " ".join(run("draw", RISING_GROUND, "--out", tmp_path, *only, *more).stdout.split())
        for more in ((), ("--only", "xlsx"))
    )
    assert f"{said} There, open tables.xlsx (--only xlsx) instead." in alone
    assert f"{said} There, open tables.xlsx instead." in both
    feet = run("draw", PLAIN_LOT, "--out", tmp_path, *only).stdout
    assert said not in " ".join(feet.split())
