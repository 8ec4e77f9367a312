from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import distance_transform_edt

from capture.errors import UsageError
from ownhand.composer import Pen, PlotPage, Settings, TextBox
from ownhand.composer.formats.hpgl import hpgl_text
from ownhand.composer.formats.png import picture
from ownhand.composer.plot.machine import Machine
from ownhand.composer.plot.plot_page import flatten
from tests.ownhand.composing import LETTER, composer

CARD = Settings(paper="postcard", margins_mm=(10, 10, 10, 10))


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


def test_hp2xx_draws_what_our_preview_shows(page: PlotPage, tmp_path: Path, tool: Callable[[str], str]) -> None:
    (tmp_path / "card.hpgl").write_text(hpgl_text(page), "ascii")
    x0, y0, x1, y1 = page.bounds_mm()

    # -t: true size; the picture is cut to the drawing's own bounds
    subprocess.run(
        [tool("hp2xx"), "-q", "-m", "pbm", "-t", "-d", "150", "-p", "1", "-f", "card.pbm", "card.hpgl"], cwd=tmp_path,
        check=True, capture_output=True, timeout=60,
    )  # fmt: skip

    theirs = ~np.array(Image.open(tmp_path / "card.pbm").convert("L")).astype(bool)
    k = 150 / 25.4
    thin = replace(page, pens=(Pen("#000000", 0.17),))
    ours = picture(thin, dpi=150)[..., 0] < 128
    rows, columns = np.nonzero(ours)
    cut = ours[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1]
    assert theirs.shape == pytest.approx(((y1 - y0) * k, (x1 - x0) * k), abs=6)
    rows, columns = np.nonzero(theirs)
    theirs = theirs[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1]
    h, w = min(cut.shape[0], theirs.shape[0]), min(cut.shape[1], theirs.shape[1])
    assert abs(cut.shape[0] - theirs.shape[0]) <= 2
    assert abs(cut.shape[1] - theirs.shape[1]) <= 2
    a, b = cut[:h, :w], theirs[:h, :w]
    assert distance_transform_edt(~a)[b].max() <= 3
    assert distance_transform_edt(~b)[a].max() <= 3


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
    assert text.endswith("PU;SP0;\n")
    assert max(map(len, text.split("\n"))) < 512


def test_every_pen_is_taken_once() -> None:
    settings = replace(
        CARD,
        pens=(Pen(), Pen("#a02020")),
        boxes=(TextBox("body", 10, 10, 70, 60), TextBox("title", 80, 10, 50, 40, pen=2)),
    )
    page = composer().compose({"body": "the lamp", "title": "Fog"}, settings, seed=1).pages[0]

    assert re.findall(r"SP\d", hpgl_text(page)) == ["SP1", "SP2", "SP0"]


def test_a_machine_moves_the_paper_on_its_bed(page: PlotPage) -> None:
    machine = Machine(bed_mm=(300, 200), paper_mm=(50, 20), draw_mm_s=60)

    plain, moved = read(hpgl_text(page)), read(hpgl_text(page, machine))

    assert "VS6;" in hpgl_text(page, machine)
    assert np.abs(moved[0][0] - plain[0][0] - [50 * 40, (200 - 105 - 20) * 40]).max() <= 1


def test_a_page_larger_than_the_bed_is_refused(page: PlotPage) -> None:
    with pytest.raises(UsageError, match="the writing reaches x"):
        hpgl_text(page, Machine(bed_mm=(90, 200)))
