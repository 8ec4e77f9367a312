"""Centre lines and stroke order against known strokes: `python -m tests.bench trace`.

Every row is the same ink read twice: by the tracer and by Otsu + skimage.skeletonize + skan. `in turn` is the share
in the right order and direction among the characters whose paths are right, `ms` CPU time a character, `times` how
many times the reference's that is. Of the sets of people given with `--data` those left out of every fit are read
(`people`); `--reliability` also prints what confidence is worth.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from skeleton.options import Options
from tests.bench.accented import accented
from tests.bench.people import PARTS as PEOPLE
from tests.bench.trace_data import Case, data_sets, people
from tests.bench.trace_pictures import write_pictures
from tests.bench.trace_reliability import judged, report
from tests.bench.trace_rows import (
    Map,
    Setting,
    by_all,
    by_known,
    by_reference,
    by_tracer,
    cores,
    groups,
    heading,
    line,
    mean_ms,
    own_setting,
    row,
)

PARTS = ("junctions", "ductus", "marks_apart", "refine", "smooth")
"""Parts of the reading of one image; `together` is one more."""


def main(argv: list[str]) -> int:
    """Print the table; return 0."""
    parser = argparse.ArgumentParser(prog="tests.bench trace", description=__doc__)
    parser.add_argument("--data", type=Path, action="append", default=[], help="further file or folder of stroke files")
    parser.add_argument("--people", choices=[*PEOPLE, "all"], default="out", help="which people of the sets of people")
    parser.add_argument("--sets", default="", help="only these data sets, by name, with commas")
    parser.add_argument("--pens", default="0.3,0.5,0.8", help="pen widths in mm")
    parser.add_argument("--dpis", default="200,300,600")
    parser.add_argument("--inks", default="clean,noisy,skipping")
    parser.add_argument("-n", "--count", type=int, default=0, help="at most this many characters a set, drawn by lot")
    parser.add_argument("--quick", action="store_true", help="the main row of each data set: 0.5 mm, 300 dpi, noisy")
    parser.add_argument("--no-char", action="store_true", help="do not tell the tracer the character")
    parser.add_argument("--accented", action="store_true", help="letters with accents set on them")
    parser.add_argument("--ablate", action="store_true", help="the main row with each part left out")
    parser.add_argument("--known", action="store_true", help="the main row with one attempt of the same writer known")
    parser.add_argument("--reliability", action="store_true", help="only how often readings of a confidence are right")
    parser.add_argument("--pictures", type=Path, help="folder for overlay pictures of what went wrong")
    parser.add_argument("--cores", type=int, help="processes; all cores if not said")
    a = parser.parse_args(argv)
    sets = data_sets()
    for path in a.data:
        sets |= people(path, a.people)
    if a.sets:
        asked = a.sets.split(",")
        if missing := [k for k in asked if k not in sets]:
            parser.error(f"no data set {', '.join(missing)}; there are {', '.join(sets)}")
        sets = {k: sets[k] for k in asked}
    if a.accented:
        sets = {f"{k}, accented": made for k, v in sets.items() if (made := accented(v))}
    if a.no_char:
        sets = {k: [replace(c, known=False) for c in v] for k, v in sets.items()}
    settings = [
        Setting(float(pen), float(dpi), kind)
        for pen in a.pens.split(",")
        for dpi in a.dpis.split(",")
        for kind in a.inks.split(",")
    ]
    if a.quick:
        settings = [Setting()]
    if not a.reliability:
        print(heading(), flush=True)
    with cores(a.cores) as run:
        for name, every in sets.items():
            cases = some_cases(every, a.count)
            if a.reliability:
                print(report(name, *judged(run, cases, Setting())), flush=True)
                continue
            if a.ablate:
                _ablate(run, name, cases)
            if a.known or a.ablate:
                _several(run, name, cases)
            if a.known or a.ablate:
                continue
            own = own_setting(cases)
            for setting in [*settings, *([own] if own else [])]:
                _pair(run, name, cases, setting, a.pictures)
    return 0


def some_cases(cases: list[Case], count: int) -> list[Case]:
    """Return `count` cases drawn by lot, attempts of one writer at one character together."""
    if not count or len(cases) <= count:
        return cases
    keys = sorted({(c.writer, c.char) for c in cases})
    lot = [keys[i] for i in np.random.default_rng(7).permutation(len(keys))]
    size = {k: 0 for k in keys}
    for c in cases:
        size[c.writer, c.char] += 1
    total = np.cumsum([size[k] for k in lot])
    chosen = set(lot[: max(1, int(np.searchsorted(total, count, side="right")))])
    return [c for c in cases if (c.writer, c.char) in chosen]


def _pair(run: Map, name: str, cases: list[Case], setting: Setting, pictures: Path | None) -> None:
    batches = [[x] for x in enumerate(cases)]
    ours, ref = (row(run, reader, batches, setting) for reader in (by_tracer, by_reference))
    print(line(name, setting, "ownhand", ours, mean_ms(ref)))
    print(line(name, setting, "reference", ref), flush=True)
    if pictures:
        write_pictures(pictures / f"{name}-{setting.pen_mm}-{setting.dpi:.0f}-{setting.kind}", cases, ours, setting)


def _ablate(run: Map, name: str, cases: list[Case]) -> None:
    batches = [[x] for x in enumerate(cases)]
    ref = mean_ms(row(run, by_reference, batches, Setting()))
    for part in ("", *PARTS):
        reader = partial(by_tracer, options=replace(Options(), **{part: False}) if part else Options())
        label = f"- {part}" if part else "all, alone"
        print(line(name, Setting(), label, row(run, reader, batches, Setting()), ref), flush=True)


def _several(run: Map, name: str, cases: list[Case]) -> None:
    """Print what other attempts of the same writer are worth, where there are any."""
    batches = groups(cases)
    if not batches:
        return
    ref = mean_ms(row(run, by_reference, batches, Setting()))
    for label, reader in (("- together", by_tracer), ("together", by_all), ("one known", by_known)):
        print(line(name, Setting(), label, row(run, reader, batches, Setting()), ref), flush=True)
