"""The printed marks on a scan: where each one lies, to a few hundredths of a pixel, and what the page code says.

The general detector of OpenCV finds the markers on a reduced picture; that only says roughly where they are (its
corners sit on the outermost dark pixels, half a pixel inside the true edge). The places are then measured anew on the
full picture: the four sides of each square, fitted to where the brightness passes half-way between paper and ink.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from capture.resample import shrink
from capture.scan_image import Pixels
from capture.units import Points

_SEARCH_PX = (1700, 2600, 1100, 3600)
"""Long sides of the reduced pictures that are searched, until nothing more turns up."""

_SAMPLES = 24
"""Places along each side of a marker where its edge is measured."""

_REACH_MODULES = 0.7
"""How far on both sides of the expected edge: less than the dark border and the white zone around it are wide."""


@dataclass(frozen=True, eq=False)
class FoundMark:
    """A marker on the scan. Frame: scan (px, pixel centres, y down)."""

    id: int
    corners_px: Points
    """Shape (4, 2): the corners as the marker was drawn, clockwise from its own top left."""

    blur_px: float
    """Distance over which its edges pass from 10 to 90 % of the way from ink to paper; median."""

    dark: float
    bright: float
    """Medians of the grey of its ink and of the paper around it."""

    @property
    def centre_px(self) -> Points:
        """Return where the diagonals cross, which perspective keeps in the middle; shape (2,)."""
        a, b, c, d = self.corners_px
        return _cross(a, c, b, d)

    @property
    def side_px(self) -> float:
        """Mean length of the sides."""
        return float(np.hypot(*(self.corners_px - np.roll(self.corners_px, 1, axis=0)).T).mean())


def grey_of(pixels: Pixels) -> Pixels:
    """Return the luma (ITU-R BT.601) of RGB pixels, grey ones as they are."""
    return pixels if pixels.ndim == 2 else np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.uint8)


def find_marks(
    grey: Pixels, dictionary: cv2.aruco.Dictionary, *, until: Collection[int] | None = None
) -> list[FoundMark]:
    """Return the markers on a picture, by id; of an id seen twice the larger one.

    Parameters
    ----------
    grey
        Shape (h, w).
    dictionary
        Which markers to look for.
    until
        Stop searching when these are found; by default the search goes on until a scale adds nothing.
    """
    detector = cv2.aruco.ArucoDetector(dictionary, _search_parameters())
    rough: dict[int, Points] = {}
    for small in _reduced(grey):
        factor = grey.shape[0] / small.shape[0]
        before = len(rough)
        corners, ids, _ = detector.detectMarkers(small)
        for quad, mark_id in zip(corners, [] if ids is None else np.ravel(ids), strict=True):
            places = (quad.reshape(4, 2).astype(float) + 0.5) * factor - 0.5
            known = rough.get(int(mark_id))
            if known is None or _area(places) > 1.5 * _area(known):
                rough[int(mark_id)] = places
        if 0 < before == len(rough) or (until and rough.keys() >= set(until)):
            break
    modules = dictionary.markerSize + 2
    return [m for k in sorted(rough) if (m := refine(grey, k, rough[k], modules)) is not None]


def _search_parameters() -> cv2.aruco.DetectorParameters:
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    parameters.adaptiveThreshWinSizeMin = 5
    parameters.adaptiveThreshWinSizeMax = 53
    parameters.adaptiveThreshWinSizeStep = 16
    parameters.minMarkerPerimeterRate = 0.02
    parameters.errorCorrectionRate = 0.4
    return parameters


def _reduced(grey: Pixels) -> Iterator[Pixels]:
    """Yield the picture at the sizes that are searched; it is never enlarged."""
    long = max(grey.shape)
    sizes = [s for s in _SEARCH_PX if s < long] or [long]
    for size in sizes:
        yield _of_size(grey, size)


def refine(grey: Pixels, mark_id: int, corners_px: Points, modules: int) -> FoundMark | None:
    """Return the marker with its corners measured on `grey`, None where there is no clean square.

    Parameters
    ----------
    grey
        Shape (h, w).
    mark_id
        Its number.
    corners_px
        Shape (4, 2), to within half a module.
    modules
        Width of the marker in modules, its border included.
    """
    corners = np.asarray(corners_px, float)
    if _area(corners) < (2.0 * modules) ** 2:
        return None
    found = None
    for reach in (_REACH_MODULES, 0.5 * _REACH_MODULES):
        found = _measure_sides(grey, corners, modules, reach)
        if found is None:
            break
        corners = found[0]
    if found is None:
        return None
    return FoundMark(mark_id, corners, *found[1:])


def _measure_sides(
    grey: Pixels, corners: Points, modules: int, reach_modules: float
) -> tuple[Points, float, float, float] | None:
    """Return corners, blur, dark and bright as measured; None if a side is not a straight edge."""
    start, end = corners, np.roll(corners, -1, axis=0)
    along = end - start
    length = np.hypot(*along.T)
    if length.min() < modules:
        return None
    out = np.column_stack([along[:, 1], -along[:, 0]]) / length[:, None]  # points outwards for a clockwise square
    at = np.linspace(0.08, 0.92, _SAMPLES)
    reach = reach_modules * length.mean() / modules
    steps = max(9, int(np.ceil(4 * reach)) | 1)
    offsets = np.linspace(-reach, reach, steps)
    places = (
        start[:, None, None]
        + at[None, :, None, None] * along[:, None, None]
        + offsets[None, None, :, None] * out[:, None, None]
    )
    profile = sample(grey, places.reshape(-1, 2)).reshape(4, _SAMPLES, steps)
    outer = max(2, steps // 5)
    dark = np.median(profile[..., :outer])
    bright = np.median(profile[..., -outer:])
    if bright - dark < 12:
        return None
    level_dark = np.median(profile[..., :outer], axis=2)
    level_bright = np.median(profile[..., -outer:], axis=2)
    sound = (level_bright - level_dark) > 0.5 * (bright - dark)
    half = 0.5 * (level_dark + level_bright)
    crossing = _last_rise(profile, half, offsets)
    sound &= np.isfinite(crossing)
    span = (level_bright - level_dark)[..., None]
    scaled = (profile - level_dark[..., None]) / np.where(span > 0, span, 1)
    step = float(offsets[1] - offsets[0])
    # The edge of an area that each pixel averages lies where the profile's sum says; between two pixels the place where
    # it passes half-way errs by up to 0.08 px. A line of ink close by spoils the sum, so both have to agree.
    by_sum = offsets[-1] + step / 2 - scaled.sum(axis=-1) * step
    crossing = np.where(np.abs(by_sum - crossing) < 0.3, by_sum, crossing)
    lines = []
    for side in range(4):
        fitted = _line_through(at[sound[side]] * length[side], crossing[side][sound[side]])
        if fitted is None:
            return None
        slope, intercept = fitted
        a = start[side] + intercept * out[side]
        b = end[side] + (intercept + slope * length[side]) * out[side]
        lines.append((a, b))
    new = np.array([_cross(*lines[i - 1], *lines[i]) for i in range(4)])
    if not np.isfinite(new).all() or np.abs(new - corners).max() > 1.5 * reach:
        return None
    partial = ((scaled > 0.1) & (scaled < 0.9)).sum(axis=2)[sound] * step
    return new, float(np.median(partial)) if partial.size else 0.0, float(dark), float(bright)


def _last_rise(profile: NDArray[np.float64], half: NDArray[np.float64], offsets: NDArray[np.float64]) -> Points:
    """Return, for each profile from ink to paper, where it passes `half` nearest the middle; NaN if it never does."""
    rises = (profile[..., :-1] < half[..., None]) & (profile[..., 1:] >= half[..., None])
    mid = 0.5 * (offsets[:-1] + offsets[1:])
    cost = np.where(rises, np.abs(mid), np.inf)
    i = cost.argmin(axis=-1)
    low = np.take_along_axis(profile, i[..., None], -1)[..., 0]
    high = np.take_along_axis(profile, i[..., None] + 1, -1)[..., 0]
    share = (half - low) / np.where(high > low, high - low, 1.0)
    place = offsets[i] + share * (offsets[1] - offsets[0])
    return np.asarray(np.where(np.isfinite(cost.min(axis=-1)), place, np.nan))


def _line_through(t: NDArray[np.float64], offset: NDArray[np.float64]) -> tuple[float, float] | None:
    """Return slope and intercept of the line through most of the points; None if there are too few."""
    if t.size < _SAMPLES // 3:
        return None
    keep = np.ones(t.size, bool)
    slope = intercept = 0.0
    for _ in range(3):
        x, y = t[keep], offset[keep]
        middle = x.mean()
        slope = (x - middle) @ y / max((x - middle) @ (x - middle), 1e-12)
        intercept = y.mean() - slope * middle
        residual = np.abs(offset - slope * t - intercept)
        keep = residual <= max(0.15, 2.5 * float(np.median(residual)))
        if keep.sum() < _SAMPLES // 3:
            return None
    return float(slope), float(intercept)


def sample(image: NDArray[np.uint8] | NDArray[np.float32], places_px: Points) -> NDArray[np.float64]:
    """Return the image's values at places between its pixels (bilinear; the border goes on outside); shape (n,)."""
    p = np.asarray(places_px, np.float32)
    rows = -(-len(p) // 16000)  # cv2.remap takes maps of at most 32767 in a direction
    padded = np.zeros((rows * 16000, 2), np.float32) if rows > 1 else p
    padded[: len(p)] = p
    shaped = padded.reshape(rows, -1, 2)
    out = cv2.remap(
        image, shaped[..., 0].copy(), shaped[..., 1].copy(), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(out, np.float64).ravel()[: len(p)]


def _area(quad: Points) -> float:
    x, y = quad.T
    return 0.5 * abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))))


def _cross(a: Points, b: Points, c: Points, d: Points) -> Points:
    """Return where the line through a and b meets the line through c and d; NaN if they are parallel."""
    u, v, w = b - a, d - c, c - a
    det = u[0] * v[1] - u[1] * v[0]
    if det == 0:
        return np.full(2, np.nan)
    return np.asarray(a + u * (w[0] * v[1] - w[1] * v[0]) / det)


def read_codes(grey: Pixels, *, around: Sequence[Points] = ()) -> Iterator[list[bytes]]:
    """Yield the contents of all page codes (QR, ISO/IEC 18004) that are read at once, the likeliest way first.

    A page bears its code twice, so two equal contents come from a page that lies there alone.

    Parameters
    ----------
    grey
        Shape (h, w).
    around
        Places (2,) between which the codes lie: the rest of a busy picture is left out.
    """
    if len(around) >= 3:
        places = np.array(around)
        margin = 0.05 * np.ptp(places, axis=0).max()
        (x0, y0), (x1, y1) = places.min(axis=0) - margin, places.max(axis=0) + margin
        grey = grey[max(0, int(y0)) : max(1, int(y1)), max(0, int(x0)) : max(1, int(x1))]
    for picture in _code_pictures(np.ascontiguousarray(grey)):
        found = zxingcpp.read_barcodes(
            picture, formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode), try_invert=False
        )
        if found:
            yield [code.bytes for code in found]


def _code_pictures(grey: Pixels) -> Iterator[Pixels]:
    """Yield the picture at several sizes, as it is and sharpened, then piece by piece."""
    long = max(grey.shape)
    for size in sorted({min(s, long) for s in (1500, 2200, 3400, 5000)}):
        small = _of_size(grey, size)
        yield small
        blurred = cv2.GaussianBlur(small, (0, 0), 2.0)
        yield np.asarray(cv2.addWeighted(small, 2.5, blurred, -1.5, 0), np.uint8)
    h, w = grey.shape
    for top in (0, h // 2, h // 4):
        for left in (0, w // 2, w // 4):
            piece = np.ascontiguousarray(grey[top : top + h // 2, left : left + w // 2])
            yield piece
            if max(piece.shape) < 2400:  # a reader of codes wants three pixels to a module
                yield np.asarray(cv2.resize(piece, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC), np.uint8)


def _of_size(grey: Pixels, long: int) -> Pixels:
    """Return the picture reduced to a long side of `long` pixels, give or take one; as it is if it is not longer."""
    if long >= max(grey.shape):
        return grey
    shape = tuple(max(1, round(n * long / max(grey.shape))) for n in grey.shape[::-1])
    whole = shrink(grey, max(grey.shape) // long)
    return np.asarray(cv2.resize(whole, shape, interpolation=cv2.INTER_AREA), np.uint8)
