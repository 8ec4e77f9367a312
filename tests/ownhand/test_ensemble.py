"""Several hands, lettering along curves, drawings and drawn rules on one page."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import cv2
import numpy as np
import pytest
from skimage.morphology import skeletonize
from svgpathtools import parse_path

from capture.errors import InputError, UsageError
from ownhand.cli.options import others_of
from ownhand.commands.additions import with_drawings
from ownhand.commands.write import how_to_add, missing_lines
from ownhand.composer import Life, PlotPage, Ruling, Settings, TextBox
from ownhand.composer.ensemble import Ensemble
from ownhand.composer.formats.png import picture
from ownhand.composer.formats.replay import replay_data
from ownhand.composer.formats.svg import svg_text
from ownhand.composer.merge.lacks import lacks_in
from ownhand.composer.plot.drawings import strokes_of_path
from ownhand.composer.plot.plot_page import flatten
from ownhand.composer.settings.additions import Curve, Drawing
from ownhand.composer.settings.pens import Pen
from tests.ownhand.composing import composer
from tests.ownhand.hershey_font import hershey_font

CARD = Settings(paper=(148.0, 105.0), margins_mm=(6.0,) * 4, x_height_mm=2.4, pens=(Pen(), Pen("#aa3311")))
BOXES = (TextBox("message", 8, 40, 80, 55), TextBox("aside", 95, 60, 45, 30, hand="aunt", pen=2))
TEXT = {"message": "We lit the lamp at four.", "aside": "hello"}


def ensemble() -> Ensemble:
    return Ensemble(hershey_font(), {"aunt": hershey_font("scripts", 3)})


def test_a_page_without_such_things_is_the_composers_own() -> None:
    ours, own = ensemble().compose("a seal", CARD, seed=4), composer().compose("a seal", CARD, seed=4)

    assert svg_text(ours.pages[0]) == svg_text(own.pages[0])


def test_each_box_is_written_in_its_hand_with_its_pen() -> None:
    page = ensemble().compose(TEXT, replace(CARD, boxes=BOXES), seed=1).pages[0]

    assert set(page.pen.tolist()) == {1, 2}
    # a joined face: one path may hold several letters and bears the number of the first
    begun = [page.chars[i] for i in dict.fromkeys(page.letter[page.pen == 2].tolist())]
    assert begun[0] == "h"
    assert set(begun) <= set("hello")


def widths_of(page: PlotPage) -> list[float]:
    """Return the width of each pen's layer in the SVG file, mm."""
    root = ElementTree.fromstring(svg_text(page))
    layers = [g for g in root.iter("{http://www.w3.org/2000/svg}g") if g.get("id", "").startswith("pen-")]
    return [float(g.attrib["stroke-width"]) for g in layers]


def test_each_hands_pen_draws_as_wide_as_its_writers_did() -> None:
    """The layers' widths, and in the picture the ink by the way of its lines, which differ by less than a pixel."""
    font = hershey_font()
    broad = replace(font, metrics=replace(font.metrics, pen_width=2.5 * font.metrics.pen_width))
    thin_mm, broad_mm = (f.metrics.pen_width * f.mm_per_unit for f in (font, broad))
    pens = (Pen("#000000"), Pen("#000000"))
    for own, aunt in ((font, broad), (broad, font)):
        page = Ensemble(own, {"aunt": aunt}).compose(TEXT, replace(CARD, boxes=BOXES, pens=pens), seed=1).pages[0]
        expected = [f.metrics.pen_width * f.mm_per_unit for f in (own, aunt)]

        assert widths_of(page) == pytest.approx(expected, abs=0.01)
        assert [pen["width"] for pen in replay_data(page)["pens"]] == pytest.approx(expected, abs=0.01)
        dark = picture(page, dpi=300)[..., 0] < 128
        middle = round(92 * 300 / 25.4)
        ink = [part.sum() / skeletonize(part).sum() * 25.4 / 300 for part in (dark[:, :middle], dark[:, middle:])]
        assert ink == pytest.approx(expected, rel=0.2)
    assert broad_mm > 2 * thin_mm


def test_one_pen_draws_one_width_whoever_writes_with_it() -> None:
    font = hershey_font()
    broad = replace(font, metrics=replace(font.metrics, pen_width=2.5 * font.metrics.pen_width))
    boxes = (BOXES[0], replace(BOXES[1], pen=1))
    page = Ensemble(font, {"aunt": broad}).compose(TEXT, replace(CARD, boxes=boxes), seed=1).pages[0]

    assert widths_of(page) == pytest.approx([font.metrics.pen_width * font.mm_per_unit], abs=0.01)


def test_a_hand_that_was_not_given_is_named() -> None:
    with pytest.raises(UsageError, match=r"box 'aside': .*'aunt'.*--hand aunt=FOLDER"):
        Ensemble(hershey_font()).compose(TEXT, replace(CARD, boxes=BOXES))


def test_what_a_second_hand_lacks_is_counted_in_it() -> None:
    texts = {"message": "ж", "aside": "жж"}

    settings = replace(CARD, boxes=BOXES)
    whole = {"message": "a lamp ж", "aside": "a sea жж"}
    done = ensemble().compose(whole, settings)

    assert ensemble().missing(texts, settings) == {"": {"ж": 1}, "aunt": {"ж": 2}}
    assert [(k.char, k.count, k.hand) for k in lacks_in(done)] == [("ж", 2, "aunt"), ("ж", 1, "")]
    # each is told of its own hand, with the sheet that asks for it
    lines = missing_lines(lacks_in(done), Path("keeper"), {"aunt": Path("old/aunt")}, written=True)
    asked = [line for line in lines if line.startswith("Add")]
    assert lines[0].startswith("Missing in this hand") and lines[3].startswith("Missing in the hand 'aunt'")
    assert asked == [f"Add them: ownhand sheet {hand} --characters 'ж'" for hand in ("keeper", "old/aunt")]


def test_what_a_font_file_lacks_is_not_asked_for_in_it_as_if_it_were_a_hand() -> None:
    assert how_to_add(Path("plain.svg"), "ß") == (
        "Add them: ownhand sheet HAND --characters 'ß', and when it was read: "
        "ownhand extend plain.svg --hand HAND -o plain-more.svg"
    )
    assert ensemble().compose({**TEXT, "aside": "oж"}, replace(CARD, boxes=BOXES)).missing["ж"] == 1


def test_lettering_stands_on_its_curve() -> None:
    curve = Curve("title", "M 20 74 A 54 54 0 0 1 128 74", align="centre", x_height_mm=3.0)
    settings = replace(CARD, paper=(148.0, 148.0), curves=(curve,), boxes=(), life=Life(0.0))
    page = ensemble().compose({"title": "nummus annus"}, settings, seed=2).pages[0]
    points, _ = flatten(page.points_mm, page.starts)
    radius = np.hypot(*(points - [74.0, 74.0]).T)

    # x-height letters without descenders: their feet stand on the circle of 54 mm, their heads 3 mm above it
    assert radius.min() == pytest.approx(54.0, abs=0.4)
    assert radius.max() == pytest.approx(57.0, abs=0.7)
    angles = np.degrees(np.arctan2(74.0 - points[:, 1], points[:, 0] - 74.0))
    assert angles.max() - 90 == pytest.approx(90 - angles.min(), abs=2.0)


@pytest.mark.parametrize(
    ("path", "message"),
    [
        ("M 20 60 L 40 60", "its text is .* mm long, the curve 20 mm"),
        ("M 40 60 A 4 4 0 1 1 40 60.1 A 4 4 0 1 1 40 60 A 4 4 0 1 1 40 60.1 A 4 4 0 1 1 40 60", "is too small"),
        ("M 20 60 L 140 60 M 3 3 L 4 4", "has 2 parts"),
        ("hello", "is no SVG path data"),
        ("M 20 4 L 140 4", "over the margins"),
        # a step every tenth of a mm of these would fill the memory
        ("M 20 60 H 1e8", "its curve is 1e\\+08 mm long, not 0.1 to 2000"),
        ("M 20 60 H 1e200", "its curve is 1e\\+200 mm long"),
        ("M 20 60 h 1e-4", "its curve is 0.0001 mm long"),
        ("M 20 60 H 1990", "'t': 12 characters, 2.4 mm high, are more than is written along a curve of 1970 mm"),
    ],
)
def test_a_curve_that_cannot_bear_its_text_says_why(path: str, message: str) -> None:
    with pytest.raises(UsageError, match=message):
        ensemble().compose({"t": "nummus annus"}, replace(CARD, curves=(Curve("t", path),)), seed=2)


def test_small_letters_go_along_a_curve_too() -> None:
    curve = Curve("t", "M 20 60 L 140 60", x_height_mm=0.8)
    page = ensemble().compose({"t": "annus"}, replace(CARD, curves=(curve,)), seed=2).pages[0]

    assert "".join(page.chars) == "annus"


@pytest.mark.parametrize(
    ("curve", "message"),
    [
        (Curve("later", "M 20 60 L 140 60 M 3 3 L 4 4"), "'later': its path has 2 parts"),
        (Curve("later", "hello"), "'later'.* is no SVG path data"),
        (Curve("later", "M 20 60 L 140 60", hand="nobody"), "'later'.*nobody"),
    ],
)
def test_a_curve_that_this_text_leaves_out_is_checked_all_the_same(curve: Curve, message: str) -> None:
    with pytest.raises(UsageError, match=message):
        ensemble().compose("annus", replace(CARD, curves=(curve,)), seed=2)


@pytest.mark.parametrize("data", ["M1 2 L8 3 l2 2 h4 v-3 Z", "M0 0 C1 5 4 6 9 2 S 12 0 14 4", "M0 0 Q 5 9 10 0 T 20 0",
                                  "M2 3 A 4 6 30 1 0 9 9"])  # fmt: skip
def test_path_data_are_read_as_another_library_reads_them(data: str) -> None:
    # svgpathtools, an independent reader of SVG 1.1, 8.3
    (ours,), theirs = strokes_of_path(data), parse_path(data)
    points, _ = flatten(ours, np.array([0, len(ours)]), within_mm=0.02)
    wanted = np.array([[z.real, z.imag] for z in map(theirs.point, np.linspace(0, 1, 400))])
    dense = np.concatenate([np.linspace(a, b, 60) for a, b in pairwise(points)])
    gaps = np.hypot(*(wanted[:, None] - dense[None]).transpose(2, 0, 1)).min(axis=1)

    assert gaps.max() < 0.25
    np.testing.assert_allclose(ours[0], wanted[0], atol=1e-9)
    np.testing.assert_allclose(ours[-1], wanted[-1], atol=1e-6)


def test_a_drawing_fills_the_place_it_is_given() -> None:
    drawing = Drawing(path="M5 5h10v20h-10z", x_mm=30, y_mm=20, width_mm=20, pen=2)
    page = ensemble().compose("a", replace(CARD, drawings=(drawing,)), seed=1).pages[0]
    points = np.concatenate([page.path(k) for k in range(len(page)) if page.pen[k] == 2])

    np.testing.assert_allclose([points.min(axis=0), points.max(axis=0)], [[30, 20], [50, 60]], atol=1e-6)


def test_small_steps_of_a_drawing_far_from_zero_are_drawn() -> None:
    (stroke,) = strokes_of_path("M 450000 6200000 " + "l 1 0 0 1 " * 20)  # as maps count, in metres

    assert len(stroke) == 3 * 40 + 1


def test_a_drawing_over_the_margin_is_refused() -> None:
    with pytest.raises(UsageError, match="drawing 1: it reaches from"):
        ensemble().compose("a", replace(CARD, drawings=(Drawing(path="M0 0h20", x_mm=140, y_mm=50),)))


@pytest.mark.parametrize(
    ("drawing", "message"),
    [
        (Drawing(path="M0 0v9", width_mm=20), "drawing 1: its path has no width that could be made 20 mm.*height_mm"),
        (Drawing(path="M0 0h9", height_mm=20), "its path has no height that could be made 20 mm.*width_mm"),
        (Drawing(path="M0 0h9", width_mm=5, height_mm=20), "its path has no height"),
    ],
)
def test_a_straight_line_is_not_made_wide(drawing: Drawing, message: str) -> None:
    with pytest.raises(UsageError, match=message):
        ensemble().compose("a", replace(CARD, drawings=(replace(drawing, x_mm=30, y_mm=50),)))


def test_a_layouts_drawings_are_read_from_its_folder_and_nowhere_else(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "lamp.svg").write_text('<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0L9 9"/></svg>')
    grey = np.full((120, 240), 250, np.uint8)
    cv2.line(grey, (40, 60), (200, 60), 30, 6, cv2.LINE_AA)
    cv2.imwrite(str(tmp_path / "line.png"), grey)
    data, notices = with_drawings({"drawings": [{"file": "lamp.svg"}, {"file": "line.png", "dpi": 300}]}, tmp_path)
    (line,) = strokes_of_path(data["drawings"][1]["path"])

    assert notices == []
    assert data["drawings"][0]["path"].startswith("M0")
    assert np.ptp(line[:, 0]) == pytest.approx(160 / 300 * 25.4, abs=0.4)
    with pytest.raises(InputError, match="outside the layout's folder"):
        with_drawings({"drawings": [{"file": "../lamp.svg"}]}, tmp_path / "in")


def test_ruled_lines_are_drawn_when_asked_for() -> None:
    ruled = replace(CARD, ruling=Ruling(8.0, 10.0, drawn=True, pen=2))
    page = ensemble().compose("a seal", ruled, seed=1).pages[0]
    rules = [page.path(k) for k in range(len(page)) if page.pen[k] == 2]

    assert [r[0, 1] for r in rules] == [10 + 8 * k for k in range(12) if 6 <= 10 + 8 * k <= 99]
    assert all(r[0, 0] == 6 and r[-1, 0] == 142 for r in rules)


def test_further_hands_are_given_by_name_and_folder() -> None:
    assert others_of(["aunt=a b", "me = c"]) == {"aunt": "a b", "me": "c"}
    for wrong in (["aunt"], ["=x"], ["a=b", "a=c"]):
        with pytest.raises(UsageError, match="--hand"):
            others_of(wrong)


def test_a_text_before_the_first_named_box_is_for_the_first_and_never_lost() -> None:
    boxes = (TextBox("message", 8, 40, 80, 55), TextBox("aside", 95, 60, 45, 30))
    page = ensemble().compose({"": "we sail", "aside": "hello"}, replace(CARD, boxes=boxes), seed=1).pages[0]

    assert "".join(page.chars) == "wesailhello"
    for hands in (boxes, (replace(boxes[0], hand="aunt"), boxes[1])):
        with pytest.raises(UsageError, match="both what comes before"):
            ensemble().compose({"": "we sail", "message": "lamp"}, replace(CARD, boxes=hands))


def test_pages_are_limited_in_hands_that_are_first_written_in_later() -> None:
    both = Ensemble(hershey_font(), {"aunt": hershey_font()})
    both.limit_pages(1)
    with pytest.raises(UsageError, match="it fills 2 pages, at most 1"):
        both.compose("~in aunt a\f~in aunt b", CARD)


PARAGRAPHS = "Dear Ada, we lit the lamp at four.\n\n~in aunt hello annual lamps\nYours, the keeper"


def baselines(page, chars: str) -> list[float]:
    """Return the lowest points, mm, of letters that stand on the line, in the order in which they are written."""
    low = {}
    for i, (start, stop) in enumerate(pairwise(page.starts)):
        number = int(page.letter[i])
        if page.chars[number] in chars:
            low[number] = max(low.get(number, 0.0), float(page.points_mm[start:stop, 1].max()))
    return list(low.values())


def test_a_single_paragraph_is_written_in_another_hand_below_the_one_before() -> None:
    settings = replace(CARD, life=Life(0.0))
    page = ensemble().compose(PARAGRAPHS, settings, seed=3).pages[0]
    whole = composer().compose(PARAGRAPHS.replace("~in aunt ", ""), settings, seed=3).pages[0]
    hands = [page.chars[i] for i in dict.fromkeys(page.letter.tolist())]
    text = "".join(hands).replace(" ", "")

    assert text.startswith("DearAda,welitthelampatfour.")
    assert text.endswith("Yours,thekeeper")
    found, same = (sorted({round(y, 0) for y in baselines(p, "aekmnrs")}) for p in (page, whole))
    assert found[0] == same[0]
    assert found[-1] == pytest.approx(same[-1], abs=1.5), "it takes the room that its line would take"
    assert len(page.points_mm) != len(whole.points_mm)


def test_a_paragraph_in_another_hand_goes_on_to_the_next_page() -> None:
    settings = replace(CARD, paper=(80.0, 40.0), fit=False)
    text = "We lit the lamp at four.\n" * 3 + "~in aunt " + "hello annual lamps and lilies " * 6 + "\nYours, the keeper"
    pages = ensemble().compose(text, settings, seed=3).pages

    assert len(pages) > 2
    assert all(len(page) for page in pages)
    assert "".join(pages[-1].chars).replace(" ", "").endswith("keeper")


def test_paragraphs_of_two_hands_are_fitted_to_their_box_together() -> None:
    box = TextBox("message", 8, 8, 60, 30, fit=True)
    done = ensemble().compose(
        {"message": PARAGRAPHS + " of the lamp and the bell"}, replace(CARD, boxes=(box,)), seed=3
    )

    assert done.x_height_mm["message"] < 2.4
    (_, _, _, y1) = done.pages[0].bounds_mm()
    assert y1 < 38.5


def test_a_paragraph_in_a_hand_that_was_not_given_is_named() -> None:
    with pytest.raises(UsageError, match=r"a paragraph of 'body': .*'uncle'.*--hand uncle=FOLDER"):
        ensemble().compose("a seal\n~in uncle a sail", CARD)


def test_what_a_paragraphs_hand_lacks_is_counted_in_it() -> None:
    assert ensemble().missing("a seal\n~in aunt жж", CARD) == {"": {}, "aunt": {"ж": 2}}
