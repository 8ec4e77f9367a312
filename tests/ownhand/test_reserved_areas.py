"""Areas kept blank: no ink ever lies in them, and the text goes on beside or below them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from capture.errors import UsageError
from ownhand.composer import PlotPage, Settings, TextBox
from ownhand.composer.plot.plot_page import flatten
from ownhand.composer.settings.text_box import Ruling
from tests.ownhand.composing import LETTER, composer

STAMP = TextBox("stamp", 95, 0, 53, 40, blank=True)
MIDDLE = TextBox("seal", 55, 40, 30, 25, blank=True)
CARD = Settings(paper="postcard", margins_mm=(10, 10, 10, 10), x_height_mm=2.4, boxes=(STAMP,))


def inside(page: PlotPage, box: TextBox) -> int:
    """Return how many points of the drawn lines, pen and all, lie in a box."""
    points = flatten(page.points_mm, page.starts)[0]
    low = np.array([box.x_mm, box.y_mm]) - page.pen_mm / 2
    high = np.array([box.x_mm + box.width_mm, box.y_mm + box.height_mm]) + page.pen_mm / 2
    return int(((points > low) & (points < high)).all(axis=1).sum())


@pytest.mark.parametrize("align", ["left", "right", "centre", "justified"])
@pytest.mark.parametrize("boxes", [(STAMP,), (MIDDLE,), (STAMP, MIDDLE)], ids=["corner", "middle", "both"])
def test_the_pages_own_text_flows_round_what_is_kept_blank(boxes: Any, align: Any) -> None:
    made = composer().compose(LETTER, replace(CARD, boxes=boxes, align=align), seed=3)

    for page in made:
        assert [inside(page, box) for box in boxes] == [0] * len(boxes)
    first = made.pages[0]
    assert len(first) > 200
    assert inside(first, TextBox("beside", 10, 10, 75, 25)) > 100, "the text stands beside the stamp"
    assert inside(first, TextBox("below", 90, 66, 48, 29)) > 100, "and below it"


def test_text_stops_over_what_is_kept_blank_where_so_set() -> None:
    line = TextBox("signature", 10, 60, 128, 35, blank=True, around="stop")
    made = composer().compose(LETTER, replace(CARD, boxes=(line,)), seed=3)

    assert len(made) > 1
    assert max(page.bounds_mm()[3] for page in made) < 60


def test_a_box_beside_a_blank_one_keeps_its_whole_width() -> None:
    boxes = (TextBox("message", 10, 10, 70, 85, fit=True), TextBox("sign", 90, 50, 40, 40, blank=True))
    plain = composer().compose(LETTER, replace(CARD, boxes=boxes[:1]), seed=3).pages[0]
    made = composer().compose(LETTER, replace(CARD, boxes=boxes), seed=3).pages[0]

    np.testing.assert_allclose(made.points_mm, plain.points_mm)


def test_printed_lines_go_on_beside_a_blank_area() -> None:
    settings = replace(CARD, ruling=Ruling(8.0, 4.0))
    page = composer().compose(LETTER, settings, seed=3).pages[0]

    assert inside(page, STAMP) == 0


def test_a_page_that_is_blank_all_over_is_refused() -> None:
    with pytest.raises(UsageError, match="leave no room"):
        composer().compose("lit", replace(CARD, boxes=(TextBox("all", 0, 0, 148, 105, blank=True),)))
