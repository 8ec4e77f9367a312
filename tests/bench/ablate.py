"""What each part of the tracer earns: `python -m tests.bench ablate [--data FOLDER]`.

Every character is inked once (0.5 mm, 300 dpi, noisy) and read with all parts, then with each part switched off.
Columns: the data sets; in the first row the share of characters right in path, order and direction (*full*) and the
mean distance from the true line in um; below, what switching the part off changes: *full* in characters of a hundred,
um. A part that changes nothing anywhere earns nothing here. `--letters` names the characters won and lost.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np

from skeleton.fitting import reconstruction_check
from skeleton.geometry.stroke import Stroke
from skeleton.joint_reading import read_together
from skeleton.pipeline import read
from tests.bench.switches import ALONE, KNOWN, SWITCHES, TOGETHER, Switch
from tests.bench.trace import some_cases
from tests.bench.trace_data import Case, data_sets, folder
from tests.bench.trace_rows import Picture, Setting, groups, picture
from tests.bench.trace_score import Score, score

SETTINGS = {"streaks closed": Setting(kind="skipping"), "grain smoothed": Setting(kind="pencil")}
"""Inks of parts that are made for one."""

Inked = tuple[Case, Picture]


def main(argv: list[str]) -> int:
    """Print the table; return 0."""
    parser = argparse.ArgumentParser(prog="tests.bench ablate", description=__doc__)
    parser.add_argument("--data", type=Path, action="append", default=[], help="further file or folder of stroke files")
    parser.add_argument("--sets", default="", help="only these data sets, by name, with commas")
    parser.add_argument("--parts", default="", help="only these parts, by name, with commas")
    parser.add_argument("-n", "--count", type=int, default=60, help="at most this many characters a set, drawn by lot")
    parser.add_argument("--letters", action="store_true", help="name the characters that each part wins and loses")
    a = parser.parse_args(argv)
    sets = data_sets()
    for path in a.data:
        sets |= folder(path)
    sets = {k: v for k, v in sets.items() if not a.sets or k in a.sets.split(",")}
    cases = {name: some_cases(every, a.count) for name, every in sets.items()}
    parts = [s for s in SWITCHES if s.name != "filled counters" and (not a.parts or s.name in a.parts.split(","))]
    print(f"{'without':<30}" + "".join(f"{k.split('_')[0]:>18}" for k in cases))
    with_all: dict[tuple[str, str, Setting], list[Score]] = {}
    for mode in (ALONE, TOGETHER, KNOWN):
        here = [s for s in parts if s.mode == mode]
        if here:
            _row(f"(nothing: {mode})", cases, Switch("", mode=mode), Setting(), None, with_all, a.letters)
        for s in here:
            setting = SETTINGS.get(s.name, Setting())
            if setting != Setting():
                _row(f"(nothing: {setting.kind} ink)", cases, Switch("", mode=mode), setting, None, with_all, a.letters)
            _row(s.name, cases, s, setting, with_all, with_all, a.letters)
    if not a.parts:
        print(f"filled counters: found in {filled_found():.0%} of letters with a blot; without the limit in none")
    return 0


def _row(
    label: str,
    sets: dict[str, list[Case]],
    part: Switch,
    setting: Setting,
    before: dict[tuple[str, str, Setting], list[Score]] | None,
    kept: dict[tuple[str, str, Setting], list[Score]],
    letters: bool,
) -> None:
    cells, changed = [], []
    for name, cases in sets.items():
        inked = _inked(tuple(cases), setting, part.mode)
        with part.off():
            scores = scores_of(inked, part, setting)
        if not scores:
            cells.append("–")
            continue
        full, mean = float(np.mean([s.full for s in scores])), 1e3 * float(np.mean([s.mean for s in scores]))
        if before is None:
            kept[part.mode, name, setting] = scores
            cells.append(f"{full:.3f} {mean:6.1f}")
            continue
        old = before[part.mode, name, setting]
        cells.append(
            f"{100 * (full - np.mean([s.full for s in old])):+.1f} "
            f"{mean - 1e3 * float(np.mean([s.mean for s in old])):+6.1f}"
        )
        changed += [f"-{c.name}" for (c, _), s, o in zip(inked, scores, old, strict=True) if o.full and not s.full]
        changed += [f"+{c.name}" for (c, _), s, o in zip(inked, scores, old, strict=True) if s.full and not o.full]
    print(f"{label:<30}" + "".join(f"{c:>18}" for c in cells), flush=True)
    if letters and changed:
        print("    " + " ".join(changed), flush=True)


@cache
def _inked(cases: tuple[Case, ...], setting: Setting, mode: str) -> list[Inked]:
    """Return cases with their pictures; where attempts are read together, those that have another one beside them."""
    used = list(cases) if mode == ALONE else [c for g in groups(list(cases)) for _, c in g]
    return [(c, picture(c, setting, i)) for i, c in enumerate(used)]


def scores_of(inked: Sequence[Inked], part: Switch, setting: Setting) -> list[Score]:
    """Return the score of every character, read in the way in which the part matters."""
    found: list[list[np.ndarray]] = [[] for _ in inked]
    if part.mode == ALONE:
        for i, (c, (grey, _)) in enumerate(inked):
            char = c.char if c.known else None
            r = read(grey, setting.dpi, char, handedness="right", known=(), options=part.options, judged=False)
            found[i] = [s.points_mm for s in r.strokes]
    for group in groups([c for c, _ in inked]) if part.mode != ALONE else []:
        numbers = [i for i, _ in group]
        char = group[0][1].char
        if part.mode == TOGETHER:
            read_all = read_together([inked[i][1][0] for i in numbers], setting.dpi, char, alternatives=0)
        else:
            others = [[Stroke(s) for s in inked[numbers[k - 1]][0].strokes] for k in range(len(numbers))]
            read_all = [
                read(inked[i][1][0], setting.dpi, char, handedness="right", known=[known], judged=False)
                for i, known in zip(numbers, others, strict=True)
            ]
        for i, r in zip(numbers, read_all, strict=True):
            found[i] = [s.points_mm for s in r.strokes]
    return [
        score(strokes, [s + off for s in c.strokes], setting.pen_mm)
        for strokes, (c, (_, off)) in zip(found, inked, strict=True)
    ]


def filled_found() -> float:
    """Return the share of small rings, filled up with ink, in which the blot is found and said."""
    turn = np.linspace(0, 2 * np.pi, 60)
    found = []
    for i, radius in enumerate(np.linspace(0.45, 0.7, 6)):
        rings = [r * np.stack([np.sin(turn), -np.cos(turn)], axis=1) for r in (radius, 0.4 * radius)]
        stem = np.array([[radius, -3.0], [radius, radius]])
        grey, _ = picture(Case("b", "b", [stem, *rings]), Setting(), i)
        r = read(grey, 300, "d", handedness="right", known=())
        found.append(any(f.kind == "filled counter" for f in r.findings))
    assert np.inf > reconstruction_check.BLOT_HALF_WIDTH_PEN_WIDTHS
    return float(np.mean(found))
