"""The recipes run as they stand, and plotters' interpreters that we did not write draw what the SVG shows."""

from __future__ import annotations

import io
import re
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import resvg_py
from PIL import Image, ImageDraw

from fontbuild.formats.ufo import save_ufo
from ownhand.cli.main import main
from tests.ownhand.hershey_font import hershey_font
from tests.ownhand.test_formats_gcode import body
from tests.ownhand.test_formats_gcode import run as run_gcode
from tests.ownhand.test_formats_hpgl import apart, cut, drawn_by_hp2xx

FOLDER = Path(__file__).parents[1] / "sample_sheets" / "recipes"
RECIPES = sorted(d.name for d in FOLDER.iterdir() if d.is_dir())
PAGES = ["arc", "columns", "envelope-c6", "envelope-dl", "gift-tags", "letter", "nib", "postcard", "ruled", "two-hands"]


@pytest.fixture(scope="module")
def fonts(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    folder = tmp_path_factory.mktemp("fonts")
    return save_ufo(hershey_font(), folder / "one.ufo"), save_ufo(hershey_font("scripts", 3), folder / "two.ufo")


def command(name: str, fonts: tuple[Path, Path]) -> list[str]:
    text = (FOLDER / name / "command.txt").read_text()
    words = [w.replace("OTHER", str(fonts[1])) for w in shlex.split(text)]
    assert words[0] == "ownhand"
    return [str(fonts[0]) if w == "HAND" else w for w in words[1:]]


def lines_of_svg(text: str) -> int:
    return len(re.findall("<path ", text))


def drawn(text: str, dpi: int = 150) -> np.ndarray:
    """Return where a renderer of SVG (PyPI's resvg) draws a file of ours in hairlines, cut to the ink."""
    width, height = (float(s) for s in re.search(r'width="([\d.]+)mm" height="([\d.]+)mm"', text).groups())
    hair = re.sub(r'stroke="#\w+" stroke-width="[^"]+"', f'stroke="#000000" stroke-width="{25.4 / dpi:.4f}"', text)
    hair = hair.replace(f'width="{width:g}mm"', f'width="{round(width * dpi / 25.4)}"', 1)
    hair = hair.replace(f'height="{height:g}mm"', f'height="{round(height * dpi / 25.4)}"', 1)
    png = bytes(resvg_py.svg_to_bytes(svg_string=hair, background="white"))
    # a line upright between two columns of pixels covers half of each
    return cut(np.array(Image.open(io.BytesIO(png)).convert("L")) < 160)


def drawn_of(lines: list[np.ndarray], dpi: int = 150) -> np.ndarray:
    """Return where a plotter's lines (mm, y up) leave ink, cut to it."""
    every = np.concatenate(lines)
    low, high = every.min(axis=0), every.max(axis=0)
    px = [np.round((np.array([0, high[1]]) - line * [-1, 1] - [low[0], 0]) * dpi / 25.4).astype(int) for line in lines]
    width, height = np.max([p.max(axis=0) for p in px], axis=0) + 1
    picture = Image.new("1", (int(width), int(height)))
    pen = ImageDraw.Draw(picture)
    for p in px:
        pen.line([tuple(at) for at in (p if len(p) > 1 else np.repeat(p, 2, axis=0)).tolist()], fill=1)
    return cut(np.array(picture))


def test_every_recipe_is_listed_and_every_listed_one_is_there() -> None:
    listed = re.findall(r"`([\w-]+)`", re.sub(r"(?s)^.*?\n\| ---", "", (FOLDER / "README.md").read_text()))

    assert sorted(listed) == RECIPES


@pytest.mark.parametrize("name", RECIPES)
def test_a_recipe_runs_as_it_stands(
    name: str, fonts: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = shutil.copytree(FOLDER / name, tmp_path / name)
    before = {p.name: p.read_bytes() for p in there.iterdir()}
    monkeypatch.chdir(there)

    assert main(command(name, fonts)) == 0
    made = [p for p in there.rglob("*") if p.is_file() and p.name not in before]
    assert any(p.suffix in (".svg", ".gcode", ".hpgl") and p.stat().st_size > 500 for p in made)
    assert {n: (there / n).read_bytes() for n in before} == before


@pytest.mark.parametrize("name", PAGES)
def test_interpreters_draw_what_the_svg_shows(
    name: str, fonts: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tool: Callable[[str], str]
) -> None:
    there = shutil.copytree(FOLDER / name, tmp_path / name)
    monkeypatch.chdir(there)
    words = command(name, fonts)
    at = words.index("-o") + 1
    further = ["--format", "hpgl", "--format", "gcode", "--no-preview"]
    assert main([*words[:at], "page.svg", *words[at + 1 :], *further]) == 0
    text = Path("page.svg").read_text()
    ours = drawn(text)

    theirs = drawn_by_hp2xx(Path("page.hpgl").read_text(), tool, tmp_path)
    program = Path("page.gcode").read_text()
    lines, _, _ = run_gcode(body(program), 60 if "M3 S60" in program else None)

    assert abs(len(lines) - lines_of_svg(text)) <= 2
    for picture in (theirs, drawn_of(lines)):
        assert np.abs(np.subtract(picture.shape, ours.shape)).max() <= 4
        assert apart(picture, ours) <= 5
        assert apart(picture[::-1], ours) > 8, "not mirrored"
        assert apart(picture[:, ::-1], ours) > 8, "not mirrored"
