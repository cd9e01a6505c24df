"""Pictures on the entry page: the one under the plan, shown and pointed at; photographs."""

from __future__ import annotations

import hashlib
import io
import re
import secrets
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

from lateral_map.errors import SiteError
from lateral_map.model.picture import PlanPicture
from lateral_map.reading.enclosures import USUAL_FOLDER
from lateral_map.reading.picture_pixels import pillow_raster
from lateral_map.reading.pictures import eight_bits, inside_folder, open_picture, plain_colours
from lateral_map.web.asked import AskedWrong, clean_typed

_FOLDER: Final = "/picture/"
_LONGEST_PX: Final = 1_600
_QUALITY: Final = 80
_ENDINGS: Final = {
    "JPEG": ".jpg", "MPO": ".jpg", "PNG": ".png", "WEBP": ".webp", "TIFF": ".tif", "HEIF": ".heic",
}  # fmt: skip
_MOST_NAMES: Final = 99
_MOST_FOOTAGE: Final = 1e5


def picture_address(picture: PlanPicture) -> str:
    """Return where the page fetches a picture: another address for another picture."""
    return f"{_FOLDER}{hashlib.sha256(picture.jpeg).hexdigest()[:20]}"


def take_picture(folder: Path, name: str, data: bytes) -> str:
    """Put a picture into the site folder, under a name that is free; return that name.

    Raises ``SiteError`` for what is no picture; nothing is then left of it.
    """
    stem = re.sub(r"[^\w-]+", " ", Path(clean_typed(name)).stem).strip()[:40] or "picture"
    return _keep_picture(folder, stem, data)


def take_photograph(folder: Path, named: str, footage: float, data: bytes) -> str:
    """Put a photograph among the site's, named by the footage it shows; return that name.

    ``named`` is the photographs' folder as site.toml has it, empty for the usual one; ``footage``
    is in the site's unit. Raises ``SiteError``.
    """
    if not 0.0 <= footage < _MOST_FOOTAGE:
        raise SiteError.of("no camera goes there", "give its footage", field="footage")
    place = inside_folder(folder, named or USUAL_FOLDER, "referral.photographs")
    place.mkdir(exist_ok=True)
    return _keep_picture(place, f"{footage:.2f}".rstrip("0").rstrip("."), data)


def _keep_picture(folder: Path, stem: str, data: bytes) -> str:
    beside = folder / f".picture-{secrets.token_hex(8)}.saving"
    beside.write_bytes(data)
    try:
        with open_picture(beside) as picture:
            ending = _ENDINGS[picture.format or "JPEG"]
            picture.load()
        for number in range(1, _MOST_NAMES):
            place = folder / f"{stem}{f' {number}' if number > 1 else ''}{ending}"
            with suppress(FileExistsError), place.open("xb") as file:
                file.write(data)
                return place.name
    finally:
        beside.unlink(missing_ok=True)
    raise SiteError.of("the folder is full of pictures of that name", "choose another")


def picture_to_point_at(folder: Path, named: str) -> dict[str, Any]:
    """Return a picture of the site, upright, as JPEG no longer than 1,600 px a side, and its size.

    Raises ``SiteError``.
    """
    if not named:
        raise AskedWrong("no picture is named under Site")
    from PIL import ImageOps

    path = inside_folder(folder, named, "picture.file")
    raster = pillow_raster(path, upright=True)
    with open_picture(path) as picture:
        picture.draft("RGB", (_LONGEST_PX, _LONGEST_PX))
        upright = eight_bits(ImageOps.exif_transpose(picture))
        upright.thumbnail((_LONGEST_PX, _LONGEST_PX))
        shown = plain_colours(upright)
    saved = io.BytesIO()
    shown.save(saved, "JPEG", quality=_QUALITY)
    return {"jpeg": saved.getvalue(), "width": raster.width, "height": raster.height}
