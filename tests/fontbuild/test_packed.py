"""The pack in a UFO: the same font, sooner; and none at all once anything else in the UFO has changed."""

from __future__ import annotations

import re
import shutil
import zipfile
from pathlib import Path

import numpy as np
import pytest

from fontbuild.build import build_font
from fontbuild.font import Font, Record
from fontbuild.formats.packed import PACK, unpack
from fontbuild.formats.ufo import load_ufo, save_ufo
from tests.fontbuild.hands import hand


@pytest.fixture(scope="module")
def font() -> Font:
    return build_font(
        hand("nhoxieaTV.", times=2, marks="\u0301"), Record("Lamp", "A. Keeper", "mine", "cards", 2026)
    ).font


@pytest.fixture(scope="module")
def saved(font: Font, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return save_ufo(font, tmp_path_factory.mktemp("saved") / "lamp.ufo")


@pytest.fixture
def ufo(saved: Path, tmp_path: Path) -> Path:
    """A copy of its own, which is a twentieth of the work of saving it."""
    return Path(shutil.copytree(saved, tmp_path / "lamp.ufo"))


def test_the_packed_font_is_the_one_in_the_other_files(ufo: Path, tmp_path: Path) -> None:
    bare = Path(shutil.copytree(ufo, tmp_path / "bare.ufo"))
    shutil.rmtree(bare / "data")
    packed, plain = unpack(ufo), load_ufo(bare)

    assert packed is not None
    assert unpack(bare) is None
    for name in ("record", "metrics", "mm_per_unit", "rhythm", "kerning"):
        assert getattr(packed, name) == getattr(plain, name)
    assert list(packed.glyphs) == list(plain.glyphs)
    for char, variants in packed.glyphs.items():
        for a, b in zip(variants, plain.glyphs[char], strict=True):
            for name in ("name", "char", "advance", "ductus", "anchors", "source", "width"):
                assert getattr(a, name) == getattr(b, name)
            assert all(np.array_equal(x, y) for x, y in zip(a.strokes, b.strokes, strict=True))


@pytest.mark.parametrize("file", ["glyphs/n.glif", "kerning.plist", "lib.plist"])
def test_an_edit_in_any_other_file_counts_and_the_pack_no_more(ufo: Path, file: str) -> None:
    (ufo / file).write_text((ufo / file).read_text() + "\n")

    assert unpack(ufo) is None
    assert "n" in load_ufo(ufo).glyphs


def test_an_edited_advance_is_the_one_that_is_read(ufo: Path) -> None:
    glif = ufo / "glyphs" / "n.glif"
    glif.write_text(re.sub(r'<advance width="[^"]*"/>', '<advance width="777"/>', glif.read_text()))

    assert load_ufo(ufo).glyphs["n"][0].advance == 777


@pytest.mark.parametrize("damage", [b"", b"nothing", None])
def test_a_damaged_pack_is_passed_over(ufo: Path, font: Font, damage: bytes | None) -> None:
    whole = (ufo / PACK).read_bytes()
    (ufo / PACK).write_bytes(whole[: len(whole) // 2] if damage is None else damage)

    assert unpack(ufo) is None
    assert list(load_ufo(ufo).glyphs) == list(font.glyphs)


@pytest.mark.parametrize("seed", range(40))
def test_a_pack_with_changed_bytes_never_stops_a_font_from_loading(ufo: Path, font: Font, seed: int) -> None:
    rng = np.random.default_rng(seed)
    data = bytearray((ufo / PACK).read_bytes())
    for at in rng.integers(0, len(data), 6):
        data[at] = int(rng.integers(256))
    (ufo / PACK).write_bytes(bytes(data))

    assert load_ufo(ufo).glyphs.keys() == font.glyphs.keys()


def test_a_pack_that_would_unpack_to_too_much_is_passed_over(ufo: Path, font: Font) -> None:
    with zipfile.ZipFile(ufo / PACK, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("head.npy", "w") as entry:
        for _ in range(300):
            entry.write(bytes(1 << 20))

    assert unpack(ufo) is None
    assert load_ufo(ufo).glyphs.keys() == font.glyphs.keys()
