"""A site folder becomes a ``Site``, or one error with everything that is wrong with it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from lateral_map.errors import Fault, SiteError
from lateral_map.model.site import Plan, Site
from lateral_map.reading.assemble import Gathered, assemble_site, build_accuracy
from lateral_map.reading.boundaries import read_boundaries, resolve_client
from lateral_map.reading.features import FeatureFile
from lateral_map.reading.files import FolderFiles, list_files
from lateral_map.reading.footages import Rows, check_footages, find_end
from lateral_map.reading.geojson import read_geojson
from lateral_map.reading.laid_plan import lay_plan, to_plane
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.marks import Ground, build_locates, check_marks
from lateral_map.reading.names import PlanNames, check_names
from lateral_map.reading.placing import PlacedStart, check_plan_places, is_local, place_start
from lateral_map.reading.plan import SortedPlan, sort_features
from lateral_map.reading.rows import BendRow, FindingRow, LocateRow
from lateral_map.reading.site_file import SiteFile, read_site_file
from lateral_map.reading.terrain import Levelled, add_terrain
from lateral_map.reading.typed_rows import ReadRow, read_rows

Usable = TypeVar("Usable", BendRow, FindingRow)


def load_site(path: str | Path) -> Site:
    """Read a site folder (or its site.toml) into a ``Site`` in metres.

    Raises ``SiteError`` with every fault in the folder: file, row, column, value, what is right.
    """
    folder, ledger = _folder(Path(path)), Ledger()
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
    plan = _read_plan(files, "" if said is None else said.crs, unit, ledger)
    if said is None:
        raise SiteError(ledger.faults)
    return _join(said, rows, plan, folder, files.get("ground.tif"), ledger)


def _folder(path: Path) -> Path:
    try:
        if path.is_dir():
            return path
        if path.is_file() and path.name == "site.toml":
            return path.parent
    except (OSError, ValueError):
        pass
    raise SiteError(Fault(f"{str(path)!r} is no site folder", "name a folder with a site.toml"))


def _used(rows: tuple[ReadRow[Usable], ...]) -> tuple[ReadRow[Usable], ...]:
    """Leave out the rows set aside: unlike a locate, they are drawn nowhere."""
    return tuple(row for row in rows if row.typed is None or row.typed.use)


@dataclass(frozen=True, slots=True)
class _PlanRead:
    """The plan, None where there is none to use; ``absent`` where the folder has no plan file."""

    sorted: SortedPlan | None
    absent: bool


def _read_plan(files: FolderFiles, crs: str, unit: str, ledger: Ledger) -> _PlanRead:
    geojson, geopackage = files.get("plan.geojson"), files.get("plan.gpkg")
    if geojson is not None and geopackage is not None:
        ledger.fault(
            "plan.geojson is there too", "keep the one that is right", file=geopackage.name
        )
    source: FeatureFile | None = None
    if geojson is not None:
        source = read_geojson(geojson, ledger, local=is_local(crs))
    elif geopackage is not None:
        from lateral_map.reading.geopackage import read_geopackage  # brings GDAL

        source = read_geopackage(geopackage, ledger, crs=crs)
    absent = geojson is None and geopackage is None and "plan" not in files.misnamed
    return _PlanRead(None if source is None else sort_features(source, unit, ledger), absent)


def _join(
    said: SiteFile,
    rows: Rows,
    read: _PlanRead,
    folder: Path,
    terrain: Path | None,
    ledger: Ledger,
) -> Site:
    """Check the files against each other, lay everything in the plane, and build the site."""
    names = PlanNames(read.sorted, read.absent)
    check_marks(rows.locates, ledger)
    boundaries = read_boundaries(said, rows.findings, names, ledger)
    client = resolve_client(said, ledger)
    check_names(rows.locates, boundaries, names, ledger)
    end_m = find_end(said, rows, ledger)
    if end_m is not None:
        check_footages(said, rows, end_m, ledger)
    placed = place_start(said, names, ledger)
    plan = _lay(said, read.sorted, placed, ledger)
    if plan is None or placed is None:
        ledger.raise_if_any()
        raise SiteError(Fault("the site has no place", "say where it starts", file="site.toml"))
    accuracy = build_accuracy(said.accuracy, said.unit)
    ground = Ground(placed, plan, names, accuracy, said.unit)
    locates = build_locates(rows.locates, ground, ledger)
    if terrain is not None and end_m is not None and said.start is not None:
        plan = add_terrain(terrain, Levelled(said, placed, end_m, plan, locates), ledger)
    ledger.raise_if_any()
    if said.site is None or said.start is None or end_m is None:
        raise SiteError(Fault("the site is not whole", "see site.toml", file="site.toml"))
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
        locates=locates,
        folder=folder,
    )
    return assemble_site(gathered, ledger)


def _lay(
    said: SiteFile, plan: SortedPlan | None, placed: PlacedStart | None, ledger: Ledger
) -> Plan | None:
    if placed is None:
        return None
    if plan is None:
        return Plan()
    geometries = to_plane(plan, placed.frame)
    check_plan_places(plan, geometries, placed, ledger)
    return lay_plan(
        plan,
        geometries,
        mapped_line_m=said.accuracy.mapped_line,
        mapped_point_m=said.accuracy.mapped_point,
    )
