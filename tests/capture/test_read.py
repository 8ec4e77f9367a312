"""The whole way from a scan to the ink of each cell, against what was written there."""

import itertools

import cv2
import numpy as np
import pytest
from scipy.spatial import cKDTree

from capture.layout import lay_out
from capture.read import read_page
from tests.bench.capture import errors_mm, our_way, true_status
from tests.bench.capture_pages import Written, print_page, take
from tests.capture.simulated import PLAIN, picture, plain_picture, plain_reading, sheet, status_of, written


def reading_of(shot):
    return read_page(shot.scan, lambda _: sheet())


def test_every_cell_is_written_blank_or_spoiled_as_it_was_left():
    reading = plain_reading()

    assert [c.status for c in reading.cells] == [status_of(w) for w in written()]
    assert {"written", "blank", "spoiled"} == {c.status for c in reading.cells}
    assert reading.findings == ()


def test_the_ink_lies_where_the_pen_went():
    # The middle of the ink, threshold half-way, against the strokes that were drawn: no constant offset.
    off = []
    for cell, truth in zip(plain_reading().cells, written(), strict=True):
        if cell.status != "written":
            continue
        rows, columns = np.nonzero(cell.grey < 140)
        ink = (np.column_stack([columns, rows]) + 0.5) / cell.px_per_mm + [cell.left_mm, cell.top_mm]
        line = np.concatenate(truth.strokes)
        away, nearest = cKDTree(line).query(ink)
        off.append((ink - line[nearest]).mean(axis=0))

        assert away.max() < 0.5 * PLAIN.pen_mm + 0.3
    assert np.abs(np.mean(off, axis=0)).max() < 0.015


def test_a_cells_image_has_a_millimetre_of_white_around_its_ink():
    for cell in plain_reading().cells:
        if cell.status == "written":
            rows, columns = np.nonzero(cell.grey < 140)
            margin = 0.8 * cell.px_per_mm
            h, w = cell.grey.shape

            assert min(rows.min(), columns.min(), h - 1 - rows.max(), w - 1 - columns.max()) >= margin


HARD = {
    "grey": PLAIN.but(grey=True),
    "printed without colour, written in pencil": PLAIN.but(dpi=300, grey_print=True, ink="pale", pen_mm=0.25),
    "black and white": PLAIN.but(dpi=300, bilevel=True),
    "red ink": PLAIN.but(ink="red"),
    "a brush": PLAIN.but(pen_mm=1.5),
    "folded, dusty, showing through": PLAIN.but(fold=0.5, dust=60, show_through=0.15),
    "a photo": PLAIN.but(dpi=250, tilt_deg=30, shadow=0.5, warm=0.8, jpeg=60, table=True, covered_mark=2),
}


@pytest.mark.parametrize("case", HARD)
def test_ink_is_read_whole_and_nothing_else_on_a_page_that_is(case):
    score = our_way(picture(HARD[case]), sheet(), sheet().pages[0])

    assert score.status == len(written())
    assert score.wrong == 0
    assert score.missed < 0.01
    assert score.false < 0.005


def test_strokes_over_guides_and_labels_lose_nothing():
    page = sheet().pages[0]
    cell = page.cells[1]
    x, y, w, h = cell.box_mm
    lx, ly, lw, lh = cell.label_mm
    over_label = np.array([[lx + 0.2, ly + lh], [lx + lw - 1.5, ly + 0.2], [x + w / 2, y + h / 2]])
    along_baseline = np.array([[x + 1, cell.baseline_mm], [x + w - 1, cell.baseline_mm]])
    cells = [Written(c, [over_label, along_baseline] if c is cell else []) for c in page.cells]
    shot = picture(PLAIN.but(pen_mm=0.4), cells)

    (found,) = [c for c in reading_of(shot).cells if c.status == "written"]

    assert found.cell is cell
    wanted = np.concatenate([np.linspace(a, b, 60) for a, b in itertools.pairwise(over_label)])
    wanted = np.concatenate([wanted, np.linspace(*along_baseline, 60)])
    px = ((wanted - [found.left_mm, found.top_mm]) * found.px_per_mm - 0.5).round().astype(int)
    assert (found.grey[px[:, 1], px[:, 0]] < 110).all()


def test_a_long_tail_goes_with_its_letter_into_the_next_row_and_is_mentioned():
    page = sheet().pages[0]
    upper = page.cells[2]
    lower = next(c for c in page.cells if c.row == 2 and c.box_mm[0] <= upper.box_mm[0] + 1 < c.box_mm[0] + c.box_mm[2])
    x, y, w, _h = upper.box_mm
    tail = np.array([[x + w / 2, y + 4], [x + w / 2, lower.box_mm[1] + 2.5]])
    below = lower.box_mm[0] + lower.box_mm[2] / 2 + 3
    dash = np.array([[below, lower.baseline_mm - 3], [below, lower.baseline_mm]])
    cells = [Written(c, [tail] if c is upper else [dash] if c is lower else []) for c in page.cells]

    found = {c.cell: c for c in reading_of(picture(PLAIN, cells)).cells}

    assert [f.kind for f in found[upper].findings] == ["outside its box"]
    assert found[upper].grey.shape[0] / found[upper].px_per_mm > np.ptp(tail[:, 1]) + 1
    assert found[lower].grey.shape[0] / found[lower].px_per_mm < 3 + PLAIN.pen_mm + 2.6


def test_two_attempts_that_touch_are_cut_between_their_boxes_and_both_named():
    page = sheet().pages[0]
    left, right = page.cells[3], page.cells[4]
    (x, _y, w, _h), (x2, _, w2, _) = left.box_mm, right.box_mm
    row = left.baseline_mm - 2
    line = np.array([[x + 2, row], [x2 + w2 - 2, row]])
    cells = [Written(c, [line] if c is left else []) for c in page.cells]

    found = {c.cell: c for c in reading_of(picture(PLAIN, cells)).cells}

    for cell in (left, right):
        assert found[cell].status == "written"
        assert "touches a neighbour" in [f.kind for f in found[cell].findings]
    edge = found[left].left_mm + (found[left].grey < 140).any(axis=0).nonzero()[0].max() / found[left].px_per_mm
    assert edge == pytest.approx((x + w + x2) / 2, abs=0.25)


def test_a_stroke_that_brushes_the_tick_box_does_not_spoil_and_a_cross_does():
    page = sheet().pages[0]
    brushed, crossed = page.cells[0], page.cells[5]
    tx, ty, _tw, _th = brushed.tick_mm
    _bx, _by, _bw, _bh = brushed.box_mm
    stroke = np.array([[tx - 1.5, brushed.baseline_mm], [tx + 0.6, ty + 1.2]])
    cx, cy, cw, ch = crossed.tick_mm
    cross = [np.array([[cx, cy], [cx + cw, cy + ch]]), np.array([[cx + cw, cy], [cx, cy + ch]])]
    letter = [
        np.array([[crossed.box_mm[0] + 3, crossed.baseline_mm - 3], [crossed.box_mm[0] + 3, crossed.baseline_mm]])
    ]
    cells = [Written(c, [stroke] if c is brushed else [*letter, *cross] if c is crossed else []) for c in page.cells]

    found = {c.cell: c.status for c in reading_of(picture(PLAIN, cells)).cells}

    assert found[brushed] == "written"
    assert found[crossed] == "spoiled"


def test_an_empty_page_has_blank_cells_and_nothing_to_look_at():
    reading = reading_of(picture(PLAIN.but(dust=20), [Written(c, []) for c in sheet().pages[0].cells]))

    assert {c.status for c in reading.cells} == {"blank"}
    assert reading.count("blank") == len(sheet().pages[0].cells)


def test_a_cell_under_a_finger_is_named():
    shot = plain_picture()
    pixels = shot.scan.pixels.copy()
    cell = next(w.cell for w in written() if not w.strokes and not w.ticked)
    x, y, w, h = cell.box_mm
    at = (np.array([x + w / 2, y + h / 2]) + 6.0) * PLAIN.dpi / 25.4  # the picture shows 6 mm around the page
    cv2.ellipse(pixels, tuple(at.astype(int).tolist()), (45, 50), 0, 0, 360, (120, 80, 60), -1)

    found = next(c for c in read_page(type(shot.scan)(pixels, "page1.png"), lambda _: sheet()).cells if c.cell == cell)
    assert "something lies on it" in [f.kind for f in found.findings]


def test_a_fold_as_dark_as_ink_is_no_ink():
    reading = reading_of(picture(PLAIN.but(fold=0.9)))

    assert [c.status for c in reading.cells] == [status_of(w) for w in written()]


def test_pen_width_and_verdict_are_measured():
    reading = reading_of(picture(PLAIN.but(dpi=300, pen_mm=0.7)))

    assert reading.pen_mm == pytest.approx(0.7, abs=0.12)
    assert reading.verdict.pen_measured
    assert reading.verdict.dpi == pytest.approx(300, abs=1)
    assert reading.verdict.print_scale == pytest.approx(1, abs=0.001)
    assert reading.verdict.advice == ""


def test_a_blurred_photo_gets_a_verdict_that_says_so():
    reading = reading_of(picture(PLAIN.but(tilt_deg=5, blur_mm=0.25)))

    assert "blurred" in reading.verdict.advice
    assert reading.findings[0].kind == "page not at its best"


def test_ruled_lines_give_their_ink_line_by_line():
    copied = lay_out([], sheet_id="test-2", paper="A5", ruled_text="far out at sea the lamp turns round and round")
    page = copied.pages[0]
    shot = take(page, print_page(copied, page), [], PLAIN)
    pixels = shot.scan.pixels.copy()
    first = page.ruled[0]
    ppm, border = PLAIN.dpi / 25.4, 6.0
    for k in range(5):
        x, y = first.box_mm[0] + 8 + 9 * k, first.baseline_mm
        a, b = ((np.array(p) + border) * ppm for p in ((x, y - 5), (x, y)))
        cv2.line(pixels, tuple(a.astype(int)), tuple(b.astype(int)), (30, 30, 40), 4, cv2.LINE_AA)

    reading = read_page(type(shot.scan)(pixels, "lines.png"), lambda _: copied)

    (line,) = reading.lines
    assert line.line == first and line.baseline_mm == first.baseline_mm
    assert line.grey.shape[1] / line.px_per_mm == pytest.approx(36 + 2.5, abs=1)
    assert reading.cells == ()


def test_errors_and_scores_of_the_bench_see_a_fault_that_is_there():
    shot = plain_picture()
    page = sheet().pages[0]

    def shifted(p):
        return p * (PLAIN.dpi / 25.4)

    assert errors_mm(shot, page, shifted)[0] > 1
    assert [true_status(w) for w in written()] == [status_of(w) for w in written()]
