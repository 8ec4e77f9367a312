"""What fitted numbers say of themselves: the recipe, the data sets with their licences, the day."""

from __future__ import annotations

import io
import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from skeleton.small_networks import PROVENANCE

_UNIPEN = "train_r01_v07; Guyon, Schomaker, Plamondon, Liberman, Janet 1994, doi 10.5281/zenodo.1195803"

SOURCES = {
    "uji": ("UJI Pen Characters (UCI)", "CC BY 4.0"),
    "unipen": (f"UNIPEN ({_UNIPEN})", "CC BY 4.0"),
    "omniglot": ("Omniglot (B. Lake)", "MIT"),
    "digilets": ("DigiLeTs (Fabi, Otte, Wiese, Butz 2020)", "as published with the data set"),
    "kanjivg": ("KanjiVG (U. Apel)", "CC BY-SA 3.0"),
    "kana": ("KanjiVG (U. Apel)", "CC BY-SA 3.0"),
    "kanji": ("KanjiVG (U. Apel)", "CC BY-SA 3.0"),
    "hershey": ("Hershey fonts (NBS SP 424)", "free use with acknowledgement"),
    "scripts": ("Hershey fonts (NBS SP 424)", "free use with acknowledgement"),
    "cursive": ("Hershey fonts (NBS SP 424)", "free use with acknowledgement"),
    "words": (f"UNIPEN, words ({_UNIPEN})", "CC BY 4.0"),
    "composed": (f"words put together of letters of UNIPEN ({_UNIPEN}) and DigiLeTs (2020)", "CC BY 4.0, as published"),
    "museum": ("the project's simulated hands", "MIT"),
}
"""Name and licence of each data set, by the first word of its file's name."""

MOST_NAMED = 12
"""Writers up to which their names are kept; of more, how many they are."""


def fitted_on(characters: Iterable[tuple[str, str]]) -> list[dict[str, str]]:
    """Return name, part and licence of every data set that characters, each (data set, writer), come from."""
    counts: dict[str, int] = {}
    writers: dict[str, set[str]] = {}
    for source, writer in characters:
        counts[source] = counts.get(source, 0) + 1
        writers.setdefault(source, set()).update([writer] if writer else [])
    out = []
    for source in sorted(counts):
        name, licence = SOURCES.get(source, (source, "not stated"))
        who = sorted(writers[source])
        named = f"; writers {', '.join(who)}" if len(who) <= MOST_NAMED else f"; {len(who)} writers"
        part = f"{source}, {counts[source]:,} characters" + (named if who else "")
        out.append({"name": name, "part": part, "licence": licence})
    return out


def provenance(recipe: str, data: Sequence[Mapping[str, str]], day: date) -> str:
    """Return what is kept beside numbers that are in no table of fitted values, as JSON."""
    return json.dumps({"recipe": recipe, "fitted_on": list(data), "date": day.isoformat()}, ensure_ascii=False)


def network_file(arrays: Mapping[str, NDArray[Any]], told: str) -> bytes:
    """Return the file of a network: its arrays, and what they were fitted on, `provenance`."""
    buffer = io.BytesIO()
    np.savez_compressed(buffer, allow_pickle=False, **arrays, **{PROVENANCE: np.frombuffer(told.encode(), np.uint8)})
    return buffer.getvalue()
