"""Paper by name: what size it is, in mm."""

from __future__ import annotations

import re

from capture.errors import UsageError
from capture.paper import SIZES_MM, as_typed

PAPERS_MM: dict[str, tuple[float, float]] = {
    **{name.upper(): size for name, size in SIZES_MM.items()},
    # what is too small for a sheet of cells: ISO 216:2007
    "A6": (105.0, 148.0),
    "A7": (74.0, 105.0),
    # ANSI/ASME Y14.1, size B (11 x 17 in)
    "TABLOID": (279.4, 431.8),
    # ISO 269 envelopes, written on with the long side across
    "DL": (220.0, 110.0),
    "C5": (229.0, 162.0),
    "C6": (162.0, 114.0),
    # the card of the Universal Postal Convention, at its most common: A6 with the long side across
    "POSTCARD": (148.0, 105.0),
}

LARGEST_MM = 2000.0
SMALLEST_MM = 20.0


def paper_size(paper: str | tuple[float, float], *, landscape: bool = False) -> tuple[float, float]:
    """Return (width, height) in mm of a paper given by name, as 'WxH' in mm, or as the pair itself.

    `landscape` puts the long side across.

    Raises
    ------
    UsageError
        If there is no such paper, or it is too small or too large to write on.

    Examples
    --------
    >>> paper_size("a5", landscape=True)
    (210.0, 148.0)
    >>> paper_size("120x80.5")
    (120.0, 80.5)
    """
    if isinstance(paper, str):
        paper = as_typed(paper)
        custom = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*[x×]\s*(\d+(?:\.\d+)?)\s*(?:mm)?\s*", paper, re.I)
        if custom:
            size = (float(custom[1]), float(custom[2]))
        elif paper.strip().upper() in PAPERS_MM:
            size = PAPERS_MM[paper.strip().upper()]
        else:
            names = ", ".join(PAPERS_MM)
            raise UsageError("paper", f"'{paper}' is not a known paper", f"Use one of {names}, or WxH in mm.")
    else:
        size = (float(paper[0]), float(paper[1]))
    if not all(SMALLEST_MM <= side <= LARGEST_MM for side in size):
        raise UsageError(
            "paper",
            f"{size[0]:g} x {size[1]:g} mm is not between {SMALLEST_MM:g} and {LARGEST_MM:g} mm a side",
            "Give the paper's width and height in mm.",
        )
    return (max(size), min(size)) if landscape else size
