"""Letters cut out of words that are read as other letters, though the hand has some that are read as themselves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from fontbuild.joins import IN_TEXT
from fontbuild.variants import AttemptStrokes
from skeleton.words.legibility import read_as

ILLEGIBLE = 0.15
"""How likely a letter is read as itself (`skeleton.words.legibility`) from which down it is read as another. Of 1,347
letters of words of eight hands (a simulated one, `sample_sheets/archivist`, and seven people for validation, UNIPEN
train_r01_v07; Guyon et al., ICPR 1994) that were as likely as not cut rightly, 131 are; 25 of these overlap the written
one by less than .65, of the others 53. By eye, most others have lost a bar or a dot, or are nobody's letter."""

SOME_LEGIBLE = 0.33
"""Share of a hand's letters of a kind that are read as themselves at least where others are told: r's that nobody reads
were written so, all of them."""

READS_AS = "cut out of its word so that it reads as"


def misread(letters: Mapping[str, Sequence[AttemptStrokes]], x_height_mm: float, *, least: float) -> dict[str, str]:
    """Return as which letters attempts cut out of words are read, by id, that are not read as themselves.

    Parameters
    ----------
    letters
        Attempts by character; mm, y up, baseline at y = 0.
    x_height_mm
        The size in which they are written.
    least
        Confidence under which an attempt neither counts nor is judged: it is doubtful as it is.
    """
    cut = [w for group in letters.values() for w in group if w.allograph in IN_TEXT and w.confidence >= least]
    down = np.array([1.0, -1.0]) / x_height_mm
    told = zip(cut, read_as([(w.char, [s * down for s in w.strokes]) for w in cut]), strict=True)
    read = {w.id: r for w, r in told if r is not None}
    out: dict[str, str] = {}
    for group in letters.values():
        mine = [w.id for w in group if w.id in read]
        bad = [key for key in mine if read[key].own < ILLEGIBLE]
        if len(bad) <= (1 - SOME_LEGIBLE) * len(mine):
            out |= {key: read[key].other for key in bad}
    return out
