"""Which people the tracer is fitted on, tried on and measured on: a split by a hash of the writer's name.

Parts: `train` (60 %), `val` (10 %, the choice of models and the calibration of confidence), `out` (30 %, for measuring
alone). Of UNIPEN's 1,424 people 856, 137 and 431; of the 39 of DigiLeTs 26, 3 and 10. UJI's writers 4 and 5 and
Omniglot's 6 to 10 are left out, the others are for training. The training part is split once more: on A (60 %) the
pen-event network is trained, on B the choice between readings is fitted, so that the choice sees cues of people of whom
the network has seen nothing.
"""

from __future__ import annotations

import zlib

from tests.bench.trace_data import TRAINED

OUT_PERCENT, VALIDATION_PERCENT, NETWORK_PERCENT = 30, 10, 60


def part(source: str, writer: str) -> str:
    """Return 'train', 'val' or 'out' for a writer of a data set (`unipen`, `digilets`, `uji`, `omniglot`)."""
    if source in TRAINED:
        return "train" if writer in TRAINED[source] else "out"
    lot = zlib.crc32(f"{source}/{writer}".encode()) % 100
    if lot < OUT_PERCENT:
        return "out"
    return "val" if lot < OUT_PERCENT + VALIDATION_PERCENT else "train"


def trains_network(source: str, writer: str) -> bool:
    """Tell whether a writer of the training part is in A, on which the pen-event network is trained."""
    return source in TRAINED or zlib.crc32(f"{source}/{writer}/fit".encode()) % 100 < NETWORK_PERCENT
