"""Columns, centring down the page, and paragraphs aligned by themselves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from capture.errors import UsageError
from ownhand.composer import Life, PlotPage, Ruling, Settings, TextBox
from tests.ownhand.composing import LETTER, composer

STILL = Settings(paper="A5", margins_mm=(10.0,) * 4, x_height_mm=2.0, life=Life(0.0))


def spans(page: PlotPage) -> np.ndarray:
    """Return left, right, top of each line's ink, shape (lines, 3)."""
    out = []
    for n in np.unique(page.line):
        points = np.concatenate([page.path(k) for k in np.flatnonzero(page.line == n)])
        out.append([points[:, 0].min(), points[:, 0].max(), points[:, 1].min()])
    return np.array(out)


def test_a_text_fills_the_first_column_before_the_second() -> None:
    page = composer().compose(LETTER * 3, replace(STILL, columns=2, column_gap_mm=6.0), seed=1).pages[0]
    left, right, top = spans(page).T
    width = (148 - 20 - 6) / 2
    first = left < 10 + width

    assert np.all(right[first] <= 10 + width + 0.01)
    assert np.all(left[~first] >= 10 + width + 6 - 0.01)
    assert first.tolist() == sorted(first.tolist(), reverse=True)
    assert top[~first][0] == pytest.approx(top[first][0], abs=1.0)


def test_an_area_kept_blank_in_the_second_column_leaves_the_first_alone() -> None:
    boxes = (TextBox("stamp", 95, 10, 43, 60, blank=True), TextBox("body", 10, 10, 128, 190, columns=2, flows=True))
    page = composer().compose(LETTER * 3, replace(STILL, boxes=boxes), seed=1).pages[0]
    left, right, top = spans(page).T
    first = left < 70

    assert top[first].min() < 15
    assert np.all((top[~first] > 68) | (right[~first] < 95))


def test_columns_that_are_full_go_on_on_the_next_page() -> None:
    made = composer().compose(LETTER * 12, replace(STILL, columns=3, column_gap_mm=5.0), seed=1)
    chars = "".join(c for page in made for c in page.chars)

    assert len(made.pages) > 1
    assert chars == "".join((LETTER * 12).split())


@pytest.mark.parametrize(("down", "share"), [("top", 0.0), ("middle", 0.5), ("bottom", 1.0)])
def test_a_short_text_stands_where_it_is_told_to_between_the_edges(down: str, share: float) -> None:
    tall = {
        d: spans(composer().compose("xx", replace(STILL, down=d), seed=1).pages[0])[0, 2] for d in ("top", "bottom")
    }
    here = spans(composer().compose("xx", replace(STILL, down=down), seed=1).pages[0])[0, 2]

    assert here == pytest.approx(tall["top"] + share * (tall["bottom"] - tall["top"]), abs=0.02)
    assert tall["bottom"] > 190


def test_on_ruled_paper_a_text_moves_down_by_whole_lines() -> None:
    settings = replace(STILL, ruling=Ruling(8.0, 12.0), down="middle")
    page = composer().compose("x", settings, seed=1).pages[0]
    foot = page.bounds_mm()[3]

    assert (foot - 12.0) / 8.0 == pytest.approx(round((foot - 12.0) / 8.0), abs=0.02)


def test_one_paragraph_can_stand_to_the_right_and_one_in_the_middle() -> None:
    page = composer().compose("~right May\n~centre Ahoy\nplain\n~center mum", STILL, seed=1).pages[0]
    left, right, _ = spans(page).T

    assert "".join(page.chars) == "MayAhoyplainmum"
    assert right[0] == pytest.approx(138, abs=0.6)
    assert (left[1] + right[1]) / 2 == pytest.approx(74, abs=1.0)
    assert left[2] == pytest.approx(10, abs=1.5)
    assert (left[3] + right[3]) / 2 == pytest.approx(74, abs=1.0)


def test_columns_that_do_not_fit_are_refused() -> None:
    with pytest.raises(UsageError, match="9 columns do not fit its width"):
        composer().compose("a", replace(STILL, columns=9, column_gap_mm=20.0))
