"""The small networks: what they compute, and that they are kept with what they were fitted on."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from scipy.signal import correlate2d

from skeleton.fitting import end_lengths
from skeleton.matching import sketches
from skeleton.scoring import writing_habits
from skeleton.small_networks import PROVENANCE, convolved


def test_convolutions_are_those_of_a_reference() -> None:
    """Against `scipy.signal.correlate2d`."""
    rng = np.random.default_rng(3)
    x = rng.normal(size=(2, 3, 14, 12)).astype(np.float32)
    for k, stride in ((5, 2), (3, 2), (3, 1)):
        kernels, offsets = rng.normal(size=(4, 3, k, k)).astype(np.float32), rng.normal(size=4).astype(np.float32)
        got = convolved(x, kernels, offsets, stride)
        for n in range(2):
            for c in range(4):
                whole = sum(correlate2d(x[n, i], kernels[c, i], mode="same") for i in range(3)) + offsets[c]
                np.testing.assert_allclose(got[n, c], np.maximum(whole, 0)[::stride, ::stride], atol=1e-4)


@pytest.mark.parametrize(
    ("module", "command"),
    [(sketches, "trace_sketches"), (end_lengths, "trace_ends"), (writing_habits, "trace_habits")],
)
def test_a_network_is_kept_with_what_it_was_fitted_on(module: ModuleType, command: str) -> None:
    file = Path(str(module.__file__)).with_name(module.NAME)
    with np.load(file) as kept:
        told = json.loads(bytes(kept[PROVENANCE]).decode())
    notice = (file.parents[1] / "NOTICE").read_text(encoding="utf-8")
    assert date.fromisoformat(told["date"])
    assert command in told["recipe"] and module.NAME in notice
    names = {d["name"].split(" (")[0] for d in told["fitted_on"]}
    assert {"UNIPEN", "DigiLeTs"} <= names
    assert all(d["licence"] not in ("", "not stated") for d in told["fitted_on"])
    # the tests ask it for the simulated hand's letters as for those of a hand it never saw
    assert module is not sketches or "the project's simulated hands" not in names
