"""Photographs: found by footage, made smaller, stripped, placed beside what they show."""

from __future__ import annotations

import io
import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from lxml import html as lxml_html
from PIL import Image

from lateral_map import build_report, load_site
from lateral_map.draw.packet.document import referral_html
from lateral_map.draw.sheet.document import draw_sheets
from lateral_map.errors import SiteError
from lateral_map.export.packet import name_photographs
from lateral_map.model.referral import Photograph
from lateral_map.model.results import Report
from lateral_map.reading.enclosures import load_letter, load_photographs, photographs_left_out
from lateral_map.words.names import finding_words

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


def test_a_bomb_is_refused_before_it_is_decoded(
    folder: Path, pictures: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Image.new("1", (8000, 8000)).save(pictures / "44.2.png")
    monkeypatch.setattr(Image.Image, "load", None)
    with pytest.raises(SiteError, match="it has 64 million pixels, 50 at most; make it smaller"):
        load_photographs(load_site(folder))


@pytest.mark.parametrize("suffix", ["webp", "tif", "TIFF", "heic", "HEIF", "png", "jpeg"])
def test_every_kind_of_camera_is_read(folder: Path, pictures: Path, suffix: str) -> None:
    pillow_heif.register_heif_opener()
    kind = {"tif": "TIFF", "heic": "HEIF", "jpeg": "JPEG"}.get(suffix, suffix.upper())
    picture = Image.new("RGB", (64, 48), (200, 30, 30))
    picture.save(pictures / f"44.2 crown.{suffix}", kind)
    (photograph,) = load_photographs(load_site(folder))
    assert (photograph.width_px, photograph.height_px) == (64, 48)
    shown = Image.open(io.BytesIO(photograph.jpeg))
    assert shown.format == "JPEG"
    assert shown.getpixel((30, 20)) == pytest.approx((200, 30, 30), abs=12)


def test_a_picture_of_sixteen_bits_keeps_its_grey(folder: Path, pictures: Path) -> None:
    grey = np.full((20, 20), 32768, np.uint16)
    Image.fromarray(grey).save(pictures / "44.2.tif")
    (photograph,) = load_photographs(load_site(folder))
    assert Image.open(io.BytesIO(photograph.jpeg)).getpixel((9, 9))[0] == pytest.approx(128, abs=3)


def test_what_is_no_ordinary_file_or_leads_out_is_refused(folder: Path, pictures: Path) -> None:
    os.mkfifo(pictures / "44.2.jpg")
    outside = folder.parent / "private.jpg"
    save_jpeg(outside)
    (pictures / "45.jpg").symlink_to(outside)
    with pytest.raises(SiteError) as refused:
        load_photographs(load_site(folder))
    said = str(refused.value)
    assert "photographs/44.2.jpg: it is no ordinary file" in said
    assert "photographs/45.jpg: it is a link that leads out of the site folder" in said
    os.mkfifo(folder / "letter.html")
    with pytest.raises(SiteError, match="is no ordinary file"):
        load_letter(load_site(folder), folder / "letter.html")


def test_a_folder_that_is_named_must_be_there(folder: Path) -> None:
    assert load_photographs(load_site(folder)) == ()
    toml = folder / "site.toml"
    toml.write_text(toml.read_text("utf-8") + '\n[referral]\nphotographs = "photographs"\n')
    with pytest.raises(SiteError, match="'photographs' is no folder of the site"):
        load_photographs(load_site(folder))


def test_what_is_no_picture_is_said(folder: Path, pictures: Path) -> None:
    for name in ("notes.txt", "44.2.gif", ".DS_Store"):
        (pictures / name).write_text("x")
    site = load_site(folder)
    assert load_photographs(site) == ()
    assert photographs_left_out(site) == ("44.2.gif", "notes.txt")


def test_the_archive_holds_them_as_files() -> None:
    names = ("44.2 crown.heic", "44.2 crown.png", "44.2\n../é.jpg")
    made = name_photographs([Photograph(name, 1.0, name.encode(), 1, 1) for name in names])
    assert list(made) == [
        "photographs/44.2 crown.jpg", "photographs/44.2 crown_2.jpg", "photographs/44.2_..__.jpg",
    ]  # fmt: skip
    assert list(made.values()) == [name.encode() for name in names]


def test_of_two_as_near_both_are_named(report: Report) -> None:
    first, second = report.findings[:2]
    middle = (first.finding.footage_m + second.finding.footage_m) / 2.0
    near = replace(
        report,
        findings=(
            replace(first, finding=replace(first.finding, footage_m=middle - 0.1, to_m=None)),
            replace(second, finding=replace(second.finding, footage_m=middle + 0.1, to_m=None)),
        ),
    )
    picture = Photograph("x.jpg", middle, b"", 1, 1)
    page = referral_html(near, report.letters[0], draw_sheets(report), photographs=[picture])
    (caption,) = lxml_html.fromstring(page).xpath("//figcaption/text()[1]")
    words = [finding_words(one) for one in report.findings[:2]]
    assert f"1 {words[0]} or 2 {words[1]}" in caption


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
        # A length is kept on one line by an element of its own.
        " ".join(" ".join(each.itertext()).split()).replace(" :", ":")
        for each in lxml_html.fromstring(page).xpath("//figcaption")
    ]
    assert captions == [
        "43.5 ft: 6 offset joint, severe 43.45.jpg",  # nine inches off, and no more
        "44.0 ft: 6 offset joint, severe 44.0.jpg",
        "48.9 ft: 7 crack, severe 48.9.jpg",  # within the stretch 47.5 to 50.5
        "71.0 ft 71.0.jpg",
    ]
    assert "Photographs not at a finding" in page
