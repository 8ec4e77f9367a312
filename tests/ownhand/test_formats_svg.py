from __future__ import annotations

import io
import re
import subprocess
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import cairosvg
import numpy as np
import pytest
import resvg_py
import svgpathtools
from PIL import Image
from svgwrite.validator2 import get_validator

from ownhand.composer import Pen, PlotPage, TextBox
from ownhand.composer.formats import page_bytes
from ownhand.composer.formats.png import picture
from ownhand.composer.formats.svg import path_data, svg_text
from ownhand.composer.plot.plot_page import flatten
from tests.ownhand.composing import CARD, LETTER, composer

SVG = "{http://www.w3.org/2000/svg}"
DPI = 200.0


@pytest.fixture(scope="module")
def page() -> PlotPage:
    return composer().compose(LETTER[:160] + " i! j?", CARD, seed=2).pages[0]


def grey(rgb: np.ndarray) -> np.ndarray:
    return rgb[..., :3].astype(float).mean(axis=2)


def test_the_document_is_svg_1_1(page: PlotPage) -> None:
    # elements, children and attribute values after SVG 1.1 (Second Edition), as svgwrite's tables have them
    valid = get_validator("full", debug=True)
    root = ElementTree.fromstring(svg_text(page))

    for element in root.iter():
        name = element.tag.removeprefix(SVG)
        for child in element:
            valid.check_valid_children(name, child.tag.removeprefix(SVG))
        for attribute, value in element.attrib.items():
            if attribute == "d":
                svgpathtools.parse_path(value)
                assert re.fullmatch(r"M-?[\d.]+ -?[\d.]+(c-?[\d.]+( -?[\d.]+)*|h\.01)", value)
            else:
                valid.check_svg_attribute_value(name, attribute, value)


def test_sizes_are_true_millimetres(page: PlotPage) -> None:
    root = ElementTree.fromstring(svg_text(page))

    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("148mm", "105mm", "0 0 148 105")
    # CSS Values 3, 5.2: 1 in = 25.4 mm = 96 px; both renderers must agree on it
    assert Image.open(io.BytesIO(cairosvg.svg2png(svg_text(page).encode(), dpi=96))).size == (559, 397)


def test_one_path_for_each_time_the_pen_is_down_and_no_fill(page: PlotPage) -> None:
    root = ElementTree.fromstring(svg_text(page))

    paths = root.findall(f".//{SVG}path")
    assert len(paths) == len(page)
    assert all(set(p.attrib) == {"d"} for p in paths)
    layer = root.find(f"{SVG}g")
    assert (layer.get("fill"), layer.get("stroke-linecap"), layer.get("stroke-linejoin")) == ("none", "round", "round")


def test_paths_are_grouped_by_page_pen_line_and_word(page: PlotPage) -> None:
    root = ElementTree.fromstring(svg_text(page))

    pen = root.find(f"{SVG}g[@id='page-1']/{SVG}g[@id='pen-1']")
    lines = pen.findall(f"{SVG}g")
    assert [g.get("id") for g in lines] == [f"line-1-{k + 1}" for k in range(len(np.unique(page.line)))]
    assert sum(len(g.findall(f"{SVG}g")) for g in lines) == len(np.unique(page.word))


def test_paths_hold_the_curves_to_a_hundredth_of_a_millimetre(page: PlotPage) -> None:
    for k, data in enumerate(path_data(page)):
        read = svgpathtools.parse_path(data)
        ours = page.path(k)
        if len(ours) == 1:
            continue
        assert len(read) == len(ours) // 3
        theirs = np.array([[p.real, p.imag] for piece in read for p in (piece.start, *piece[1:])])
        mine = np.array([q for i in range(0, len(ours) - 1, 3) for q in ours[i : i + 4]])
        assert np.abs(theirs - mine).max() < 0.0051


def test_ink_length_agrees_with_svgpathtools(page: PlotPage) -> None:
    points, starts = flatten(page.points_mm, page.starts, within_mm=0.005)
    ours = sum(np.hypot(*np.diff(points[a:b], axis=0).T).sum() for a, b in pairwise(starts))

    theirs = sum(svgpathtools.parse_path(d).length(error=1e-3) for d in path_data(page) if not d.endswith("h.01"))

    assert ours == pytest.approx(theirs, rel=0.005)


def test_three_renderers_and_our_preview_draw_the_same_page(
    page: PlotPage, tmp_path: Path, tool: Callable[[str], str]
) -> None:
    ours = grey(picture(page, dpi=DPI))
    rows, columns = ours.shape
    text = svg_text(page).replace("<title>", '<rect width="148" height="105" fill="#fffefa"/><title>')
    text = text.replace('width="148mm" height="105mm"', f'width="{columns}" height="{rows}" preserveAspectRatio="none"')
    (tmp_path / "page.svg").write_text(text, "utf-8")

    cairo = grey(np.array(Image.open(io.BytesIO(cairosvg.svg2png(text.encode())))))
    resvg = grey(np.array(Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=text, dpi=96.0))))))
    where = (tmp_path / "page.svg").as_uri()
    subprocess.run(
        [tool("chromium"), "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--screenshot=page.png",
         f"--window-size={columns},{rows}", f"--user-data-dir={tmp_path / 'profile'}", where],
        cwd=tmp_path, check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    chromium = grey(np.array(Image.open(tmp_path / "page.png").convert("RGB")))[:rows, :columns]

    ink = (255 - ours).sum()
    assert np.abs(cairo - resvg).sum() < 0.05 * ink
    assert np.abs(chromium - resvg).sum() < 0.05 * ink
    assert np.abs(ours - resvg).sum() < 0.15 * ink
    assert (255 - resvg).sum() == pytest.approx(ink, rel=0.06)


def test_pens_are_layers() -> None:
    settings = replace(
        CARD,
        pens=(Pen("#204060", 0.3, "blue"), Pen("#a02020", 0.6, 'red & "bold"')),
        boxes=(TextBox("body", 10, 10, 70, 60), TextBox("title", 80, 10, 50, 40, pen=2)),
    )

    page = composer().compose({"body": "the lamp", "title": "Fog"}, settings, seed=1).pages[0]
    root = ElementTree.fromstring(svg_text(page))

    layers = root.findall(f"{SVG}g/{SVG}g")
    assert [(g.get("id"), g.get("stroke"), g.get("stroke-width")) for g in layers] == [
        ("pen-1", "#204060", "0.3"),
        ("pen-2", "#a02020", "0.6"),
    ]
    assert layers[1].get("class") == 'red & "bold"'


def test_the_order_of_least_travel_is_the_order_in_the_file() -> None:
    page = composer().compose(LETTER[:120], replace(CARD, order="least travel"), seed=1).pages[0]

    paths = ElementTree.fromstring(svg_text(page)).findall(f".//{SVG}path")

    starts = [re.match(r"M(\S+) ([\d.]+)", p.get("d")) for p in paths]
    found = np.array([[float(m[1]), float(m[2])] for m in starts])
    assert np.abs(found - page.ends_mm[0]).max() < 0.0051


def test_an_empty_page_is_still_a_document() -> None:
    page = composer().compose("", CARD).pages[0]

    for kind in ("svg", "hpgl", "gcode", "png", "html"):
        assert len(page_bytes(page, kind)) > 10
    assert ElementTree.fromstring(svg_text(page)).findall(f".//{SVG}path") == []


def test_the_preview_has_the_pixels_of_its_resolution(page: PlotPage) -> None:
    image = Image.open(io.BytesIO(page_bytes(page, "png", dpi=100)))

    assert image.size == (round(148 / 25.4 * 100), round(105 / 25.4 * 100))
    assert image.info["dpi"] == pytest.approx((100, 100), abs=0.1)


def test_the_replay_needs_nothing_from_elsewhere(page: PlotPage) -> None:
    text = page_bytes(page, "html").decode()

    assert not re.search(r"(src|href)\s*=|url\(|https?:", text)
    assert text.count("{{") == 0
