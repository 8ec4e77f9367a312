"""The list of compiled loops written anew: every loop with the types it is called with, seen while characters are read.

Run it after a loop was added, renamed or called with other types: `python -m tests.bench loops --write`. Without the
option it prints what reading calls that the list lacks, and what the list holds that reading no longer calls.
"""

from __future__ import annotations

import argparse
import itertools
import json
from pathlib import Path

import numpy as np

import skeleton
from capture.read import read_page
from capture.scan import load_scans
from capture.units import MM_PER_INCH
from ownhand.commands.read import SheetFinder
from skeleton import loop_versions

SCANS = Path(__file__).parents[2] / "sample_sheets/lantern/scans"


def work() -> None:
    """Read characters in all the ways there are (alone, together, untold, after known attempts), and lines."""
    finder = SheetFinder({}, adopt=True)
    for scan in itertools.islice(sorted(SCANS.glob("*.jpg")), 2):
        page = read_page(next(iter(load_scans(scan))), finder)
        groups: dict[str, list[np.ndarray]] = {}
        for cell in page.cells:
            if cell.grey.size:
                groups.setdefault(cell.char, []).append(cell.grey)
        dpi = page.cells[0].px_per_mm * MM_PER_INCH
        for char, images in groups.items():
            first = skeleton.read_together(images, dpi, char, alternatives=0)
            for k, image in enumerate(images[:1]):
                skeleton.read_character(image, dpi, None)
                skeleton.read_character(image, dpi, char, handedness="left", known=[first[k].strokes])
    lines = read_page(next(iter(load_scans(max(SCANS.glob("*.jpg"))))), finder)
    for line in lines.lines[:2]:
        skeleton.read_line(line.grey, line.px_per_mm * MM_PER_INCH, line.line.text)


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args(argv)
    found = loop_versions.record(work)
    if options.write:
        loop_versions.write_list(found)
    listed = {json.dumps([v.loop, v.types]) for v in loop_versions.versions()}
    seen = {json.dumps([v.loop, v.types]) for v in found}
    print(f"{len(seen)} versions of loops called, {len(listed)} in the list")
    for row in sorted(seen - listed):
        print("  not in the list:", row)
    for row in sorted(listed - seen):
        print("  no longer called:", row)
    return 1 if seen != listed else 0
