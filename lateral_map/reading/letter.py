"""The letter template a user may put in place of the program's own."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from lateral_map.errors import Fault, SiteError
from lateral_map.model.site import Site
from lateral_map.reading.photographs import inside_folder

_MOST_BYTES: Final = 500_000


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
        data = path.read_bytes()
    except OSError as error:
        reason = error.strerror or "it cannot be read"
        raise SiteError(
            Fault(f"the letter template cannot be read ({reason})", "check its name", path.name)
        ) from None
    if len(data) > _MOST_BYTES:
        raise SiteError(Fault("the letter template is too long", "keep it to a letter", path.name))
    try:
        return path.name, data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SiteError(
            Fault("the letter template is not UTF-8 text", "save it as UTF-8", path.name)
        ) from None
