from __future__ import annotations

import io
import re
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import resvg_py
from PIL import Image
from scipy.ndimage import distance_transform_edt, label

from capture.errors import UsageError
from ownhand.composer import Pen, PlotPage, Settings
from ownhand.composer.formats.hpgl import hpgl_text
from ownhand.composer.formats.svg import svg_text
from ownhand.composer.plot.machine import Machine
from ownhand.composer.plot.plot_page import flatten
from tests.ownhand.composing import CARD, LETTER, composer, in_two_pens


@pytest.fixture(scope="module")
def page() -> PlotPage:
    return composer().compose(LETTER[:160] + " i! j?", CARD, seed=2).pages[0]


def read(text: str) -> list[np.ndarray]:
    """Return the pen-down lines of HP-GL, plotter units."""
    lines: list[list[tuple[int, int]]] = []
    down, at = False, (0, 0)
    for word, numbers in re.findall(r"([A-Z]{2})([^;A-Z]*);", text):
        values = [int(v) for v in numbers.split(",") if v.strip()]
        if word in ("PU", "PD"):
            if word == "PD" and not down:
                lines.append([at])
            down = word == "PD"
            for x, y in zip(values[::2], values[1::2], strict=True):
                at = (x, y)
                if down:
                    lines[-1].append(at)
    return [np.array(line) for line in lines]


def drawn_by_hp2xx(text: str, tool: Callable[[str], str], folder: Path, *, dpi: int = 150) -> np.ndarray:
    """Return where the interpreter (Debian's hp2xx) draws, cut to the ink."""
    (folder / "page.hpgl").write_text(text, "ascii")
    # -t: true size; the picture is cut to the drawing's own bounds
    subprocess.run(
        [tool("hp2xx"), "-q", "-m", "pbm", "-t", "-d", str(dpi), "-p", "1", "-f", "page.pbm", "page.hpgl"], cwd=folder,
        check=True, capture_output=True, timeout=60,
    )  # fmt: skip
    return cut(~np.array(Image.open(folder / "page.pbm").convert("L")).astype(bool))


def drawn_of_svg(page: PlotPage, *, dpi: int = 150) -> np.ndarray:
    """Return where a renderer of SVG (PyPI's resvg) draws our page, cut to the ink."""
    text = svg_text(replace(page, pens=(Pen("#000000", 25.4 / dpi),) * len(page.pens)))
    width, height = (round(side * dpi / 25.4) for side in page.size_mm)
    text = text.replace('mm"', '"', 2).replace(' width="', f' width="{width}" a="', 1)
    text = text.replace(' height="', f' height="{height}" b="', 1)
    png = bytes(resvg_py.svg_to_bytes(svg_string=text, background="white"))
    # a line upright between two columns of pixels covers half of each
    return cut(np.array(Image.open(io.BytesIO(png)).convert("L")) < 160)


def cut(ink: np.ndarray) -> np.ndarray:
    rows, columns = np.nonzero(ink)
    return ink[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1]


def apart(one: np.ndarray, other: np.ndarray) -> float:
    """Return how far ink of one picture lies from any of the other, px."""
    h, w = max(one.shape[0], other.shape[0]), max(one.shape[1], other.shape[1])
    a, b = (np.pad(x, ((0, h - x.shape[0]), (0, w - x.shape[1]))) for x in (one, other))
    return float(max(distance_transform_edt(~a)[b].max(), distance_transform_edt(~b)[a].max()))


@pytest.mark.parametrize("origin", ["bottom left", "top left"])
def test_hp2xx_draws_what_a_renderer_of_our_svg_draws_and_never_mirrored(
    page: PlotPage, tmp_path: Path, tool: Callable[[str], str], origin: Any
) -> None:
    theirs = drawn_by_hp2xx(hpgl_text(page, Machine(bed_mm=(310, 220), origin=origin)), tool, tmp_path)
    ours = drawn_of_svg(page)

    assert np.abs(np.subtract(theirs.shape, ours.shape)).max() <= 3
    assert apart(theirs, ours) <= 4
    assert apart(theirs[::-1], ours) > 20 and apart(theirs[:, ::-1], ours) > 20


def test_a_dot_shows_where_lines_need_a_length(tmp_path: Path, tool: Callable[[str], str]) -> None:
    dots = np.array([[20.0 + 5 * k, 30.0 + 3 * (k % 3)] for k in range(12)])
    zeros = np.zeros(12, np.int64)
    page = PlotPage(
        1, (148.0, 105.0), (0.0,) * 4, dots, np.arange(13), zeros, zeros, zeros, zeros + 1, (".",)
    )  # fmt: skip

    theirs = drawn_by_hp2xx(hpgl_text(page), tool, tmp_path)

    assert label(theirs)[1] == 12
    lines = read(hpgl_text(page))
    assert all(0 < np.ptp(line, axis=0).max() <= 2 for line in lines), "shorter than a pen is wide"


def test_paper_beyond_sixteen_bits_is_scaled_by_the_standards_own_means(
    tmp_path: Path, tool: Callable[[str], str]
) -> None:
    page = composer().compose("Fog? lit", Settings(paper=(1200.0, 900.0), x_height_mm=60), seed=2).pages[0]

    text = hpgl_text(page)

    assert max(map(int, re.findall(r"\d+", text.split("SP1;")[1]))) <= 32767
    theirs = drawn_by_hp2xx(text, tool, tmp_path, dpi=25)
    assert apart(theirs, drawn_of_svg(page, dpi=25)) <= 3


def test_coordinates_are_forty_units_to_the_millimetre_with_y_up(page: PlotPage) -> None:
    lines = read(hpgl_text(page))

    points, starts = flatten(page.points_mm, page.starts, within_mm=0.0125)
    assert len(lines) == len(page)
    for k in range(len(page)):
        want = points[[starts[k], starts[k + 1] - 1]] * [40, -40] + [0, 105 * 40]
        assert np.abs(lines[k][[0, -1]] - want).max() <= 0.51


def test_the_file_uses_four_instructions(page: PlotPage) -> None:
    text = hpgl_text(page)

    assert set(re.findall(r"[A-Z]{2}", text)) == {"IN", "SP", "PU", "PD"}
    assert text.startswith("IN;\nPU;SP1;")
    assert text.endswith("\nPU0,0;SP0;\n")
    assert max(map(len, text.split("\n"))) < 512


def test_every_pen_is_taken_once() -> None:
    assert re.findall(r"SP\d", hpgl_text(in_two_pens())) == ["SP1", "SP2", "SP0"]


def test_a_machine_moves_the_paper_on_its_bed(page: PlotPage) -> None:
    machine = Machine(bed_mm=(300, 200), paper_mm=(50, 20), draw_mm_s=60)

    plain, moved = read(hpgl_text(page)), read(hpgl_text(page, machine))

    assert "VS6;" in hpgl_text(page, machine)
    assert np.abs(moved[0][0] - plain[0][0] - [50 * 40, (200 - 105 - 20) * 40]).max() <= 1


def test_a_page_larger_than_the_bed_is_refused(page: PlotPage) -> None:
    with pytest.raises(UsageError, match="the writing reaches x"):
        hpgl_text(page, Machine(bed_mm=(90, 200)))
