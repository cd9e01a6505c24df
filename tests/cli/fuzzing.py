"""Any argument and any folder through the command line: done or refused, never a fault.

``python tests/cli/fuzzing.py 5000`` starts that many commands on made-up and demo sites that were
damaged, with odd arguments, on outputs that cannot be written, with closed or full standard output;
each must end with 0 or 2 in time, without a traceback, say why where it is 2, and leave nothing
half written. ``--first N --seed S`` picks the runs, ``--show`` prints each. Exit 1 where any is
wrong. Every run is forked from a process that has loaded everything, so that it costs milliseconds.
"""

from __future__ import annotations

import argparse
import codecs
import os
import random
import resource
import shutil
import signal
import stat
import sys
import tempfile
import time
import warnings
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from batch.fuzzing import another_value, cut, flip, lines
from batch.programme import write_programme

ROOT = Path(__file__).parents[2]
_LONGEST_S = 60.0
_MOST_MEMORY = 3_000_000_000
_LONGEST_LINE = 2_000
Bytes = Callable[[bytes, random.Random], bytes]


# ── damage ───────────────────────────────────────────────────────────────────────────────────────


def _nulls(data: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data) + 1)
    return data[:at] + b"\0" * rng.choice((1, 9, 5000)) + data[at:]


def _marked(data: bytes, rng: random.Random) -> bytes:
    return rng.choice((codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF32_BE)) + data


def _utf_16(data: bytes, rng: random.Random) -> bytes:
    return data.decode("utf-8", "replace").encode(rng.choice(("utf-16", "utf-16-be", "utf-32")))


def _huge_field(data: bytes, rng: random.Random) -> bytes:
    separator = rng.choice((b",", b'"', b"\n", b" "))
    parts = data.split(separator)
    filling = rng.choice((b"9", b"n", b"[", b"{", b"\xc3\xa9", b"-", b"1e", b"a."))
    parts[rng.randrange(len(parts))] = filling * rng.choice((1000, 70_000, 400_000))
    return separator.join(parts)


def _many_rows(data: bytes, rng: random.Random) -> bytes:
    given = data.split(b"\n")
    return b"\n".join(given + [given[-1] or given[-2 % len(given)]] * rng.choice((300, 3000)))


_BYTES: tuple[Bytes, ...] = (
    cut, flip, another_value, another_value, another_value, lines, lines, _nulls, _marked, _utf_16,
    _huge_field, _many_rows,
)  # fmt: skip


def _a_folder(path: Path) -> None:
    path.mkdir()


def _a_pipe(path: Path) -> None:
    os.mkfifo(path)


def _a_link_to_itself(path: Path) -> None:
    path.symlink_to(path)


def _a_link_to_nothing(path: Path) -> None:
    path.symlink_to("nowhere")


def _a_device(path: Path) -> None:
    path.symlink_to("/dev/zero")


_INSTEAD = (_a_folder, _a_pipe, _a_link_to_itself, _a_link_to_nothing, _a_device)


def damage(folder: Path, rng: random.Random) -> None:
    """Damage up to three files of a site, or none of them."""
    for _ in range(rng.choice((0, 1, 1, 1, 2, 3))):
        files = sorted(path for path in folder.iterdir() if path.is_file())
        if not files:
            return
        path = rng.choice(files)
        match rng.randrange(14):
            case 0:
                path.unlink()
            case 1:
                path.unlink()
                rng.choice(_INSTEAD)(path)
            case 2:
                path.chmod(0)
            case 3:
                path.rename(folder / rng.choice(("plan.gpkg", "sketch.csv", "SITE.TOML", "x.csv")))
            case _:
                path.write_bytes(rng.choice(_BYTES)(path.read_bytes(), rng))


def _photographs(folder: Path, rng: random.Random) -> None:
    """Put pictures and what is none into the folder of photographs."""
    inside = folder / "photographs"
    with suppress(OSError):
        inside.mkdir()
        picture = _picture()
        for name in rng.sample(("12.jpg", "20.2 crown.jpg", "x.jpg", "9" * 200 + ".jpg"), 2):
            (inside / name).write_bytes(rng.choice((picture, cut(picture, rng), b"", b"\0" * 99)))
        if rng.random() < 0.3:
            rng.choice(_INSTEAD)(inside / "30.png")


def _picture() -> bytes:
    import io

    from PIL import Image

    data = io.BytesIO()
    Image.new("RGB", (40, 30), "grey").save(data, "JPEG")
    return data.getvalue()


# ── one run ──────────────────────────────────────────────────────────────────────────────────────


@dataclass
class Run:
    """One command: its words, where they are said, and what stands under its streams."""

    words: list[str]
    folder: Path
    stdout: str = "file"
    stderr: str = "file"
    nobody: bool = False
    interrupt_s: float = 0.0
    environment: dict[str, str] = field(default_factory=dict)


@dataclass
class Ended:
    """How it ended: exit code (negative: by a signal), what it said, how long it took."""

    code: int
    stdout: bytes
    stderr: bytes
    seconds: float


_ODD = (
    "", " ", "-", "--", "\udcff", "\n", "0", "-1", "1e999", "nan", "inf", "9" * 400, "é" * 300,
    "%s", "../..", "/", "/dev/null", "/dev/zero", "/proc/self/mem", "letter", "EPSG:0",
    "EPSG:26917", "1 in = 0 ft", "1:0", "{{7*7}}", "<b>", "x=y", "[", "\u202e", "a\tb", "--help",
)  # fmt: skip
_OPTIONS: dict[str, tuple[tuple[str, tuple[str, ...]], ...]] = {
    "new": (("--unit", ("ft", "us_ft", "m")),),
    "check": (),
    "draw": (("--only", ("result", "stations", "geojson", "kml", "dxf", "gpx", "landxml")),
             ("--only", ("profile", "map", "gpkg", "flatgeobuf"))),
    "dig": (),
    "sheet": (("--paper", ("letter", "A3")), ("--scale", ("10", "1:100", "1 in = 10 ft", "1:9"))),
    "refer": (("--paper", ("letter", "A4")), ("--also", ("result", "map")),
              ("--letter", ("letter.html", "site.toml"))),
    "again": (("--earlier", ("other", ".")),),
    "batch": (("--unit", ("ft", "m")), ("--crs", ("EPSG:4326", "EPSG:3857")), ("--jobs", ("1",)),
              ("--seconds", ("5", "0.1")), ("--memory", ("500", "100"))),
    "plan": (("--at", ("50.1,14.4", "91,0", "50.1")), ("--where", ("name=x", "x")),
             ("--reach", ("60 m", "0 m", "9e9 m", "-3")), ("--accuracy", ("0.5 m", "x")),
             ("--layer", ("buildings=building", "plan=building", "a[b=c]=lot", "=")),
             ("--source", ("s",)), ("--date", ("2020",)), ("--licence", ("l",)),
             ("--crs", ("EPSG:32633", "local")), ("--source-crs", ("EPSG:4326", "x")),
             ("--house", ("1", "99")), ("--lot", ("0",)), ("--street", ("1",))),
    "enter": (("--port", ("0", "99999")),),
    "schema": (),
}  # fmt: skip
_FLAGS = {"draw": ("--base-map",), "batch": ("--results",), "plan": ("--dry-run", "--replace")}
_OUT = ("draw", "dig", "sheet", "refer", "again", "batch")
# How often each is run: what is quick more often.
_COMMANDS = (
    ["check"] * 20 + ["draw"] * 18 + ["plan"] * 8 + ["new"] * 5 + ["batch"] * 3 + ["sheet"] * 3
    + ["dig"] * 3 + ["refer"] * 2 + ["again"] * 2 + ["enter"] * 2 + ["schema"] * 1 + ["nonsense"]
)  # fmt: skip
_QUICK = ("result", "stations", "geojson", "kml", "dxf", "gpx", "landxml")


def make_run(scratch: Path, sites: list[Path], number: int, seed: int) -> Run:
    """Make a site, damage it, and think of a command for it."""
    rng = random.Random(seed * 1_000_003 + number)
    command = rng.choice(_COMMANDS)
    site = scratch / "site"
    shutil.copytree(rng.choice(sites), site)
    shutil.copytree(rng.choice(sites), scratch / "other")
    if rng.random() < 0.8:
        damage(site, rng)
    if command == "refer" or rng.random() < 0.05:
        _photographs(site, rng)
        (scratch / "letter.html").write_bytes(rng.choice((b"", b"<p>{{", b"{% for", b"\xff\0")))
    if command == "batch":
        root = scratch / "programme"
        root.mkdir()
        site.rename(root / "site")
        with zipfile.ZipFile(root / "packed.zip", "w") as archive:
            for path in (scratch / "other").iterdir():
                archive.write(path, f"in/{path.name}")
        packed = (root / "packed.zip").read_bytes()
        (root / "packed.zip").write_bytes(rng.choice((packed, flip(packed, rng), cut(packed, rng))))
        site = root
    elif rng.random() < 0.06:
        _spoil_folder(site, rng)
    words = [command, *_arguments(command, site, scratch, rng)]
    run = Run(words, scratch, nobody=rng.random() < 0.3)
    run.stdout = rng.choice(("file",) * 12 + ("closed", "pipe", "full"))
    run.stderr = rng.choice(("file",) * 20 + ("closed", "pipe", "full"))
    run.interrupt_s = 0.8 if command == "enter" else 0.0
    return run


def _spoil_folder(site: Path, rng: random.Random) -> None:
    """Put something else where the site folder is, or forbid it."""
    match rng.randrange(3):
        case 0:
            shutil.rmtree(site)
        case 1:
            shutil.rmtree(site)
            rng.choice((*_INSTEAD, Path.touch))(site)
        case _:
            site.chmod(0)


def _arguments(command: str, site: Path, scratch: Path, rng: random.Random) -> Iterator[str]:
    odd = 0.06
    if command not in ("schema", "nonsense"):
        target = {"new": rng.choice(("fresh", "site", "a/b/c", "x" * 300))}.get(command, site.name)
        yield rng.choice(_ODD) if rng.random() < odd else target
    if command == "plan":
        yield rng.choice(_ODD) if rng.random() < odd else _vector_file(scratch, site, rng)
    yield from _options(command, rng, odd)
    if command in _OUT:
        yield "--out"
        yield _out(scratch, rng)
    if rng.random() < odd:
        yield rng.choice(_ODD)


def _options(command: str, rng: random.Random, odd: float) -> Iterator[str]:
    options = [one for one in _OPTIONS.get(command, ()) if rng.random() < 0.4]
    if command == "draw" and not options:
        options = [("--only", _QUICK)]
    for name, values in options:
        yield name
        yield rng.choice(_ODD) if rng.random() < odd else rng.choice(values)
    for flag in _FLAGS.get(command, ()):
        if rng.random() < 0.3:
            yield flag
    if command == "enter":
        yield "--no-browser"


def _out(scratch: Path, rng: random.Random) -> str:
    match rng.randrange(16):
        case 0:
            (scratch / "out").write_text("a file")
        case 1:
            (scratch / "out").mkdir(mode=0o500)
        case 2:
            rng.choice(_INSTEAD)(scratch / "out")
        case 3:
            return "/proc/out"
        case 4:
            return "small"  # a disk of 64 kB
        case 5:
            (scratch / "out" / "result.json").mkdir(parents=True)
            (scratch / "out" / "done.sqlite").write_bytes(rng.choice((b"", b"x" * 5000)))
        case 6:
            return rng.choice(_ODD)
    return "out"


def _vector_file(scratch: Path, site: Path, rng: random.Random) -> str:
    files = sorted(site.glob("plan.*")) + sorted((scratch / "other").glob("plan.*"))
    if rng.random() < 0.5 or not files:
        path = scratch / "buildings.geojson"
        path.write_bytes(_FOOTPRINT if rng.random() < 0.5 else flip(_FOOTPRINT, rng))
        return path.name
    return str(rng.choice(files))


_FOOTPRINT = (
    b'{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"name": "x"},'
    b'"geometry": {"type": "Polygon", "coordinates": [[[14.4, 50.1], [14.4002, 50.1],'
    b"[14.4002, 50.1001], [14.4, 50.1001], [14.4, 50.1]]]}}]}"
)


# ── forked ───────────────────────────────────────────────────────────────────────────────────────


def warm_up() -> None:
    """Load everything a command loads, so that a fork has it."""
    import importlib

    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    for name in (
        "lateral_map.batch.run", "lateral_map.dig_review", "lateral_map.draw.again",
        "lateral_map.export.dig_files", "lateral_map.export.packet", "lateral_map.export.registry",
        "lateral_map.reading.enclosures", "lateral_map.reading.open_site",
        "lateral_map.cli.summary", "ezdxf",
        "lateral_map.web.serve", "lateral_map.words.sayings", "pyogrio", "pyarrow", "weasyprint",
        "pillow_heif", "uvicorn", "rich.progress", "tomlkit", "geopandas",
    ):  # fmt: skip
        importlib.import_module(name)


def _stream(number: int, kind: str, path: Path) -> None:
    """Put a file, nothing, a pipe nobody reads, or a full disk under a stream."""
    with suppress(OSError):
        os.close(number)
    if kind == "closed":
        return
    if kind == "pipe":
        reading, writing = os.pipe()
        os.close(reading)
        opened = writing
    else:
        target = "/dev/full" if kind == "full" else str(path)
        opened = os.open(target, os.O_WRONLY | os.O_CREAT, 0o666)
    if opened != number:
        os.dup2(opened, number)
        os.close(opened)


def _python_stream(number: int, kind: str) -> object:
    if kind == "closed":
        return None  # as the interpreter itself has it
    return open(number, "w", encoding="utf-8", errors="replace", closefd=False)


def _give_up_rights() -> None:
    """Let root be refused as anybody is: without the rights to read and write everything."""
    import ctypes

    libc = ctypes.CDLL(None)
    for right in (1, 2):  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH
        libc.prctl(24, right, 0, 0, 0)  # PR_CAPBSET_DROP: a program started later has them neither
    header, held = (ctypes.c_uint32 * 2)(0x20080522, 0), (ctypes.c_uint32 * 6)()
    libc.capget(header, held)
    for at in (0, 1):  # effective, permitted
        held[at] &= ~0b110
    libc.capset(header, held)


def _interrupt_later(seconds: float) -> None:
    """Let a process of its own press Ctrl+C."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
    pid = os.getpid()
    if os.fork() == 0:
        time.sleep(seconds)
        with suppress(OSError):
            os.kill(pid, signal.SIGINT)
        os._exit(0)


def _become(run: Run, said: Path) -> None:
    """Be the command, in the process forked for it; never returns."""
    os.chdir(run.folder)
    os.setpgid(0, 0)
    warnings.resetwarnings()
    os.environ.update({"COLUMNS": "100", "HOME": str(run.folder), **run.environment})
    resource.setrlimit(resource.RLIMIT_AS, (_MOST_MEMORY, _MOST_MEMORY))
    null = os.open(os.devnull, os.O_RDONLY)
    os.dup2(null, 0)
    # In the order in which a descriptor that is free is taken: nothing lands on another's number.
    _stream(2, run.stderr, said / "stderr")
    _stream(1, run.stdout, said / "stdout")
    sys.stdin = open(0, closefd=False)  # noqa: SIM115
    sys.stdout, sys.stderr = _python_stream(1, run.stdout), _python_stream(2, run.stderr)  # type: ignore[assignment]
    if run.nobody:
        _give_up_rights()
    from lateral_map.cli.main import main

    sys.argv = ["lateral-map", *run.words]
    code = 99
    try:
        if run.interrupt_s:
            _interrupt_later(run.interrupt_s)
        main()
    except SystemExit as leaving:
        given = leaving.code
        code = given if isinstance(given, int) else 0 if given is None else 98
    except KeyboardInterrupt:
        code = 130
    except BaseException:  # noqa: BLE001 - what an interpreter would print
        import traceback

        with suppress(Exception):
            (said / "stderr").open("a").write(traceback.format_exc())
    try:
        for stream in filter(None, (sys.stdout, sys.stderr)):
            stream.flush()
    except Exception as error:  # noqa: BLE001 - the interpreter's own end, and its exit code 120
        code = 120
        with suppress(Exception):
            (said / "stderr").open("a").write(f"at the end: {error}")
    os._exit(code)


def start(run: Run) -> Ended:
    """Run one command in a fork of this process and return how it ended."""
    with tempfile.TemporaryDirectory(prefix="said-") as said:
        Path(said).chmod(0o777)
        began = time.monotonic()
        pid = os.fork()
        if pid == 0:
            try:
                _become(run, Path(said))
            finally:
                os._exit(97)
        code: int | None = None
        while code is None:
            found, status = os.waitpid(pid, os.WNOHANG)
            if found:
                code = os.waitstatus_to_exitcode(status)
            elif time.monotonic() - began > _LONGEST_S:
                os.kill(pid, signal.SIGKILL)
                os.waitpid(pid, 0)
                code = -999
            else:
                time.sleep(0.002)
        with suppress(OSError):
            os.killpg(pid, signal.SIGKILL)
        texts = [
            (Path(said, name).read_bytes() if Path(said, name).is_file() else b"")
            for name in ("stdout", "stderr")
        ]
        return Ended(code, texts[0], texts[1], time.monotonic() - began)


def find_wrong(run: Run, ended: Ended) -> str:
    """Return what is wrong with how a run ended; empty where nothing is."""
    said = ended.stderr.decode("utf-8", "replace")
    if ended.code == -999:
        return f"no end in {_LONGEST_S:g} s"
    if ended.code == 128 + signal.SIGINT and run.interrupt_s:
        return ""  # interrupted before it was there
    if ended.code not in (0, 2):
        return f"exit {ended.code}"
    if "Traceback" in said or "a fault of lateral-map" in said:
        return "a traceback or a fault"
    heard = run.stderr == "file" and run.stdout != "pipe"  # a reader who left is told nothing
    if ended.code == 2 and heard and not said.strip():
        return "refused without a word"
    if max(map(len, said.splitlines()), default=0) > _LONGEST_LINE:
        return "a line of endless length"
    if run.stdout == "full" and ended.code == 0 and run.words[0] != "enter":
        return "a full disk under standard output is passed over"
    left = list(run.folder.rglob(".writing-*"))
    return f"left behind: {left[0].name}" if left else ""


@contextmanager
def scratch_folder(base: Path) -> Iterator[Path]:
    """Yield a fresh folder with a very small disk in it, where one may be mounted."""
    folder = base / "run"
    folder.mkdir()
    folder.chmod(0o777)
    small = folder / "small"
    small.mkdir()
    mounted = False
    if os.getuid() == 0:
        mounted = os.system(f"mount -t tmpfs -o size=64k tmpfs '{small}' 2>/dev/null") == 0
    try:
        yield folder
    finally:
        if mounted:
            os.system(f"umount -l '{small}'")
        for path in [folder, *folder.rglob("*")]:
            with suppress(OSError):
                if stat.S_ISDIR(path.lstat().st_mode):
                    path.chmod(0o777)
        shutil.rmtree(folder, ignore_errors=True)


def base_sites(folder: Path) -> list[Path]:
    """Write made-up sites beside the demo sites and return all of them."""
    demo = sorted(one.parent for one in (ROOT / "demo_sites").glob("*/site.toml"))
    return [
        *write_programme(folder / "made", 24, first=12),
        *demo,
        ROOT / "tests/sites/local_sketch",
    ]


def _opened(folder: Path) -> None:
    """Let everybody read and change a folder, so that a run is refused by damage alone."""
    for path in [folder, *folder.rglob("*")]:
        with suppress(OSError):
            mode = path.lstat().st_mode
            if not stat.S_ISLNK(mode) and stat.S_IMODE(mode) not in (0, 0o500):
                path.chmod(0o777)


def run_all(count: int, *, first: int = 0, seed: int = 1, show: bool = False) -> tuple[
    Counter[str], list[str]
]:  # fmt: skip
    """Run ``count`` commands; return how each kind ended, and what is wrong with which."""
    warm_up()
    ended_so: Counter[str] = Counter()
    wrong: list[str] = []
    with tempfile.TemporaryDirectory(prefix="fuzz-") as kept:
        base = Path(kept)
        base.chmod(0o777)
        sites = base_sites(base)
        for number in range(first, first + count):
            with scratch_folder(base) as scratch:
                run = make_run(scratch, sites, number, seed)
                _opened(scratch)
                ended = start(run)
                found = find_wrong(run, ended)
            ended_so[f"{run.words[0]} {ended.code}"] += 1
            if found or show:
                last = ended.stderr.decode("utf-8", "replace").strip()[-300:]
                line = (
                    f"{number}: {found or ended.code} [{ended.seconds:.1f} s] {run.words!r:.200}"
                    f" out={run.stdout} err={run.stderr} nobody={run.nobody}\n    {last}"
                )
                sys.stdout.write(f"{line}\n")
                sys.stdout.flush()
                if found:
                    wrong.append(line)
    return ended_so, wrong


def main() -> None:
    """Run and tell."""
    parser = argparse.ArgumentParser()
    parser.add_argument("count", nargs="?", type=int, default=5000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--show", action="store_true")
    asked = parser.parse_args()
    begin = time.monotonic()
    ended, wrong = run_all(asked.count, first=asked.first, seed=asked.seed, show=asked.show)
    for name, count in sorted(ended.items()):
        sys.stdout.write(f"{name}: {count}\n")
    seconds = time.monotonic() - begin
    sys.stdout.write(f"{asked.count} runs in {seconds:.0f} s, {len(wrong)} wrong\n")
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
