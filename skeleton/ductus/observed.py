"""Forms that people were seen to write, and how often they write the table's.

The table's forms are drawn from general knowledge. `tables/observed.json` holds what `tests.bench mine_forms` counted
among a thousand people who wrote with a pen on a tablet: how many of them write each form of the table, and the means
of groups of characters that no form of the table comes near, each of at least four people. The file says which data it
was counted in; it holds no person's strokes.
"""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from skeleton.ductus.allograph import Allograph
from skeleton.ductus.lookup import Handedness, allographs

TABLE = 0.4
"""Weight of the table against what was counted: careful lettering is rare among people with a tablet."""


@cache
def observed_allographs(char: str, *, handedness: Handedness = "right") -> tuple[Allograph, ...]:
    """Return the forms in which `char` is written, the table's and those that people were seen to write.

    Parameters
    ----------
    char
        One Unicode character, as for `allographs`.
    handedness
        Of the writer. The people were counted together; of a left-handed writer the table's shares are kept among the
        table's forms.

    Returns
    -------
    tuple of Allograph
        The most usual first; the priors sum to 1. The table's alone where nothing was counted.
    """
    forms = allographs(char, handedness=handedness)
    counted = _counted().get(char)
    if not forms or counted is None:
        return forms
    added = [
        Allograph(f["name"], char, tuple(np.array(s, float).reshape(-1, 2) for s in f["strokes"]), f["share"])
        for f in counted["forms"]
    ]
    rest = 1.0 - sum(f.prior for f in added)
    seen = counted["shares"] if handedness == "right" else {f.name: rest * f.prior for f in forms}
    kept = [replace(f, prior=TABLE * f.prior + (1 - TABLE) * seen.get(f.name, 0.0)) for f in forms]
    every = sorted([*kept, *(replace(f, prior=(1 - TABLE) * f.prior) for f in added)], key=lambda f: -f.prior)
    total = sum(f.prior for f in every)
    return tuple(replace(f, prior=f.prior / total) for f in every)


@cache
def _counted() -> dict[str, Any]:
    """Return what was counted, by character."""
    text = files("skeleton.ductus").joinpath("tables", "observed.json").read_text(encoding="utf-8")
    counted: dict[str, Any] = json.loads(text)["characters"]
    return counted
