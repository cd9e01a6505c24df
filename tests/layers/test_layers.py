"""Imports point down the road; importing the package is light; functions stay on one page."""

from __future__ import annotations

import ast
import functools
import re
import shutil
import statistics
import subprocess
import sys
import tomllib
from collections.abc import Collection
from graphlib import TopologicalSorter
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

import lateral_map

PACKAGE = Path(lateral_map.__file__).parent
ROOT = PACKAGE.parent
HEAVY = (
    "numpy", "scipy", "shapely", "pyproj", "pandas", "geopandas", "pyogrio", "fiona", "fontTools",
    "PIL", "folium", "pydantic", "jinja2", "rich.progress",
)  # fmt: skip


@functools.cache
def syntax_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def run_python(code: str) -> str:
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout


def test_import_contracts_hold() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command as run; run()"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout
    assert " 0 broken" in done.stdout


@pytest.mark.parametrize(
    "module", ["lateral_map", "lateral_map.cli.main", "lateral_map.export.registry"]
)
def test_light_imports_bring_nothing_heavy(module: str) -> None:
    code = f"import sys, {module}; print([name for name in {HEAVY!r} if name in sys.modules])"
    assert run_python(code).strip() == "[]"


def test_drawing_waits_for_no_tables(tmp_path: Path) -> None:
    shutil.copytree(ROOT / "demo_sites" / "plain_lot", tmp_path / "site")
    code = (
        "import sys; from lateral_map.cli.main import app\n"
        f"try: app(['draw', {str(tmp_path / 'site')!r}])\n"
        "finally: print([one for one in ('pandas', 'geopandas') if one in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout.splitlines()[-1]) == (0, "[]"), done.stderr


def test_public_names_are_found_when_first_used() -> None:
    for name in lateral_map.__all__:
        assert callable(getattr(lateral_map, name))
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        lateral_map.nonsense  # noqa: B018


def imported_modules(tree: ast.AST, modules: Collection[str]) -> set[str]:
    """The package's own modules that code runs, those imported inside a function too."""
    found: set[str] = set()
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            continue
        if isinstance(node, ast.ImportFrom) and node.module:
            submodules = {f"{node.module}.{alias.name}" for alias in node.names} & set(modules)
            found |= submodules or {node.module} & set(modules)
        found |= imported_modules(node, modules)
    return found


def test_no_module_leads_back_to_itself() -> None:
    paths = {
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
        for path in PACKAGE.rglob("*.py")
    }
    graph = {
        name: imported_modules(syntax_of(path), paths) - {name} for name, path in paths.items()
    }
    # Raises CycleError, which names the circle.
    assert len(list(TopologicalSorter(graph).static_order())) == len(paths)


def imported_names() -> set[str]:
    """First names of everything the package imports, at the top of a file or inside a function."""
    names: set[str] = set()
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(syntax_of(path)):
            if isinstance(node, ast.Import):
                names |= {alias.name.partition(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                names.add(node.module.partition(".")[0])
    return names - set(sys.stdlib_module_names) - {"lateral_map"}


# Parts of a declared library that come with it in the version it wants.
COMPANIONS = {"pydantic_core": "pydantic", "pydyf": "weasyprint"}


def test_every_library_used_is_declared() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    extras = project["optional-dependencies"]
    wanted = project["dependencies"] + [
        one for name, group in extras.items() if name != "dev" for one in group
    ]
    declared = {re.split(r"[^\w.-]", one)[0].lower().replace("_", "-") for one in wanted}
    home = packages_distributions()
    missing = {
        name
        for name in imported_names()
        if COMPANIONS.get(name) not in declared
        and not declared & {each.lower().replace("_", "-") for each in home.get(name, [])}
    }
    assert missing == set()


def function_lengths() -> dict[str, int]:
    """Lines of every function, its docstring left out."""
    lengths: dict[str, int] = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(syntax_of(path)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                said = ast.get_docstring(node, clean=False)
                spoken = said.count("\n") + 1 if said else 0
                length = (node.end_lineno or node.lineno) - node.lineno + 1 - spoken
                lengths[f"{path.relative_to(PACKAGE)}:{node.name}"] = length
    return lengths


def test_functions_stay_short() -> None:
    lengths = function_lengths()
    assert statistics.median(lengths.values()) <= 12
    assert {name: length for name, length in lengths.items() if length > 60} == {}
