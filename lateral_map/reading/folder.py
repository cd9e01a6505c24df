"""A site folder becomes a ``Site``, or one error with everything that is wrong with it."""

from __future__ import annotations

import math
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Final, TypeVar

from lateral_map.errors import SiteError
from lateral_map.model.far import main_is_claimed
from lateral_map.model.site import Plan, Site
from lateral_map.model.sketch import Sketch
from lateral_map.reading.applied import apply_slips
from lateral_map.reading.assemble import Gathered, assemble_site, build_accuracy
from lateral_map.reading.boundaries import name_main, read_boundaries, resolve_client
from lateral_map.reading.files import list_files
from lateral_map.reading.footages import Rows, check_bends, check_footages, find_end
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.marks import Ground, build_locates, check_marks, check_names, check_taped
from lateral_map.reading.picture import Under, add_picture
from lateral_map.reading.placing import (
    PlacedStart,
    check_plan_places,
    is_local,
    place_start,
)
from lateral_map.reading.plan import (
    PLAN_KINDS,
    PlanNames,
    SortedPlan,
    check_corners,
    lay_plan,
    note_sources,
    sort_features,
    to_plane,
)
from lateral_map.reading.plan_files import FeatureFile, read_geojson, read_geopackage
from lateral_map.reading.rows import BendRow, FindingRow, LocateRow, SketchRow
from lateral_map.reading.site_file import SiteFile, read_site_file
from lateral_map.reading.sketch import draw_sketch
from lateral_map.reading.sketch_plan import lay_sketch, merge_sketch
from lateral_map.reading.tables import ReadRow, read_rows
from lateral_map.reading.terrain import Levelled, add_terrain

_NO_MAIN: Final = (
    "[run] end says main, but the run ends at a footage that stands alone: it is not taken to "
    "reach the main. Write [run] end_footage."
)
Usable = TypeVar("Usable", BendRow, FindingRow)


def load_site(path: str | Path, *, named_in: Path | None = None, pictures: bool = True) -> Site:
    """Read a site folder (or its site.toml) into a ``Site`` in metres.

    ``named_in`` is the folder of files that site.toml only names, such as a picture, where that is
    another. No result depends on a picture: whoever draws none reads none (``pictures``).

    Raises ``SiteError`` with every fault in the folder: file, row, column, value, what is right.
    """
    folder, is_folder = Path(path), False
    with suppress(OSError, ValueError):  # a name the disk cannot have
        if folder.is_file() and folder.name == "site.toml":
            folder = folder.parent
        is_folder = folder.is_dir()
    if not is_folder:
        problem = f"{str(path)!r} is no site folder"
        raise SiteError.of(problem, "name a folder with a site.toml")
    ledger = Ledger()
    files = list_files(folder, ledger)
    site_path = files.get("site.toml")
    if site_path is None:
        ledger.fault("it is missing", "a site folder needs a site.toml", file="site.toml")
        raise SiteError(ledger.faults)
    said = read_site_file(site_path, ledger)
    unit = "ft" if said is None else said.unit
    rows = Rows(
        read_rows(files.get("locates.csv"), LocateRow, unit, ledger),
        _used(read_rows(files.get("bends.csv"), BendRow, unit, ledger)),
        _used(read_rows(files.get("findings.csv"), FindingRow, unit, ledger)),
    )
    sketched = read_rows(files.get("sketch.csv"), SketchRow, unit, ledger)
    crs = "" if said is None else said.crs
    geojson, geopackage = files.get("plan.geojson"), files.get("plan.gpkg")
    if geojson is not None and geopackage is not None:
        ledger.fault(
            "plan.geojson is there too", "keep the one that is right", file=geopackage.name
        )
    source: FeatureFile | None = None
    if geojson is not None:
        source = read_geojson(geojson, ledger, local=is_local(crs))
    elif geopackage is not None:
        source = read_geopackage(geopackage, ledger, crs=crs, kinds=PLAN_KINDS)
    absent = geojson is None and geopackage is None and "plan" not in files.misnamed
    drawn = None if source is None else sort_features(source, unit, ledger)
    if said is None:
        raise SiteError(ledger.faults)
    plan, sketch = _with_sketch(drawn, sketched, said, ledger)
    absent = absent and files.get("sketch.csv") is None
    names = PlanNames(plan, absent)
    under = Under(said, names, named_in or folder) if pictures else None
    site = _join(said, rows, names, folder, files.get("ground.tif"), under, ledger)
    return replace(site, plan=replace(site.plan, sketch=sketch))


def _laid_plan(
    said: SiteFile, names: PlanNames, placed: PlacedStart, end_m: float | None, ledger: Ledger
) -> Plan:
    """Return the plan in the plane, empty where there is none, its places checked."""
    if names.plan is None:
        return Plan()
    geometries = to_plane(names.plan, placed.frame)
    check_plan_places(names.plan, geometries, placed, ledger)
    note_sources(names.plan, ledger)
    plan = lay_plan(
        names.plan,
        geometries,
        mapped_line_m=said.accuracy.mapped_line,
        mapped_point_m=said.accuracy.mapped_point,
        start_m=(placed.easting_m, placed.northing_m),
        end_m=math.inf if end_m is None else end_m,
    )
    check_corners(plan, names.plan, ledger)
    return plan


def load_earlier(site: Site, folder: Path, given: Path | None = None) -> Site:
    """Read the earlier run of a site: the folder ``given``, else the one its site.toml names.

    Raises ``SiteError``, which names the earlier folder beside each of its faults, and where
    earlier runs lead round in a circle.
    """
    folder = folder.parent if folder.name == "site.toml" else folder
    if given is None and not site.earlier:
        remedy = 'write [site] earlier = "../the earlier folder", or give --earlier'
        raise SiteError.of("it names no earlier run", remedy, "site.toml", field="site")
    place = folder / site.earlier if given is None else given
    file, key = ("site.toml", "site.earlier") if given is None else ("", "")
    with suppress(OSError, ValueError):
        if folder.samefile(place.parent if place.name == "site.toml" else place):
            problem, remedy = f"{str(place)!r} is this run's own folder", "name the one before it"
            raise SiteError.of(problem, remedy, file, field=key)
        _require_no_circle([folder, place.parent if place.name == "site.toml" else place])
    try:
        return load_site(place, pictures=False)
    except SiteError as error:
        raise SiteError(
            replace(one, file=str(place / one.file))
            if one.file
            else replace(one, file=file, field=key)
            for one in error.faults
        ) from None


def _require_no_circle(passed: list[Path]) -> None:
    """Raise ``SiteError`` where the folders that name one another as earlier come round again."""
    here = passed[-1]
    while (said := read_site_file(here / "site.toml", Ledger())) and said.site:
        if not said.site.earlier:
            break
        after, here = here, here / said.site.earlier
        here = here.parent if here.name == "site.toml" else here
        if any(here.samefile(one) for one in passed):
            names = [one.resolve().name for one in (*passed, here)]
            raise SiteError.of(
                    f"the earlier runs lead round in a circle: {', before it '.join(names)}",
                    "no run is older than itself: take [site] earlier out of the oldest one's",
                    str(after / "site.toml"), field="site.earlier"
                )  # fmt: skip
        passed.append(here)


def _with_sketch(
    drawn: SortedPlan | None, rows: tuple[ReadRow[SketchRow], ...], said: SiteFile, ledger: Ledger
) -> tuple[SortedPlan | None, Sketch | None]:
    """Return the drawn plan with what sketch.csv adds to it, and the sketch as adjusted."""
    accuracy = build_accuracy(said.accuracy, said.unit)
    sketch = draw_sketch(rows, accuracy, ledger)
    coordinates = "declared" if drawn is None else drawn.coordinates
    laid = None if sketch is None else lay_sketch(sketch, said, coordinates, ledger)
    if laid is None:
        return drawn, None
    return merge_sketch(drawn, laid, ledger), laid.sketch


def _used(rows: tuple[ReadRow[Usable], ...]) -> tuple[ReadRow[Usable], ...]:
    """Leave out the rows set aside: unlike a locate, they are drawn nowhere."""
    return tuple(row for row in rows if row.typed is None or row.typed.use)


def _join(
    said: SiteFile,
    rows: Rows,
    names: PlanNames,
    folder: Path,
    terrain: Path | None,
    under: Under | None,
    ledger: Ledger,
) -> Site:
    """Check the files against each other, lay everything in the plane, and build the site."""
    check_marks(rows.locates, ledger)
    boundaries = read_boundaries(said, rows.findings, names, ledger)
    client = resolve_client(said, ledger)
    main = name_main(said, names, ledger)
    check_names(rows.locates, boundaries, names, ledger)
    end_m = find_end(said, rows, ledger)
    if end_m is not None:
        check_footages(said, rows, end_m, ledger)
        check_bends(rows.bends, ledger)
    placed = place_start(said, names, ledger)
    if placed is None:
        ledger.raise_if_any()
        raise SiteError.of("the site has no place", "say where it starts", file="site.toml")
    plan = _laid_plan(said, names, placed, end_m, ledger)
    accuracy = build_accuracy(said.accuracy, said.unit)
    ground = Ground(placed, plan, names, accuracy, said.unit)
    locates = build_locates(rows.locates, ground, ledger)
    check_taped(locates, ledger)
    if terrain is not None and end_m is not None and said.start is not None:
        plan = add_terrain(terrain, Levelled(said, placed, end_m, plan, locates), ledger)
    if under is not None and end_m is not None:
        plan = add_picture(under, placed, plan, end_m, ledger)
    ledger.raise_if_any()
    if said.site is None or said.start is None or end_m is None:
        raise SiteError.of("the site is not whole", "see site.toml", file="site.toml")
    gathered = Gathered(
        said=said,
        named=said.site,
        started=said.start,
        placed=placed,
        end_m=end_m,
        plan=plan,
        names=names,
        rows=rows,
        boundaries=boundaries,
        client=client,
        main=main,
        locates=locates,
        folder=folder,
    )
    site = apply_slips(assemble_site(gathered, ledger), said, ledger)
    ledger.raise_if_any()
    if site.run.reached_main and not main_is_claimed(site):
        run = replace(site.run, end="not reached")
        site = replace(site, run=run, notices=(*site.notices, _NO_MAIN))
    return site
