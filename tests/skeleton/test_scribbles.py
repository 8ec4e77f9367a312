"""What is no letter keeps no reader busy without end and breaks none (`tests.bench scribbles` reads more)."""

from __future__ import annotations

import os

import pytest

from tests.bench.scribbles import DRAWN, drawn, outcome

ROUNDS = max(int(os.environ.get("OWNHAND_FUZZ", "60")) // 20, 1)
"""Drawings of each kind."""

KINDS = len(DRAWN) + 1


@pytest.mark.parametrize("kind", range(KINDS), ids=lambda k: drawn(k)[0])
def test_what_is_no_letter_is_read(kind: int) -> None:
    for seed in range(kind, ROUNDS * KINDS, KINDS):
        assert outcome(seed).fault == "", f"seed {seed}"
