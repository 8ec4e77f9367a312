"""Finding and straightening a page; and one clear line where there is none to be found."""

from dataclasses import replace

import numpy as np
import pytest

from capture.errors import MarksNotFoundError, OwnhandError, WrongSheetError
from capture.page import straighten
from capture.register import register
from capture.scan import Scan
from tests.bench.capture import errors_mm
from tests.capture.simulated import PLAIN, picture, plain_picture, sheet


def ours(_):
    return sheet()


def of(pixels, **changes) -> Scan:
    return Scan(np.ascontiguousarray(pixels), "page1.png", **changes)


def test_every_place_of_a_flatbed_scan_is_known_to_a_hundredth_of_a_millimetre():
    shot = plain_picture()
    view = straighten(shot.scan, ours)

    mean, p95 = errors_mm(shot, sheet().pages[0], view.warp)
    assert mean < 0.01 and p95 < 0.02
    assert len(view.marks) == len(sheet().pages[0].marks)


def test_a_page_on_its_side_is_the_same_page():
    shot = picture(PLAIN.but(quarter_turns=3, turn_deg=2))

    assert errors_mm(shot, sheet().pages[0], straighten(shot.scan, ours).warp)[1] < 0.02


def test_a_slipping_feed_is_corrected_inside_the_page_by_its_print():
    shot = picture(PLAIN.but(feed_mm=0.25))
    rough = straighten(shot.scan, ours)
    fine, left_over = register(rough)

    assert errors_mm(shot, sheet().pages[0], rough.warp)[0] > 0.08
    assert errors_mm(shot, sheet().pages[0], fine.warp)[0] < 0.05
    assert left_over < 0.05


def test_a_photo_of_a_curled_sheet_is_flattened():
    shot = picture(PLAIN.but(dpi=250, tilt_deg=20, curl_mm=5, lens=-0.02, jpeg=70, table=True))
    view, _ = register(straighten(shot.scan, ours))

    mean, p95 = errors_mm(shot, sheet().pages[0], view.warp)
    assert mean < 0.05 and p95 < 0.15


def test_the_printed_size_is_measured_on_a_flatbed_and_not_guessed_from_a_photo():
    assert straighten(picture(PLAIN.but(print_scale=0.96)).scan, ours).print_scale == pytest.approx(0.96, abs=0.001)
    assert straighten(replace(plain_picture().scan, dpi=None), ours).print_scale is None
    assert straighten(replace(plain_picture().scan, dpi=72.0), ours).print_scale is None


def test_a_box_is_cut_out_where_it_lies():
    view = straighten(plain_picture().scan, ours)
    mark = sheet().pages[0].marks[0]
    half = mark.size_mm / 2
    box = (mark.x_mm - half, mark.y_mm - half, mark.size_mm, mark.size_mm)

    pixels = view.pixels(box, px_per_mm=10.0)

    assert pixels.shape[:2] == (70, 70)
    assert pixels[2:7].max() < 90 and pixels[:, 2:7].max() < 90  # the marker's border: one module of ten pixels


def test_a_page_with_one_corner_covered_is_still_read():
    shot = picture(PLAIN.but(covered_mark=0))
    view = straighten(shot.scan, ours)

    assert 0 not in {m.id for m in view.marks}
    assert errors_mm(shot, sheet().pages[0], view.warp)[1] < 0.05


def refused() -> dict[str, tuple[Scan, type[OwnhandError], str]]:
    pixels = plain_picture().scan.pixels
    h, w = pixels.shape[:2]
    table = np.random.default_rng(2).integers(60, 200, (500, 400, 3), np.uint8)
    return {
        "not a sheet": (of(table), MarksNotFoundError, "no marks of a sheet"),
        "white paper": (of(np.full((1200, 900), 250, np.uint8)), MarksNotFoundError, "no marks of a sheet"),
        "the upper half": (of(pixels[: h // 2]), MarksNotFoundError, "bottom right, bottom left"),
        "the left half": (of(pixels[:, : w // 2]), MarksNotFoundError, "top right, bottom right"),
        "72 dpi": (picture(PLAIN.but(dpi=72)).scan, MarksNotFoundError, "dpi|marks"),
        "110 dpi": (picture(PLAIN.but(dpi=110)).scan, MarksNotFoundError, "at about 1[01][0-9] dpi"),
        "mirrored": (of(pixels[:, ::-1]), MarksNotFoundError, "mirrored"),
        "a negative": (of(255 - pixels), MarksNotFoundError, "the picture is inverted, white on black"),
    }


@pytest.mark.parametrize(
    "case",
    ["not a sheet", "white paper", "the upper half", "the left half", "72 dpi", "110 dpi", "mirrored", "a negative"],
)
def test_what_shows_no_whole_page_is_refused_in_one_line_that_says_what_to_do(case):
    scan, kind, words = refused()[case]

    with pytest.raises(kind, match=words) as caught:
        straighten(scan, ours)

    assert str(caught.value).startswith(scan.place + ": ")
    assert "\n" not in str(caught.value) and caught.value.remedy.endswith(".")


def test_the_sheet_of_another_hand_is_named():
    with pytest.raises(WrongSheetError, match="page 1 of sheet 'test-1' does not belong to this hand"):
        straighten(plain_picture().scan, lambda coded: None)


def test_a_page_with_other_cells_than_its_sheet_file_is_refused_rather_than_guessed():
    page = sheet().pages[0]
    swapped = (replace(page.cells[0], char="z"), *page.cells[1:])
    other = replace(sheet(), pages=(replace(page, cells=swapped), *sheet().pages[1:]))

    with pytest.raises(WrongSheetError, match=r"other cells on paper than in its sheet\.json"):
        straighten(plain_picture().scan, lambda coded: other)


def test_a_page_whose_codes_are_covered_is_refused():
    pixels = plain_picture().scan.pixels.copy()
    view = straighten(plain_picture().scan, ours)
    page = sheet().pages[0]
    for box in (page.code_mm, page.second_code_mm):
        corners = np.array([box[:2], (box[0] + box[2], box[1] + box[3])])
        (x0, y0), (x1, y1) = view.warp(corners).round().astype(int)
        pixels[y0 : (y0 + y1) // 2, x0:x1] = 230

    with pytest.raises(MarksNotFoundError, match="neither of the two page codes"):
        straighten(of(pixels), ours)
