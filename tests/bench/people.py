"""Which people the tracer is fitted on, tried on and measured on: a split by a hash of the writer's name.

Parts: `train` (60 %), `val` (10 %, the choice of models and the calibration of confidence), `out` (30 %, for measuring
alone). Of UNIPEN's 1,424 people 856, 137 and 431; of the 39 of DigiLeTs 26, 3 and 10. UJI's writers 4 and 5 and
Omniglot's 6 to 10 are left out, the others are for training. The training part is split once more: on A (60 %) the
pen-event network is trained, on B the choice between readings is fitted, so that the choice sees cues of people of whom
the network has seen nothing.
"""

from __future__ import annotations

import zlib

TRAINED = {"uji": ("1", "2", "3"), "omniglot": ("1", "2", "3", "4", "5")}
"""Writers for training where the data set has few of them, by the first word of its file's name."""

BY_LOT = ("unipen", "digilets")
"""Data sets whose people are parted by lot."""

PARTS = ("train", "val", "out")

OUT_PERCENT, VALIDATION_PERCENT, NETWORK_PERCENT = 30, 10, 60


def source_of(name: str) -> str:
    """Return the data set of a file, by the first word of its name: `unipen` of `unipen_chars`."""
    return name.split("_")[0]


def of_people(source: str) -> bool:
    """Tell whether the people of a data set are parted."""
    return source in TRAINED or source in BY_LOT


BROKEN = {"unipen": ("tos/",)}
"""Beginnings of writers' names whose records are broken, by data set. Of UNIPEN's donor tos the labels are off by some
characters, and a dot far from the character is recorded with it: nothing is fitted on them."""


def broken(source: str, writer: str) -> bool:
    """Tell whether a writer's records are known to be broken."""
    return writer.startswith(BROKEN.get(source, ())) if source in BROKEN else False


def part(source: str, writer: str) -> str:
    """Return 'train', 'val' or 'out' for a writer of a data set (`unipen`, `digilets`, `uji`, `omniglot`)."""
    if source in TRAINED:
        return "train" if writer in TRAINED[source] else "out"
    lot = _lot(f"{source}/{writer}")
    if lot < OUT_PERCENT:
        return "out"
    return "val" if lot < OUT_PERCENT + VALIDATION_PERCENT else "train"


def trains_network(source: str, writer: str) -> bool:
    """Tell whether a writer of the training part is in A, on which the pen-event network is trained."""
    return source in TRAINED or _lot(f"{source}/{writer}/fit") < NETWORK_PERCENT


def fits_choice(source: str, writer: str) -> bool:
    """Tell whether the choice between readings is fitted on a writer: B, and the few people of small data sets."""
    if part(source, writer) != "train":
        return False
    return source in TRAINED or not trains_network(source, writer)


def _lot(name: str) -> int:
    return zlib.crc32(name.encode()) % 100
