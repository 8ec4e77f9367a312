"""A UFO of others that names files outside its folder."""

from __future__ import annotations

import plistlib
import shutil
from pathlib import Path

import pytest

from capture.errors import FontFileError
from fontbuild.formats.ufo import load_ufo, save_ufo
from tests.ownhand.hershey_font import hershey_font


@pytest.fixture(scope="module")
def saved(tmp_path_factory):
    return save_ufo(hershey_font(), tmp_path_factory.mktemp("saved") / "font.ufo")


@pytest.fixture
def ufo(saved, tmp_path):
    path = Path(shutil.copytree(saved, tmp_path / "font.ufo"))
    (path / "data" / "org.ownhand.letters.npz").unlink()
    (tmp_path / "secret.glif").write_bytes(next((path / "glyphs").glob("*.glif")).read_bytes())
    return path


def test_a_glyph_outside_the_font_is_refused(ufo):
    file = ufo / "glyphs" / "contents.plist"
    names = plistlib.loads(file.read_bytes())
    file.write_bytes(plistlib.dumps({**names, next(iter(names)): "../../secret.glif"}))

    with pytest.raises(FontFileError, match=r"'\.\./\.\./secret\.glif' is not the name of a file inside"):
        load_ufo(ufo)


def test_a_layer_outside_the_font_is_refused(ufo):
    (ufo / "layercontents.plist").write_bytes(plistlib.dumps([["public.default", "../elsewhere"]]))

    with pytest.raises(FontFileError, match="is not the name of a file inside"):
        load_ufo(ufo)


def test_a_link_out_of_the_font_is_refused(ufo):
    file = next((ufo / "glyphs").glob("*.glif"))
    file.unlink()
    file.symlink_to(ufo.parent / "secret.glif")

    with pytest.raises(FontFileError, match="is not the name of a file inside"):
        load_ufo(ufo)
