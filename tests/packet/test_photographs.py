"""Photographs: found by footage, made smaller, stripped, placed beside what they show."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from lxml import html as lxml_html
from PIL import Image

from lateral_map import build_report, load_site
from lateral_map.draw.packet.document import referral_html
from lateral_map.draw.sheet.document import draw_sheets
from lateral_map.errors import SiteError
from lateral_map.reading.enclosures import load_photographs

_MAKE, _ORIENTATION, _GPS = 0x010F, 0x0112, 0x8825


def save_jpeg(path: Path, size: tuple[int, int] = (300, 200), *, orientation: int = 1) -> None:
    exif = Image.Exif()
    exif[_MAKE] = "Maker of cameras"
    exif[_ORIENTATION] = orientation
    exif.get_ifd(_GPS)[2] = (42.0, 30.0, 0.0)
    picture = Image.new("RGB", size, "red")
    picture.paste("blue", (0, 0, size[0] // 2, size[1]))
    picture.save(path, "JPEG", exif=exif, comment=b"secret comment")


@pytest.fixture
def pictures(folder: Path) -> Path:
    (folder / "photographs").mkdir()
    return folder / "photographs"


def test_metadata_stays_behind(folder: Path, pictures: Path) -> None:
    save_jpeg(pictures / "44.2 crown.jpg")
    assert b"Maker of cameras" in (pictures / "44.2 crown.jpg").read_bytes()
    (photograph,) = load_photographs(load_site(folder))
    assert photograph.footage_m == pytest.approx(44.2 * 0.3048)
    assert b"Maker" not in photograph.jpeg
    assert b"secret" not in photograph.jpeg
    assert not Image.open(io.BytesIO(photograph.jpeg)).getexif()


def test_metadata_is_kept_where_asked(folder: Path, pictures: Path) -> None:
    save_jpeg(pictures / "44.2.jpg", orientation=6)
    toml = folder / "site.toml"
    toml.write_text(toml.read_text("utf-8") + "\n[referral]\nkeep_metadata = true\n")
    (photograph,) = load_photographs(load_site(folder))
    exif = Image.open(io.BytesIO(photograph.jpeg)).getexif()
    assert exif[_MAKE] == "Maker of cameras"
    assert _ORIENTATION not in exif


def test_large_ones_become_small_and_turned_ones_upright(folder: Path, pictures: Path) -> None:
    save_jpeg(pictures / "10.jpg", (4000, 1000), orientation=6)
    (photograph,) = load_photographs(load_site(folder))
    # Orientation 6 of the EXIF standard: the scene's top is on the right of what is stored.
    assert photograph.height_px == 1100
    assert photograph.width_px == 275
    shown = Image.open(io.BytesIO(photograph.jpeg))
    red, _, blue = shown.getpixel((137, 30))
    assert blue > red


def test_png_with_holes_is_laid_on_white(folder: Path, pictures: Path) -> None:
    Image.new("RGBA", (40, 30), (255, 0, 0, 0)).save(pictures / "12.5_joint.png")
    (photograph,) = load_photographs(load_site(folder))
    assert min(Image.open(io.BytesIO(photograph.jpeg)).getpixel((20, 15))) > 250


@pytest.mark.parametrize(
    ("name", "footage"),
    [("44.2.jpg", 44.2), ("44.JPEG", 44.0), ("044.20-2.png", 44.2), ("44.2 ft left.jpg", 44.2),
     ("44.2_a.jpg", 44.2), ("0.5.jpg", 0.5)],
)  # fmt: skip
def test_names_begin_with_the_footage(
    folder: Path, pictures: Path, name: str, footage: float
) -> None:
    Image.new("RGB", (20, 20)).save(pictures / name)
    (photograph,) = load_photographs(load_site(folder))
    assert photograph.footage_m == pytest.approx(footage * 0.3048)


def test_every_bad_file_is_named_at_once(folder: Path, pictures: Path) -> None:
    (pictures / "44.2.jpg").write_bytes(b"this is no picture")
    Image.new("RGB", (20, 20)).save(pictures / "roots.png")
    Image.new("RGB", (20, 20)).save(pictures / "44x.png")
    (pictures / "notes.txt").write_text("left alone")
    with pytest.raises(SiteError) as refused:
        load_photographs(load_site(folder))
    said = str(refused.value)
    assert len(refused.value.faults) == 3
    assert "photographs/44.2.jpg: this is not a picture" in said
    assert "photographs/roots.png: the name does not begin with a footage" in said
    assert "photographs/44x.png" in said


def test_a_bomb_is_refused(folder: Path, pictures: Path) -> None:
    Image.new("1", (20000, 20000)).save(pictures / "44.2.png")
    with pytest.raises(SiteError, match="not a picture that can be read"):
        load_photographs(load_site(folder))


def test_photographs_stay_in_the_site_folder(folder: Path) -> None:
    toml = folder / "site.toml"
    toml.write_text(toml.read_text("utf-8") + '\n[referral]\nphotographs = "../elsewhere"\n')
    with pytest.raises(SiteError, match="not inside the site folder"):
        load_photographs(load_site(folder))


def test_each_stands_beside_the_finding_it_shows(folder: Path, pictures: Path) -> None:
    for name in ("43.45.jpg", "44.0.jpg", "48.9.jpg", "71.0.jpg"):
        save_jpeg(pictures / name)
    site = load_site(folder)
    report = build_report(site)
    page = referral_html(
        report, report.letters[0], draw_sheets(report), photographs=load_photographs(site)
    )
    captions = [
        " ".join(" ".join(each.itertext()).split())
        for each in lxml_html.fromstring(page).xpath("//figcaption")
    ]
    assert captions == [
        "43.5 ft: 6 offset joint, severe 43.45.jpg",  # nine inches off, and no more
        "44.0 ft: 6 offset joint, severe 44.0.jpg",
        "48.9 ft: 7 crack, severe 48.9.jpg",  # within the stretch 47.5 to 50.5
        "71.0 ft 71.0.jpg",
    ]
    assert "Photographs not at a finding" in page
