"""Paper: names and sizes.

ISO 216:2007 for the A and B series, ANSI/ASME Y14.1 size A for US Letter, its long form for Legal (common practice).
"""

from __future__ import annotations

import re

from capture.errors import UsageError
from capture.limits import MOST_MM

SIZES_MM: dict[str, tuple[float, float]] = {
    "A2": (420.0, 594.0),
    "A3": (297.0, 420.0),
    "A4": (210.0, 297.0),
    "A5": (148.0, 210.0),
    "B4": (250.0, 353.0),
    "B5": (176.0, 250.0),
    "Letter": (215.9, 279.4),
    "Legal": (215.9, 355.6),
}
"""Width and height of the upright sheet."""

LEAST_MM = (140.0, 180.0)
"""A smaller sheet has no room for the 100 mm bar, the two codes and a row of cells."""


def as_typed(paper: str) -> str:
    """Return a paper as we call it, of what people type: 'US Letter' is Letter, a decimal comma a point.

    Examples
    --------
    >>> as_typed(" US letter "), as_typed("120,5 x 80")
    ('letter', '120.5 x 80')
    """
    bare = re.sub(r"^(?:us|iso|din)[ -]+", "", " ".join(paper.split()), flags=re.IGNORECASE)
    return re.sub(r"(?<=\d),(?=\d)", ".", bare)


def paper_size(paper: str) -> tuple[float, float]:
    """Return width and height in mm of a paper by name ('A4', 'letter') or as 'WxH' in mm.

    Raises
    ------
    UsageError
        If the name is unknown, or the sheet too small or too large to be laid out.

    Examples
    --------
    >>> paper_size("a4")
    (210.0, 297.0)
    >>> paper_size("200x250")
    (200.0, 250.0)
    """
    paper = as_typed(paper)
    for name, size in SIZES_MM.items():
        if name.lower() == paper.lower():
            return size
    found = re.fullmatch(
        r"\s*(\d{1,4}(?:\.\d{1,3})?)\s*[x×]\s*(\d{1,4}(?:\.\d{1,3})?)\s*(?:mm)?\s*", paper, re.IGNORECASE
    )
    if not found:
        known = ", ".join(SIZES_MM)
        raise UsageError(
            "paper", f"'{paper}' is not a paper we know", f"Choose {known}, or give 'WxH' in mm, as 200x250."
        )
    width, height = float(found[1]), float(found[2])
    if width < LEAST_MM[0] or height < LEAST_MM[1]:
        least = f"{LEAST_MM[0]:.0f} x {LEAST_MM[1]:.0f} mm"
        raise UsageError("paper", f"{paper} is smaller than {least}", "Choose a larger paper, A5 for example.")
    if max(width, height) > MOST_MM:
        raise UsageError("paper", f"{paper} is larger than {MOST_MM:.0f} mm", "Choose a smaller paper.")
    return width, height


def paper_name(paper: str) -> str:
    """Return the paper as it is written in a sheet: a known name in its usual spelling, or 'WxH' in mm.

    Examples
    --------
    >>> paper_name("letter"), paper_name("200.0 x 250 mm")
    ('Letter', '200x250')
    """
    for name in SIZES_MM:
        if name.lower() == as_typed(paper).lower():
            return name
    width, height = paper_size(paper)
    return f"{width:g}x{height:g}"
