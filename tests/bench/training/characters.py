"""The characters that the choice between readings and its judge are fitted on, before each draws its lot of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

import numpy as np

from sample_sheets.loose import loose_characters
from sample_sheets.writer.hand import GUEST, KEEPER
from tests.bench.people import broken, source_of
from tests.bench.trace_data import LATIN, OTHER_DAY, Case, data_sets, folder, kanji

KANJI = (0x4E03, 34, 9)
"""The first that is read, one in how many, and the most strokes."""


def characters(paths: Iterable[Path], *, unnamed: bool = False) -> Iterator[tuple[str, list[tuple[int, Case]]]]:
    """Yield every data set: its source, and its characters with their numbers; writers with broken strokes left out.

    paths: of people's data; unnamed: also those that are read without being told.
    """
    sets: Mapping[str, list[Case]] = {
        k: v for k, v in data_sets().items() if k != "sample hand" and (k != "kana" or unnamed)
    }
    sets = dict(sets)
    if unnamed:
        sets["kanji"] = kanji(*KANJI)
    for path in paths:
        sets |= folder(path)
    for name, cases in sets.items():
        source = source_of(name)
        yield source, [(i, c) for i, c in enumerate(cases) if not broken(source, c.writer)]


def museum(attempts: int) -> Iterator[Case]:
    """Yield the characters of the simulated hands, in whose own ink they are read."""
    for habits, writer in ((KEEPER, "keeper"), (GUEST, "guest")):
        for c in loose_characters(LATIN, attempts, habits=habits, seed=OTHER_DAY):
            yield Case(c.char, c.char, [np.asarray(s) for s in c.strokes], True, writer, c.grey)
