"""Markers drawn at known places, each pixel the exact mean of what it covers, and found again."""

import cv2
import numpy as np
import pytest

from capture.fiducial_detection import find_marks, read_codes
from capture.sheet import MARK_DICTIONARY

DICTIONARY = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, MARK_DICTIONARY))
PLACES = [(150.0, 150.0), (150.25, 150.5), (150.5, 149.7), (149.9, 150.1), (150.37, 150.82)]


def drawn(x: float, y: float, side: float, *, degrees: float = 0, blur: float = 0, dark: int = 20, bright: int = 240):
    """Marker 7 with its centre at pixel (x, y): 16 x 16 samples to the pixel."""
    size, fine = 300, 16
    modules = DICTIONARY.markerSize + 2
    pattern = cv2.aruco.generateImageMarker(DICTIONARY, 7, modules)
    at = (np.arange(size * fine) + 0.5) / fine - 0.5  # a pixel's coordinate is its centre's
    rows = []
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    for top in range(0, size, 50):
        py = at[top * fine : (top + 50) * fine, None]
        u = ((at[None] - x) * c + (py - y) * s) / side * modules + modules / 2
        v = ((py - y) * c - (at[None] - x) * s) / side * modules + modules / 2
        inside = (u >= 0) & (u < modules) & (v >= 0) & (v < modules)
        black = np.zeros(u.shape, bool)
        black[inside] = pattern[v[inside].astype(int), u[inside].astype(int)] == 0
        rows.append(black.reshape(50, fine, size, fine).mean(axis=(1, 3)))
    grey = bright + (dark - bright) * np.concatenate(rows)
    grey = cv2.GaussianBlur(grey, (0, 0), blur) if blur else grey
    return np.clip(grey + np.random.default_rng(3).normal(0, 1.5, grey.shape), 0, 255).round().astype(np.uint8)


@pytest.mark.parametrize(
    ("side", "degrees", "blur"), [(42, 0, 0), (42, 0.6, 0.8), (83, 3, 1.0), (83, 30, 0), (165, 0, 2)]
)
def test_a_marker_is_found_to_hundredths_of_a_pixel_without_a_constant_offset(side, degrees, blur):
    off = []
    for x, y in PLACES:
        (mark,) = find_marks(drawn(x, y, side, degrees=degrees, blur=blur), DICTIONARY)
        off.append(mark.centre_px - [x, y])

    assert mark.id == 7
    assert np.abs(np.mean(off, axis=0)).max() < 0.025
    assert np.abs(off).max() < 0.06


def test_the_detectors_own_corners_lie_inside_the_square_and_ours_do_not():
    # The corners of OpenCV's detector sit on the outermost dark pixels. Measured against the same drawing.
    grey = drawn(150, 150, 84)
    rough, _, _ = cv2.aruco.ArucoDetector(DICTIONARY).detectMarkers(grey)
    (mark,) = find_marks(grey, DICTIONARY)

    def side(corners):
        return np.hypot(*(corners - np.roll(corners, 1, axis=0)).T).mean()

    assert side(rough[0].reshape(4, 2)) < 83.7
    assert side(mark.corners_px) == pytest.approx(84, abs=0.05)


def test_corners_are_where_they_were_drawn():
    (mark,) = find_marks(drawn(150.3, 149.6, 84, degrees=5), DICTIONARY)
    c, s = np.cos(np.radians(5)), np.sin(np.radians(5))
    corners = np.array([[-42, -42], [42, -42], [42, 42], [-42, 42]]) @ [[c, s], [-s, c]] + [150.3, 149.6]

    assert np.abs(mark.corners_px - corners).max() < 0.1


def test_blur_is_measured_in_pixels_between_10_and_90_percent():
    (mark,) = find_marks(drawn(150, 150, 165, degrees=4, blur=2.0), DICTIONARY)

    assert mark.blur_px == pytest.approx(2.563 * 2.0, rel=0.15)


def test_a_marker_under_a_pen_is_left_out_or_still_right():
    grey = drawn(150, 150, 84)
    cv2.line(grey, (60, 120), (240, 130), 60, 14)

    for mark in find_marks(grey, DICTIONARY):
        assert np.abs(mark.centre_px - 150).max() < 0.3


def test_a_picture_without_markers_gives_none_and_no_code():
    noise = np.random.default_rng(0).integers(0, 255, (400, 300), np.uint8)

    assert find_marks(noise, DICTIONARY) == []
    assert list(read_codes(noise)) == []


def test_a_tiny_picture_is_no_trouble():
    assert find_marks(np.zeros((1, 1), np.uint8), DICTIONARY) == []
    assert list(read_codes(np.zeros((2, 3), np.uint8))) == []
