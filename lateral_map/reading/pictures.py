"""Pictures off the disk, whoever made them: refused where they are too large or no pictures."""

from __future__ import annotations

import stat
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

from lateral_map.errors import SiteError
from lateral_map.reading.files import real_path
from lateral_map.units import show_value

if TYPE_CHECKING:
    from PIL import Image

FORMATS: Final = ("JPEG", "PNG", "WEBP", "TIFF", "HEIF")
# A picture claiming more pixels than this is a slip or a trap. A JPEG may be made smaller while it
# is read; any other needs the memory of all its pixels.
_MOST_PIXELS: Final = {"JPEG": 120_000_000}
_MOST_PIXELS_ELSE: Final = 50_000_000
_LARGEST: Final = 60_000_000
_SMALLER: Final = "make it smaller, or take it out of the folder"


def inside_folder(folder: Path, name: str, field: str) -> Path:
    """Return a path named in site.toml; raises ``SiteError`` where it leads out of the folder."""
    path = real_path(folder / name) if "\0" not in name else folder.parent
    if not path.is_relative_to(real_path(folder)):
        raise SiteError.of(
            f"{show_value(name)} is not inside the site folder",
            "copy it into the folder and give its name there",
            file="site.toml",
            field=field,
        )
    return path


def check_ordinary(path: Path, largest: int = _LARGEST) -> None:
    """Raise ``SiteError`` where a path is no ordinary file, or has more bytes than ``largest``."""
    known = path.stat()
    if not stat.S_ISREG(known.st_mode):  # a pipe or a device would be waited for without end
        raise SiteError.of("it is no ordinary file", "take it out of the folder")
    if known.st_size > largest:
        megabytes, most = known.st_size / 1e6, largest / 1e6
        raise SiteError.of(f"it has {megabytes:.0f} MB, {most:.0f} at most", _SMALLER)


@contextmanager
def open_picture(path: Path) -> Iterator[Image.Image]:
    """Yield a picture whose pixels are not read yet.

    Raises ``SiteError``, its place left open, for what is too large, no picture, or broken: on
    opening, and where the pixels turn out so while it is open.
    """
    import pillow_heif
    from PIL import Image

    pillow_heif.register_heif_opener()
    try:
        check_ordinary(path)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(path, formats=FORMATS) as picture:
                pixels = picture.width * picture.height
                most = _MOST_PIXELS.get(picture.format or "", _MOST_PIXELS_ELSE)
                if pixels > most:
                    many = f"it has {pixels / 1e6:.0f} million pixels, {most / 1e6:.0f} at most"
                    raise SiteError.of(many, _SMALLER)
                yield picture
    except Image.DecompressionBombError:
        many = f"it has far too many pixels, {_MOST_PIXELS_ELSE / 1e6:.0f} million at most"
        raise SiteError.of(many, _SMALLER) from None
    except (OSError, ValueError, SyntaxError, EOFError) as error:
        problem = f"this is not a picture that can be read ({type(error).__name__})"
        remedy = "save it again as JPEG or PNG, or take it out of the folder"
        raise SiteError.of(problem, remedy) from None


def eight_bits(picture: Image.Image) -> Image.Image:
    """Return a picture of at most 256 steps a colour."""
    if picture.mode.startswith("I;16"):
        # Its upper byte: the darkest and lightest stay what they are.
        return picture.point(lambda value: value / 256.0).convert("L")
    return picture


def plain_colours(picture: Image.Image) -> Image.Image:
    """Return a picture in red, green and blue on white, without what its file said beside them."""
    from PIL import Image

    if "A" in picture.getbands() or "transparency" in picture.info:
        layered = picture.convert("RGBA")
        white = Image.new("RGBA", layered.size, "white")
        picture = Image.alpha_composite(white, layered)
    fresh = Image.new("RGB", picture.size)
    fresh.paste(picture.convert("RGB"))
    return fresh
