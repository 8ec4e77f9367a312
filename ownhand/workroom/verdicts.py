"""What was read from each page of a hand, in figures, and which of its cells are doubtful."""

from __future__ import annotations

import statistics
from typing import Any

from capture.report import Finding
from ownhand.hands.captures import PageCapture

MOST_DOUBTS = 500


def doubt_view(finding: Finding, page: int) -> dict[str, Any]:
    """Return what the page is told of a doubtful cell."""
    f = finding
    return {"char": f.char, "page": page, "row": f.row, "column": f.column, "kind": f.kind, "detail": f.detail}


def captured_view(capture: PageCapture) -> dict[str, Any]:
    """Return what the page is told of a page that was read earlier."""
    status = [a.status for a in capture.attempts]
    dpi = capture.verdict.get("dpi", 0)
    doubts = [doubt_view(f, capture.page) for a in capture.attempts for f in a.findings]
    return {
        "sheet": capture.sheet,
        "page": capture.page,
        "scan": capture.scan,
        "written": status.count("written"),
        "blank": status.count("blank"),
        "spoiled": status.count("spoiled"),
        "words": len(capture.copied),
        "dpi": round(dpi) if isinstance(dpi, int | float) else 0,
        "pen_mm": round(statistics.median(a.pen_mm for a in capture.attempts), 2) if capture.attempts else 0,
        "doubts": doubts[:MOST_DOUBTS],
    }
