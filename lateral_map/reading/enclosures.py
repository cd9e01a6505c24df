"""What a referral takes in from the site folder: photographs, and one's own letter template.

A photograph is JPEG, PNG, WebP, TIFF or HEIC. Its name begins with the footage it shows in the
site's unit: ``44.2.jpg``, ``44.2 crown.png``, ``44.2-2.jpeg``. Each is turned upright, made smaller
where it is large, and saved afresh, so that nothing a camera wrote into it (place, time, owner)
goes out unless the site says so.
"""

from __future__ import annotations

import io
import re
import stat
from pathlib import Path
from typing import Final

from lateral_map.errors import SiteError
from lateral_map.model.referral import Photograph
from lateral_map.model.site import Site
from lateral_map.reading.files import real_path
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.pictures import eight_bits, inside_folder, open_picture, plain_colours
from lateral_map.units import show_value, to_metres

_NAME: Final = re.compile(
    r"(?P<footage>\d{1,5}(?:\.\d{1,3})?)(?:[ _-].*|(?: ?(?:ft|m))(?:[ _-].*)?)?\.[a-z]+",
    re.IGNORECASE | re.ASCII | re.DOTALL,
)
_PICTURES: Final = frozenset({
    ".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif",
})  # fmt: skip
USUAL_FOLDER: Final = "photographs"
_LONGEST_SIDE_PX: Final = 1100
_QUALITY: Final = 82
_LARGEST_LETTER: Final = 500_000
_MOST_PICTURES: Final = 200


def load_photographs(site: Site) -> tuple[Photograph, ...]:
    """Return the photographs in the site's folder in order of footage; none where there are none.

    Raises ``SiteError`` naming every file that cannot be used.
    """
    ledger = Ledger()
    paths = [path for path in _listed(site) if path.suffix.lower() in _PICTURES]
    if len(paths) > _MOST_PICTURES:
        problem = f"there are {len(paths)} photographs"
        remedy = f"keep the {_MOST_PICTURES} that show the findings best"
        raise SiteError.of(problem, remedy, file=paths[0].parent.name)
    found = []
    for path in paths:
        place, match = f"{path.parent.name}/{path.name}", _NAME.fullmatch(path.name)
        if match is None:
            remedy = "name it by the footage it shows, such as '44.2.jpg' or '44.2 crown.jpg'"
            ledger.fault("the name does not begin with a footage", remedy, file=place)
            continue
        if site.folder is not None and not real_path(path).is_relative_to(real_path(site.folder)):
            remedy = "copy the picture itself into the folder"
            ledger.fault("it is a link that leads out of the site folder", remedy, file=place)
            continue
        footage_m = to_metres(float(match["footage"]), site.unit)
        try:
            ready = _made_ready(path, keep_metadata=site.referral.keep_metadata)
            found.append(Photograph(path.name, footage_m, *ready))
        except SiteError as error:
            ledger.fault(error.faults[0].problem, error.faults[0].remedy, file=place)
    ledger.raise_if_any()
    return tuple(sorted(found, key=lambda each: (each.footage_m, each.name)))


def photographs_left_out(site: Site) -> tuple[str, ...]:
    """Return the files beside the photographs that are no pictures this program reads."""
    return tuple(path.name for path in _listed(site) if path.suffix.lower() not in _PICTURES)


def _listed(site: Site) -> list[Path]:
    """Return what is in the photographs' folder; none where the usual one is not there.

    Raises ``SiteError`` where the folder that site.toml names is missing or cannot be read.
    """
    if site.folder is None:
        return []
    named = site.referral.photographs
    folder = inside_folder(site.folder, named or USUAL_FOLDER, "referral.photographs")
    if not folder.is_dir():
        if not named:
            return []
        raise SiteError.of(
            f"{show_value(named)} is no folder of the site",
            "make it, or leave the key out",
            file="site.toml",
            field="referral.photographs",
        )
    try:
        return sorted(path for path in folder.iterdir() if not path.name.startswith("."))
    except OSError as error:
        reason = error.strerror or "it cannot be read"
        raise SiteError.of(
            f"the folder cannot be read ({reason})", "check its rights", folder.name
        ) from None


def _made_ready(path: Path, *, keep_metadata: bool) -> tuple[bytes, int, int]:
    """Return a picture as JPEG no longer than 1,100 px a side, with its size."""
    from PIL import ImageOps

    with open_picture(path) as picture:
        exif = picture.getexif() if keep_metadata else None
        picture.draft("RGB", (_LONGEST_SIDE_PX, _LONGEST_SIDE_PX))
        upright = eight_bits(ImageOps.exif_transpose(picture))
        upright.thumbnail((_LONGEST_SIDE_PX, _LONGEST_SIDE_PX))
        plain = plain_colours(upright)
    saved = io.BytesIO()
    if exif is not None:
        exif.pop(0x0112, None)  # it is upright already; the tag would turn it again
        plain.save(saved, "JPEG", quality=_QUALITY, exif=exif)
    else:
        plain.save(saved, "JPEG", quality=_QUALITY)
    return saved.getvalue(), plain.width, plain.height


def load_letter(site: Site, path: Path | None = None) -> tuple[str, str] | None:
    """Return (file name, text) of the letter template, None where the program's own serves.

    ``path`` is one given by hand; otherwise [referral] letter names a file in the site folder.
    Raises ``SiteError`` where it cannot be read.
    """
    if path is None:
        if not site.referral.letter or site.folder is None:
            return None
        path = inside_folder(site.folder, site.referral.letter, "referral.letter")
    try:
        ordinary = stat.S_ISREG(path.stat().st_mode)
        data = path.read_bytes() if ordinary else b""
    except OSError as error:
        reason = error.strerror or "it cannot be read"
        raise SiteError.of(
            f"the letter template cannot be read ({reason})", "check its name", path.name
        ) from None
    if not ordinary:
        raise SiteError.of("the letter template is no ordinary file", "", path.name)
    if len(data) > _LARGEST_LETTER:
        raise SiteError.of("the letter template is too long", "keep it to a letter", path.name)
    try:
        return path.name, data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SiteError.of(
            "the letter template is not UTF-8 text", "save it as UTF-8", path.name
        ) from None
