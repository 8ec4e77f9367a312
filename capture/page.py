"""A page of a sheet, found on a scan and straightened: from here on every place is in mm from its top left corner."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import cv2
import numpy as np

from capture.code import CodedPage, page_from_payload
from capture.errors import MarksNotFoundError, WrongSheetError
from capture.fiducial_detection import FoundMark, find_marks, grey_of, read_codes
from capture.resample import shrink, take_out, whole_factor
from capture.scan import Scan
from capture.scan_image import Pixels
from capture.sheet import CORNER_IDS, MARK_DICTIONARY, Box, Mark, Page, Sheet
from capture.units import MM_PER_INCH, Points
from capture.warp import Warp, fit_homography, fit_warp, project

LOWEST_DPI = 130.0
"""Below this a stroke of a fine pen is one pixel wide; scanners offer 150 next."""

WORKING_DPI = (200.0, 400.0)
"""The straightened page has the scan's own resolution, within these. More than 400 dpi shows no more of a stroke: of
the sample's pages scanned at 600 dpi the lines come out as near to the written ones from 300 dpi on (10 to 11 µm)."""

MEASURING_PX_PER_MM = 8.0
"""Resolution at which the print, the ink's colour and the like are measured."""

_REMEDY_WHOLE = "Scan the whole sheet, edges included, at 300 dpi or more, and read it again."
_REMEDY_PHOTO = "Lay the sheet flat, take the picture from straight above in even light, and read it again."
_CORNERS = ("top left", "top right", "bottom right", "bottom left")


@dataclass(frozen=True, eq=False)
class PageView:
    """A page on a scan, and how to get its pixels. Frame of every place: page (mm, y down)."""

    scan: Scan

    sheet: Sheet
    page: Page
    warp: Warp
    px_per_mm: float
    """Resolution at which boxes are best taken out: the scan's own, within WORKING_DPI."""

    marks: tuple[FoundMark, ...]
    """Frame: scan. The ones that were used."""

    local_error_mm: float
    """Median distance of a mark from where the other marks say it should be."""

    small: Pixels
    small_by: int
    """The scan reduced for measuring, and how many times smaller it is; made once, as it is looked at often."""

    sheet_pages: int = 0
    """How many pages the sheet has, as the page's code says; 0 where it was not asked."""

    @property
    def dpi(self) -> float:
        """Return the scan's own resolution on the page, as printed."""
        return float(np.median(self.warp.px_per_mm(_grid(self.page.size_mm)))) * MM_PER_INCH

    @property
    def print_scale(self) -> float | None:
        """Return printed size over asked size; None where the scan does not tell (a photo, or no true dpi in the file).

        Only a flatbed knows millimetres: its file says the dpi, and its picture shows the page from straight above.
        """
        if not self.scan.dpi or self.scan.dpi < LOWEST_DPI:
            return None
        x, y = self._px_per_mm_each_way()
        scale = float(np.sqrt(x * y)) * MM_PER_INCH / self.scan.dpi
        return scale if 0.9 < scale < 1.1 and abs(x / y - 1) < 0.03 else None

    def _px_per_mm_each_way(self) -> tuple[float, float]:
        w, h = self.page.size_mm
        left, right, top, bottom = self.warp(np.array([[0, h / 2], [w, h / 2], [w / 2, 0], [w / 2, h]]))
        return float(np.hypot(*(right - left))) / w, float(np.hypot(*(bottom - top))) / h

    @property
    def blur_mm(self) -> float:
        """Return over how far an edge passes from ink to paper (10 to 90 %); median over the marks."""
        return float(np.median([m.blur_px for m in self.marks])) / (self.dpi / MM_PER_INCH)

    @property
    def contrast(self) -> float:
        """Return how much darker the marks are than the paper around them, 0 to 1; median."""
        return float(np.median([1 - m.dark / max(m.bright, 1) for m in self.marks]))

    def pixels(self, box_mm: Box, *, px_per_mm: float | None = None) -> Pixels:
        """Return what the scan shows of a box, straightened and sampled once.

        Parameters
        ----------
        box_mm
            x, y, width, height on the page; may reach beyond it.
        px_per_mm
            Resolution; by default the scan's own. The pixel in the corner has its centre half a pixel inside the box.

        Returns
        -------
        ndarray of uint8, shape (h, w) or (h, w, 3)
            White where the scan ends.
        """
        ppm = px_per_mm or self.px_per_mm
        factor = self.dpi / MM_PER_INCH / ppm
        return take_out(self.scan.pixels, self.warp, box_mm, px_per_mm=ppm, factor=factor)

    def measuring_pixels(self, *, channel: int | None = None) -> Pixels:
        """Return the whole page, straightened, at `MEASURING_PX_PER_MM`; of one channel only where one is named."""
        source, by = self.small, self.small_by
        if channel is not None and source.ndim == 3:
            source = np.ascontiguousarray(source[..., channel])
        factor = self.dpi / MM_PER_INCH / MEASURING_PX_PER_MM / by
        whole = (0.0, 0.0, *self.page.size_mm)

        def to_small(points_mm: Points) -> Points:
            return (self.warp(points_mm) + 0.5) / by - 0.5

        return take_out(source, to_small, whole, px_per_mm=MEASURING_PX_PER_MM, factor=factor)

    def with_warp(self, warp: Warp) -> PageView:
        """Return the same page seen through a better warp."""
        return replace(self, warp=warp)


def _grid(size_mm: tuple[float, float]) -> Points:
    x, y = np.meshgrid(np.linspace(0.1, 0.9, 5) * size_mm[0], np.linspace(0.1, 0.9, 5) * size_mm[1])
    return np.column_stack([x.ravel(), y.ravel()])


FindSheet = Callable[[CodedPage], Sheet | None]
"""Gives the sheet that a page's code belongs to, None if it is no sheet of this hand."""


def straighten(scan: Scan, find_sheet: FindSheet) -> PageView:
    """Return the page that a scan shows, its place on the scan measured by its marks.

    Parameters
    ----------
    scan
        A picture of one page, turned any way.
    find_sheet
        Given what the page's code says; returns the sheet, or None when it is unknown.

    Raises
    ------
    MarksNotFoundError
        If there is no sheet, not enough of it, or it is shown too small, mirrored or inverted.
    WrongSheetError
        If it is a sheet that `find_sheet` does not know.
    """
    grey = grey_of(scan.pixels)
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, MARK_DICTIONARY))
    marks = find_marks(grey, dictionary, until=CORNER_IDS)
    if len(marks) < 4:
        raise _no_marks(scan, grey, dictionary, marks)
    coded = _read_code(scan, grey, marks)
    sheet = find_sheet(coded)
    page = next((p for p in sheet.pages if p.page == coded.page.page), None) if sheet else None
    if sheet is None or page is None:
        raise of_another_hand(scan.place, coded.sheet_id, coded.page.page)
    _check_same(scan, coded, sheet, page)
    if {m.id for m in page.marks} - {m.id for m in marks}:
        marks = find_marks(grey, dictionary)
    return replace(place_page(scan, sheet, page, marks), sheet_pages=coded.pages)


def of_another_hand(place: str, sheet_id: str, page: int) -> WrongSheetError:
    """Return the error of a page whose sheet was not made for this hand."""
    return WrongSheetError(
        place,
        f"page {page} of sheet '{sheet_id}' does not belong to this hand",
        "Read it with the hand for which the sheet was printed, or add --adopt to take the sheet in.",
    )


def _check_same(scan: Scan, coded: CodedPage, sheet: Sheet, page: Page) -> None:
    """Refuse a page whose code says anything else than the sheet on file."""

    def listed(p: Page) -> list[tuple[str, int, Box]]:
        return [(c.char, c.attempt, c.box_mm) for c in p.cells]

    said = ""
    if listed(coded.page) != listed(page):
        said = "other cells"
    elif (coded.paper, coded.x_height_mm) != (sheet.paper, sheet.x_height_mm) or coded.page.size_mm != page.size_mm:
        said = "another paper or writing size"
    elif coded.page != page:
        said = "other guides, marks or lines"
    if said:
        raise WrongSheetError(
            scan.place,
            f"page {page.page} of sheet '{coded.sheet_id}' has {said} on paper than in its sheet.json",
            "Give the sheet.json it was printed with, or read the page into a new hand.",
        )


def _no_marks(scan: Scan, grey: Pixels, dictionary: cv2.aruco.Dictionary, found: list[FoundMark]) -> MarksNotFoundError:
    """Return the error that says why a picture shows too few marks."""
    if len(find_marks(np.ascontiguousarray(grey[:, ::-1]), dictionary)) >= 4:
        return MarksNotFoundError(
            scan.place, "the picture is mirrored", "Turn mirroring off in the scanner or camera, and take it again."
        )
    if len(find_marks(255 - grey, dictionary)) >= 4:
        remedy = "Turn 'negative' or 'invert' off in the scanner, and scan it again."
        return MarksNotFoundError(scan.place, "the picture is inverted, white on black", remedy)
    if found:
        return _not_enough(scan, found)
    return MarksNotFoundError(scan.place, "no marks of a sheet found on it", _REMEDY_WHOLE)


def _read_code(scan: Scan, grey: Pixels, marks: list[FoundMark]) -> CodedPage:
    fault: WrongSheetError | None = None
    whole: CodedPage | None = None
    done = looked_again = False  # where only one of the two codes was read, one more picture is looked at for the other
    for payloads in read_codes(grey, around=[m.centre_px for m in marks]):
        for payload in payloads:
            try:
                coded = page_from_payload(payload)
            except WrongSheetError as error:
                fault = WrongSheetError(scan.place, f"page code: {error.what}", error.remedy)
                continue
            if whole is not None and coded != whole:
                names = " and ".join(f"page {c.page.page} of '{c.sheet_id}'" for c in (whole, coded))
                what = f"its two codes contradict each other ({names}): two sheets lie over each other"
                raise WrongSheetError(scan.place, what, "Scan one sheet at a time.")
            done = whole is not None or len(payloads) > 1
            whole = coded
        if whole is not None and (done or looked_again):
            return whole
        looked_again = whole is not None
    if whole is not None:
        return whole
    if fault is not None:
        raise fault
    if not set(CORNER_IDS) <= {m.id for m in marks}:
        raise _not_enough(scan, marks)
    raise MarksNotFoundError(scan.place, "neither of the two page codes can be read", _REMEDY_PHOTO)


def place_page(scan: Scan, sheet: Sheet, page: Page, marks: Iterable[FoundMark]) -> PageView:
    """Return the page as its marks lie on the scan.

    Raises
    ------
    MarksNotFoundError
        If too few marks are there, or part of what was to be written in lies outside the picture or between no marks.
    """
    printed = {m.id: m for m in page.marks}
    found = [m for m in marks if m.id in printed]
    found = _consistent(found, printed, scan)
    if len(found) < 4:
        raise _not_enough(scan, found)
    page_mm = np.array([(printed[m.id].x_mm, printed[m.id].y_mm) for m in found])
    scan_px = np.array([m.centre_px for m in found])
    warp, error_px = fit_warp(page_mm, scan_px, size_mm=page.size_mm)
    ppm = warp.px_per_mm(_grid(page.size_mm))
    dpi = float(np.median(ppm)) * MM_PER_INCH
    if dpi < LOWEST_DPI:
        raise MarksNotFoundError(
            scan.place, f"the page is shown at about {dpi:.0f} dpi, at least 150 are needed", _REMEDY_WHOLE
        )
    _check_whole(scan, page, warp, found, printed)
    working = float(np.clip(np.percentile(ppm, 75) * MM_PER_INCH, *WORKING_DPI)) / MM_PER_INCH
    by = whole_factor(dpi / MM_PER_INCH / MEASURING_PX_PER_MM)
    off_mm = float(np.median(error_px)) / (dpi / MM_PER_INCH)
    return PageView(scan, sheet, page, warp, working, tuple(found), off_mm, shrink(scan.pixels, by), by)


def _consistent(found: list[FoundMark], printed: dict[int, Mark], scan: Scan) -> list[FoundMark]:
    """Return the marks that lie about where one flat or gently bent page would have them."""
    if len(found) < 4:
        return found
    page_mm = np.array([(printed[m.id].x_mm, printed[m.id].y_mm) for m in found])
    scan_px = np.array([m.centre_px for m in found])
    px = float(np.median([m.side_px / printed[m.id].size_mm for m in found]))
    try:
        homography, _ = fit_homography(page_mm, scan_px, within_px=4.0 * px)
    except ValueError:
        return []
    off = np.hypot(*(project(homography, page_mm) - scan_px).T)
    return [m for m, o in zip(found, off, strict=True) if o < 8.0 * px]


def _not_enough(scan: Scan, found: list[FoundMark]) -> MarksNotFoundError:
    there = {m.id for m in found}
    missing = [name for corner, name in zip(CORNER_IDS, _CORNERS, strict=True) if corner not in there]
    if not missing:
        return MarksNotFoundError(scan.place, "the marks found do not lie as on a sheet", _REMEDY_PHOTO)
    return MarksNotFoundError(
        scan.place, f"{len(missing)} of the 4 corner marks not found ({', '.join(missing)})", _REMEDY_WHOLE
    )


def _check_whole(scan: Scan, page: Page, warp: Warp, found: list[FoundMark], printed: dict[int, Mark]) -> None:
    """Refuse a page of which a part to be read is not in the picture, or too far from any mark to be placed."""
    boxes = [c.box_mm for c in page.cells] + [r.box_mm for r in page.ruled]
    if not boxes:
        return
    corners = np.array([(x + i * w, y + j * h) for x, y, w, h in boxes for i in (0, 1) for j in (0, 1)])
    px = warp(corners)
    height, width = scan.pixels.shape[:2]
    outside = (px < -1).any(axis=1) | (px[:, 0] > width) | (px[:, 1] > height)
    centres = np.array([(printed[m.id].x_mm, printed[m.id].y_mm) for m in found])
    hull = cv2.convexHull(centres.astype(np.float32))
    reach = 0.22 * max(page.size_mm)
    far = np.array([cv2.pointPolygonTest(hull, (float(x), float(y)), True) < -reach for x, y in corners])
    if outside.any() and set(CORNER_IDS) <= {m.id for m in found}:
        middle = corners[outside].mean(axis=0) / page.size_mm
        side = f"{'top' if middle[1] < 0.5 else 'bottom'} {'left' if middle[0] < 0.5 else 'right'}"
        raise MarksNotFoundError(scan.place, f"part of the page is outside the picture ({side})", _REMEDY_WHOLE)
    if outside.any() or far.any():
        raise _not_enough(scan, found)
