"""Ink taken apart from print and paper, on images small enough to be drawn here."""

import cv2
import numpy as np
import pytest

from capture.bilevel import is_two_tone, without_print
from capture.illumination import estimate_paper
from capture.ink import FULL_INK_GREY, PrintLayer, Sample, separate
from capture.pen import line_width

PPM = 12.0
GREEN = np.array([0.27, 0.09, 0.22])


def a_page(ink_density, *, shadow=False, guide_off_px=0):
    """A guide across the middle, a stroke down through it, on paper; pixels, layer, cover of the stroke."""
    h, w = 360, 480
    guide, stroke = np.zeros((h, w), np.float32), np.zeros((h, w), np.float32)
    guide[178:182] = 1
    stroke[60:300, 200:206] = 1
    stroke = cv2.GaussianBlur(stroke, (0, 0), 0.8)
    layer = PrintLayer("#c4eccf", (guide * 255).astype(np.uint8))
    seen = np.roll(cv2.GaussianBlur(guide, (0, 0), 0.8), guide_off_px, axis=0)
    reflectance = np.exp(-seen[..., None] * GREEN) * (1 - stroke[..., None] * (1 - np.exp(-np.array(ink_density))))
    light = np.tile(np.where(np.arange(w) > 300, 0.55, 1.0)[None, :, None], (h, 1, 1)) if shadow else 1.0
    pixels = reflectance * 240 * cv2.GaussianBlur(light * np.ones((h, w, 1)), (0, 0), 8)[..., None]
    noise = np.random.default_rng(1).normal(0, 1.5, pixels.shape)
    return np.clip(pixels + noise, 0, 255).round().astype(np.uint8), layer, stroke


def taken_apart(pixels, layer):
    small = cv2.resize(pixels, (320, 240), interpolation=cv2.INTER_AREA)
    coarse = PrintLayer(layer.name, cv2.resize(layer.coverage, (320, 240), interpolation=cv2.INTER_AREA))
    sample = Sample(small, [coarse], np.ones((240, 320), bool), px_per_mm=8.0)
    return separate(pixels, [layer], sample, px_per_mm=PPM, blur_px=2.05)


@pytest.mark.parametrize("ink", [(2.0, 2.0, 1.9), (1.8, 1.5, 0.6), (0.3, 1.7, 1.5), (0.45, 0.45, 0.45)])
@pytest.mark.parametrize("shadow", [False, True])
def test_only_the_stroke_is_left_and_it_is_whole(ink, shadow):
    pixels, layer, stroke = a_page(ink, shadow=shadow)
    ink_alone = taken_apart(pixels, layer)

    assert ink_alone.grey[stroke > 0.95].max() < 90
    assert ink_alone.grey[cv2.dilate(stroke, np.ones((5, 5))) < 0.02].min() > 190
    assert np.median(ink_alone.grey[stroke > 0.95]) == pytest.approx(FULL_INK_GREY, abs=12)


def test_a_hard_pencils_fine_line_is_ink_and_what_shows_through_from_behind_is_not():
    h, w = 360, 480
    fine, behind = np.zeros((h, w), np.float32), np.zeros((h, w), np.float32)
    for x in range(60, 460, 80):
        fine[40:320, x : x + 1] = 1
        behind[40:320, x : x + 6] = 1
    none = PrintLayer("#c4eccf", np.zeros((h, w), np.uint8))
    noise = np.random.default_rng(2).normal(0, 1.0, (h, w, 1))

    def seen(density: np.ndarray) -> np.ndarray:
        return np.clip(240 * np.exp(-density[..., None] * [1.0, 1.0, 0.95]) + noise, 0, 255).round().astype(np.uint8)

    line = cv2.GaussianBlur(fine, (0, 0), 0.6)
    pencil = taken_apart(seen(0.4 * line), none)
    ghost = taken_apart(seen(0.16 * cv2.GaussianBlur(behind, (0, 0), 3)), none)

    assert pencil.grey[line > 0.6 * line.max()].mean() < 120
    assert ghost.grey.min() > 160


def test_grey_falls_in_step_with_how_much_of_a_pixel_is_inked():
    pixels, layer, stroke = a_page((2.0, 2.0, 1.9))
    grey = taken_apart(pixels, layer).grey.astype(float)
    away_from_guide = np.s_[80:150, 190:216]
    share = (255 - grey[away_from_guide]) / (255 - FULL_INK_GREY)

    assert np.abs(share - stroke[away_from_guide]).max() < 0.08


def test_in_colour_a_guide_a_little_off_its_place_still_vanishes():
    pixels, layer, stroke = a_page((2.0, 2.0, 1.9), guide_off_px=2)

    assert taken_apart(pixels, layer).grey[cv2.dilate(stroke, np.ones((5, 5))) < 0.02].min() > 215


def test_in_grey_the_guide_is_subtracted_by_its_place():
    pixels, layer, stroke = a_page((2.0, 2.0, 1.9))
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)

    ink_alone = taken_apart(grey, layer)
    assert ink_alone.grey[stroke > 0.95].max() < 90
    assert ink_alone.grey[cv2.dilate(stroke, np.ones((5, 5))) < 0.02].min() > 225


def test_the_width_of_a_line_is_measured_on_its_ink():
    pixels, layer, _ = a_page((2.0, 2.0, 1.9))
    width, length = line_width(taken_apart(pixels, layer), [(0, 0, 40, 30)])

    assert width == pytest.approx(6 / PPM, abs=0.04)
    assert length == pytest.approx(240 / PPM, rel=0.08)  # the estimator is made for lines of all directions


def test_paper_is_what_the_light_makes_it_whatever_is_written():
    h, w = 300, 300
    light = np.linspace(120, 230, w)[None] * np.ones((h, 1))
    page = light.copy()
    page[100:110] = 20
    page[:, 50:56] = 30

    paper = cv2.resize(estimate_paper(page.astype(np.uint8), px_per_mm=6.0), (w, h))
    assert np.abs(paper[20:-20, 20:-20] - light[20:-20, 20:-20]).max() < 8


def test_black_and_white_is_told_from_grey():
    two = np.where(np.random.default_rng(0).random((200, 200)) < 0.1, 0, 255).astype(np.uint8)

    assert is_two_tone(two)
    assert not is_two_tone(cv2.GaussianBlur(two, (0, 0), 1.5))
    assert not is_two_tone(np.full((50, 50), 255, np.uint8))


def test_black_print_goes_and_the_black_stroke_across_it_stays_whole():
    grey, cover = np.full((200, 200), 255, np.uint8), np.zeros((200, 200), np.uint8)
    cover[100:104, 20:180] = 255
    grey[100:104, 20:180] = 0
    grey[40:160, 90:96] = 0

    left = without_print(grey, cover, px_per_mm=12.0)
    assert (left[40:160, 91:95] == 0).all()
    assert (left[98:106, 20:80] == 255).all() and (left[98:106, 110:180] == 255).all()
