"""How long a page takes from file to traced strokes, how much memory, and how many pages two cores read.

`python -m tests.bench capture_speed [--dpi 300 600 1200] [--pages 1 2 4 8]`. The page is one of the sample's, written
and scanned again by the simulated writer at each resolution (1200 dpi: the 600 dpi scan enlarged, with noise of its
own), as JPEG and, for the memory, as PNG.

The reference is what nobody can do without: decoding the file (Pillow) and one `skimage.morphology.skeletonize` (Zhang
& Suen 1984) of the page's ink at the scan's own resolution, all that Otsu's threshold takes for ink; beside it the same
of the writing alone, as we found it, which no plain way would have. Reference and ours are timed by turns, each in a
process of its own, in CPU seconds of one thread, and the least of the turns counts: other programs on the machine only
ever add. What is compiled or read once a process (imports, numba's kept loops) is done before on other cells.
"""

from __future__ import annotations

import argparse
import dataclasses
import itertools
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path

import cv2
import numpy as np
from PIL import Image
from skimage.filters import threshold_otsu
from skimage.morphology import skeletonize

import skeleton
from capture.read import PageReading, read_page
from capture.scan import load_scans
from capture.sheet import Sheet
from capture.sheet_file import load_sheet
from capture.units import MM_PER_INCH
from ownhand.commands.read import read_scans
from sample_sheets.filling import fill
from sample_sheets.make import SEED
from sample_sheets.scanning import lying, written
from sample_sheets.writer import KEEPER
from sample_sheets.writer.machines import scanned
from tests.bench.sheet import LANTERN

PAGE = 1
TURNS = 2


def the_sheet() -> Sheet:
    return load_sheet(LANTERN / "sheet" / "sheet.json")


def make_scans(folder: Path, dpis: list[int]) -> None:
    """Write scan-<dpi>.jpg and scan-<dpi>.png."""
    sheet = the_sheet()
    cells, _, other = fill(sheet, np.random.default_rng([SEED, 0]), KEEPER)
    ink = [t for f in cells if f.page == PAGE for t in (*f.traces, *f.beside)] + other[PAGE]
    paper, px_per_mm = written(LANTERN / "sheet" / "sheet.pdf", PAGE, ink, np.random.default_rng([SEED, PAGE]))
    machine = lying(PAGE, np.random.default_rng([SEED, PAGE]))
    for dpi in dpis:
        at = min(dpi, 600)
        how = dataclasses.replace(machine, dpi=float(at), blur_px=machine.blur_px * at / 300)
        picture = scanned(paper, px_per_mm, how, np.random.default_rng(3))
        if dpi > at:
            k = dpi / at
            picture = cv2.resize(picture, None, fx=k, fy=k, interpolation=cv2.INTER_CUBIC)
            noise = cv2.randn(np.empty(picture.shape, np.int8), 0, 3)
            picture = cv2.add(picture, noise, dtype=cv2.CV_8U)
        image = Image.fromarray(picture)
        image.save(folder / f"scan-{dpi}.jpg", dpi=(dpi, dpi), quality=85)
        image.save(folder / f"scan-{dpi}.png", dpi=(dpi, dpi), compress_level=1)


def warm(path: Path, sheet: Sheet) -> None:
    """Go the whole way once with a few cells, so that everything is imported and compiled."""
    (reading,) = [read_page(scan, lambda _: sheet) for scan in load_scans(path)]
    for group in groups_of(reading)[:4]:
        skeleton.read_together(*group, alternatives=0)


def groups_of(reading: PageReading) -> list[tuple[list[np.ndarray], float, str]]:
    by_char: dict[str, list[np.ndarray]] = defaultdict(list)
    for cell in reading.cells:
        if cell.grey.size:
            by_char[cell.char].append(cell.grey)
    dpi = reading.cells[0].px_per_mm * MM_PER_INCH
    return [(images, dpi, char) for char, images in by_char.items()]


def peak_mib() -> float:
    """Return the most memory this process has held; `ru_maxrss` would count what its parent held before it began."""
    (line,) = [x for x in Path("/proc/self/status").read_text().splitlines() if x.startswith("VmHWM")]
    return int(line.split()[1]) / 1024


def writing_of(path: Path, sheet: Sheet) -> np.ndarray:
    """Return which of the scan's pixels are ink of a cell, as a page that lies straight shows them."""
    (scan,) = load_scans(path)
    ink = np.zeros(scan.pixels.shape[:2], bool)
    k = (scan.dpi or 300.0) / MM_PER_INCH
    for c in read_page(scan, lambda _: sheet).cells:
        if c.grey.size:
            size = [round(n * k / c.px_per_mm) for n in c.grey.shape[::-1]]
            part = cv2.resize(c.grey, size, interpolation=cv2.INTER_LINEAR) < 128
            y, x = round(c.top_mm * k), round(c.left_mm * k)
            ink[y : y + part.shape[0], x : x + part.shape[1]] |= part[: ink.shape[0] - y, : ink.shape[1] - x]
    return ink


def one_turn(kind: str, path: Path, warm_up: Path) -> str:
    """Return the figures of one turn in this process: seconds of each step, then the peak of memory in MiB."""
    cv2.setNumThreads(1)
    sheet = the_sheet()
    spent: list[float] = []

    def lap() -> None:
        spent.append(time.process_time())

    if kind == "reference":
        skeletonize(np.eye(64) > 0)
        lap()
        with Image.open(path) as image:
            pixels = np.asarray(image)
        lap()
        grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
        everything = grey < threshold_otsu(grey)
        spent.append(time.process_time())
        skeletonize(everything)
        lap()
        writing = writing_of(path, sheet)
        lap()
        skeletonize(writing)
        lap()
        times = [spent[i + 1] - spent[i] for i in (0, 2, 4)]
        return " ".join(str(t) for t in times) + f" {peak_mib()}"
    if kind != "memory":
        warm(warm_up, sheet)
    lap()
    scans = list(load_scans(path))
    lap()
    reading = read_page(scans.pop(), lambda _: sheet)
    lap()
    for group in groups_of(reading):
        skeleton.read_together(*group, alternatives=0)
    lap()
    return " ".join(str(b - a) for a, b in itertools.pairwise(spent)) + f" {peak_mib()}"


def turn(kind: str, path: Path, warm_up: Path) -> np.ndarray:
    command = [sys.executable, "-m", "tests.bench", "capture_speed", "--turn", kind, str(path), str(warm_up)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return np.array([float(v) for v in done.stdout.split()])


def page_table(folder: Path, dpis: list[int]) -> None:
    print("One A4 page, CPU seconds of one thread; the least of", TURNS, "turns taken in turn with the reference")
    print(
        f"{'dpi':>5} {'decode':>7} {'thin all':>8} {'thin writing':>12} | {'load':>5} {'read':>5} {'trace':>6} "
        f"{'ours':>6} {'ratio':>6} {'(writing)':>9} | {'peak MiB: JPEG':>14} {'PNG':>5} {'bare imports':>12}"
    )
    bare = float(turn("imports", folder, folder)[-1])
    for dpi in dpis:
        jpeg, png, warm_up = folder / f"scan-{dpi}.jpg", folder / f"scan-{dpi}.png", folder / f"scan-{min(dpis)}.jpg"
        reference, ours = [], []
        for _ in range(TURNS):
            reference.append(turn("reference", jpeg, warm_up))
            ours.append(turn("ours", jpeg, warm_up))
        r, o = np.min(reference, axis=0), np.min(ours, axis=0)
        peaks = [float(turn("memory", p, warm_up)[-1]) for p in (jpeg, png)]
        whole = float(o[:3].sum())
        print(
            f"{dpi:5d} {r[0]:7.2f} {r[1]:8.2f} {r[2]:12.2f} | {o[0]:5.2f} {o[1]:5.2f} {o[2]:6.2f} {whole:6.2f} "
            f"{whole / (r[0] + r[1]):6.2f} {whole / (r[0] + r[2]):9.2f} | "
            f"{peaks[0]:14.0f} {peaks[1]:5.0f} {bare:12.0f}",
            flush=True,
        )


def many_table(folder: Path, counts: list[int]) -> None:
    """Read 1, 2, 4, ... pages with one process and with two, through everything `ownhand read` does."""
    print("\nMany pages (the sample's, 300 dpi): all that `read` does, wall-clock and CPU seconds")
    print(f"{'pages':>5} {'cores':>5} {'seconds':>8} {'CPU s':>7} {'pages/s':>8} {'CPU s a page':>12}")
    scans = sorted((LANTERN / "scans").glob("page-[1-6].jpg"))
    cores = sorted(os.sched_getaffinity(0))
    for jobs in (1, 2):
        os.sched_setaffinity(0, cores[:jobs])  # so that no library uses the other core
        for count in counts:
            # more pages than the sample has: its pages again, which are read and traced again
            some = [scans[i % len(scans)] for i in range(count)]
            hand = folder / f"hand-{jobs}-{count}"
            begun, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
            mine = time.process_time()
            read_scans(hand, some, jobs=jobs)
            took, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
            cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime + time.process_time() - mine
            shutil.rmtree(hand)
            print(f"{count:5d} {jobs:5d} {took:8.2f} {cpu:7.2f} {count / took:8.2f} {cpu / count:12.2f}", flush=True)
    os.sched_setaffinity(0, cores)


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench capture_speed")
    parser.add_argument("--dpi", type=int, nargs="*", default=[300, 600, 1200])
    parser.add_argument("--pages", type=int, nargs="*", default=[1, 2, 4, 8])
    parser.add_argument("--keep", type=Path, help="folder in which the scans are kept for the next run")
    parser.add_argument("--turn", nargs=3, metavar=("KIND", "SCAN", "WARM-UP"), help=argparse.SUPPRESS)
    options = parser.parse_args(argv)
    if options.turn:
        kind, path, warm_up = options.turn
        print(f"{peak_mib()}" if kind == "imports" else one_turn(kind, Path(path), Path(warm_up)))
        return 0
    with tempfile.TemporaryDirectory() as name:
        folder = options.keep or Path(name)
        folder.mkdir(parents=True, exist_ok=True)
        missing = [d for d in options.dpi if not (folder / f"scan-{d}.png").exists()]
        if missing:
            make_scans(folder, missing)
        if options.dpi:
            page_table(folder, options.dpi)
        if options.pages:
            many_table(Path(name), options.pages)
    return 0
