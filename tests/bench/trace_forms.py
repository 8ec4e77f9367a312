"""The forms that people write: `python -m tests.bench trace_forms --data FOLDER`.

Characters of the training part of the people (`tests.bench.people`) are compared with the table's forms, number, order
and direction of the strokes included. What no form of the table comes near is clustered by average linkage (Sokal &
Michener 1958); a group of several people becomes a form, its mean. Every person counts once, however often he wrote the
character. Printed: for every character how many people write it, in how many forms, and the share that no form comes
near. With `--write` the table of `skeleton.ductus.observed` is made anew.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.spatial.distance import squareform

from capture.files import write_bytes
from capture.units import Points
from skeleton.ductus.allograph import Allograph
from skeleton.ductus.lookup import allographs
from skeleton.geometry.arc_length import resample
from skeleton.matching.stroke_distance import Shape, shape_of, stroke_distances
from tests.bench.people import broken, source_of
from tests.bench.trace_data import Case, people
from tests.bench.training.provenance import fitted_on
from tests.bench.training.specks import visible

NEAR_SIZES = 0.10
"""Distance, in sizes of the character, up to which it is written in a form."""

TOGETHER_SIZES = 0.15
"""Mean distance, in sizes of the character, up to which characters are one form."""

FOLLOWED_SIZES = 0.2
"""Distance, in sizes of the character, up to which the nearest form counts as the one that was written."""

MOST_FORMS = 10
"""Forms found for a character, the most usual: every one costs time when the character is read."""

LEAST_PEOPLE, LEAST_SHARE = 4, 0.008
"""People from whom a group is a form: so many, and so large a share of those who write the character."""

TABLE_PEOPLE = 6.0
"""People that the table's own shares count as."""

MOST_CLUSTERED = 2500
"""Characters of one kind that are clustered; of more some are drawn by lot, and count for the others."""

POINTS = 24
X_HEIGHT_MM = 3.5
"""x-height to which the data's pages are scaled."""

SEED = 5


@dataclass(frozen=True, eq=False)
class Written:
    """One character as somebody wrote it."""

    person: str
    strokes: list[Points]
    """mm, y down, without specks."""

    shape: Shape


def main(argv: list[str]) -> int:
    """Print the table; return 0."""
    parser = argparse.ArgumentParser(prog="tests.bench trace_forms", description=__doc__)
    parser.add_argument("--data", type=Path, action="append", default=[], help="file or folder of stroke files")
    parser.add_argument("--chars", default="", help="only these characters")
    parser.add_argument("--write", type=Path, nargs="?", const=Path(), help="write the table: here, or where used")
    a = parser.parse_args(argv)
    sets = {name: cases for path in a.data for name, cases in people(path, "train").items()}
    by_char = by_character(sets)
    chars = [c for c in sorted(by_char) if (not a.chars or c in a.chars) and allographs(c)]
    if not chars:
        parser.error("no characters of people; name a file or folder of them with --data")
    characters = {}
    for char in chars:
        characters[char] = counted(char, by_char[char])
        forms = characters[char]["forms"]
        known = sum(characters[char]["shares"].values()) + sum(f["share"] for f in forms)
        print(
            f"{char}  {characters[char]['people']:>4} people  {len(forms):>3} forms beside "
            f"{len(allographs(char))} of the table  {1 - known:.2f} in none",
            flush=True,
        )
    if a.write is not None:
        file = a.write if a.write.name else Path(str(files("skeleton.ductus").joinpath("tables", "observed.json")))
        write_bytes(file, table_text(characters, sets, date.today()).encode())
        print(f"written: {file}; now look at skeleton/NOTICE")
    return 0


def by_character(sets: Mapping[str, Sequence[Case]]) -> dict[str, list[Written]]:
    """Return what people wrote, by character; broken records, which have no ink, are left out."""
    out: dict[str, list[Written]] = defaultdict(list)
    for name, cases in sets.items():
        for c in cases:
            if broken(source_of(name), c.writer):
                continue
            strokes = visible(c.strokes)
            if strokes:
                out[c.char].append(Written(f"{source_of(name)}/{c.writer}", strokes, shape_of(strokes)))
    return dict(out)


def counted(char: str, written: Sequence[Written]) -> dict[str, Any]:
    """Return how many people wrote a character, the shares of the table's forms, and the forms found.

    Keys: `people`; `shares`, by the name of the table's form; `forms`, each with `name`, `share` and `strokes` (unit
    = x-height, baseline at y = 0, y up). The shares are of all who write the character, also of those in no form.
    """
    table = allographs(char)
    attempts: dict[str, int] = defaultdict(int)
    for w in written:
        attempts[w.person] += 1
    weight = np.array([1 / attempts[w.person] for w in written])
    people_count = len(attempts)
    shapes = [w.shape for w in written]
    of_table = stroke_distances(shapes, [shape_of([s * [1, -1] for s in f.strokes]) for f in table])
    found: list[tuple[float, list[Points]]] = []
    for group, stands_for in _groups(written, weight, np.flatnonzero(of_table.min(axis=1) > NEAR_SIZES)):
        who = {written[i].person for i in group}
        if len(who) >= max(LEAST_PEOPLE, LEAST_SHARE * people_count):
            form = _mean_form([written[i] for i in group], table[0])
            found.append((stands_for * float(weight[group].sum()), form))
    found.sort(key=lambda f: -f[0])
    kept = [form for _, form in found[:MOST_FORMS]]
    of_found = [stroke_distances(shapes, [shape_of([s * [1, -1] for s in f])]) for f in kept]
    apart = np.hstack([of_table, *of_found])
    nearest, near = apart.argmin(axis=1), apart.min(axis=1) <= FOLLOWED_SIZES
    total = people_count + TABLE_PEOPLE
    counts = np.bincount(nearest[near], weight[near], apart.shape[1])
    shares = {
        f.name: float(n + TABLE_PEOPLE * f.prior) / total for f, n in zip(table, counts[: len(table)], strict=True)
    }
    own = [float(n) / total for n in counts[len(table) :]]
    forms = [
        {"share": round(n, 4), "strokes": [s.tolist() for s in form]}
        for n, form in sorted(zip(own, kept, strict=True), key=lambda f: -f[0])
        if n > 0
    ]
    named = [{"name": f"as people write it, {k}", **f} for k, f in enumerate(forms, 1)]
    return {
        "people": people_count,
        "shares": {k: round(v, 4) for k, v in shares.items() if v >= 0.00005},
        "forms": named,
    }


def _groups(
    written: Sequence[Written], weight: NDArray[np.float64], far: NDArray[np.int64]
) -> list[tuple[NDArray[np.int64], float]]:
    """Return characters that are alike, each group with how many each of it stands for."""
    rng = np.random.default_rng(SEED)
    out = []
    by_count: dict[int, list[int]] = defaultdict(list)
    for i in far:
        by_count[len(written[i].strokes)].append(int(i))
    for same in by_count.values():
        some = np.array(same)
        stands_for = 1.0
        if len(some) > MOST_CLUSTERED:
            some = np.sort(rng.choice(some, MOST_CLUSTERED, replace=False))
            stands_for = float(weight[same].sum() / weight[some].sum())
        if len(some) < LEAST_PEOPLE:
            continue
        shapes = [written[i].shape for i in some]
        d = stroke_distances(shapes, shapes)
        np.fill_diagonal(d, 0.0)
        number = fcluster(linkage(squareform(0.5 * (d + d.T), checks=False), "average"), TOGETHER_SIZES, "distance")
        out += [(some[number == k], stands_for) for k in np.unique(number)]
    return out


def _mean_form(group: Sequence[Written], like: Allograph) -> list[Points]:
    """Return the mean of characters of as many strokes: as large as the middle one, standing where `like` stands.

    Unit = x-height, y up.
    """
    boxes = np.array([[np.concatenate(w.strokes).min(axis=0), np.concatenate(w.strokes).max(axis=0)] for w in group])
    size = np.maximum(np.median(boxes[:, 1] - boxes[:, 0], axis=0), 1e-3) / X_HEIGHT_MM
    strokes = []
    for k in range(len(group[0].strokes)):
        laid = []
        for w, (low, high) in zip(group, boxes, strict=True):
            wide = np.maximum(high - low, 0.3 * (high - low).max() + 1e-9)
            laid.append((resample(w.strokes[k], POINTS) - 0.5 * (low + high)) / wide)
        # boxes are stretched as shapes are (`shape_kernels.shape_in_boxes`), and brought back to the middle size
        mean = np.mean(laid, axis=0) * np.maximum(size, 0.3 * size.max())
        strokes.append(mean * [1, -1])
    low = np.concatenate(strokes).min(axis=0)
    left, bottom, _, _ = like.box
    placed = [np.round(s - low + [left, bottom], 3) for s in strokes]
    return [s[:1] if (s == s[0]).all() else s for s in placed]


def table_text(characters: Mapping[str, Any], sets: Mapping[str, Sequence[Case]], day: date) -> str:
    """Return the text of the table's file: one line for each character, so that changes are seen."""
    told = {
        "recipe": (
            f"python -m tests.bench trace_forms: shapes laid into a box; what is farther than {NEAR_SIZES} of the "
            f"character's size from every form of the table is clustered (average linkage, {TOGETHER_SIZES}); of the "
            f"groups of at least {LEAST_PEOPLE} people and {100 * LEAST_SHARE:g} % of those who write the character "
            f"the {MOST_FORMS} largest become forms, their means at {POINTS} points a stroke; every character counts "
            f"for the nearest form within {FOLLOWED_SIZES}; every person counts once, and the table's own shares count "
            f"as {TABLE_PEOPLE:g} people"
        ),
        "fitted_on": fitted_on(
            [
                (source_of(name), c.writer)
                for name, cases in sets.items()
                for c in cases
                if not broken(source_of(name), c.writer)
            ]
        ),
        "people": "those of the training part of tests.bench.people",
        "date": day.isoformat(),
    }
    lines = [f"{json.dumps(c, ensure_ascii=False)}:{_compact(v)}" for c, v in characters.items()]
    return f'{{"provenance":{_compact(told)},"characters":{{\n' + ",\n".join(lines) + "\n}}\n"


def _compact(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))
