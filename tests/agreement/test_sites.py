"""The made-up sites can be read, repeat to the byte, and show between them what they are for."""

from __future__ import annotations

from pathlib import Path

from agreement.sites import COVERING, traits_of, write_site
from lateral_map import load_site


def content(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def test_a_seed_repeats_to_the_byte_and_is_read(tmp_path: Path) -> None:
    for seed in (0, 3, 40):
        write_site(tmp_path / "one", seed)
        write_site(tmp_path / "two", seed)
        assert content(tmp_path / "one") == content(tmp_path / "two")
        assert load_site(tmp_path / "one").name == f"Lot {seed}, Ambersea"


def test_the_covering_sites_and_the_rest_show_every_trait() -> None:
    for some in ([*COVERING], [traits_of(seed) for seed in range(len(COVERING), 200)]):
        assert {one.unit for one in some} == {"ft", "us_ft", "m"}
        assert {one.trouble for one in some} == {"", "tape", "depth"}
        assert {bool(one.client) for one in some} == {True, False}
        for name in (
            "local", "from_street", "danger", "set_aside", "shared_name", "utility_like_line",
            "levels", "located", "behind",
        ):  # fmt: skip
            assert {getattr(one, name) for one in some} == {True, False}, name
        assert len({one.rule for one in some}) >= 10
