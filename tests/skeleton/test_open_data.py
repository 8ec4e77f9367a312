"""Strokes of open data inked and read back; the floors lie just under what was measured.

Sources: KanjiVG (Apel, CC BY-SA 3.0) and the Hershey fonts (Wolcott & Hilsenrath, NBS SP 424, 1976), both from PyPI.
"""

from __future__ import annotations

import pytest

from skeleton import trace
from tests.bench.trace_data import KANA, LATIN, Case, hershey, kanjivg
from tests.bench.trace_ink import ink
from tests.bench.trace_reference import reference
from tests.bench.trace_score import score, summary

PEN_MM = 0.5


def measured(cases: list[Case]) -> tuple[dict[str, float], dict[str, float]]:
    """Return the scores of the tracer and of the plain pipeline on the same ink."""
    ours, plain = [], []
    for i, case in enumerate(cases):
        image, offset = ink(case.strokes, pen_mm=PEN_MM, seed=i)
        true = [s + offset for s in case.strokes]
        found = trace(image, 300, case.char if case.known else None)
        ours.append(score([s.points_mm for s in found], true, PEN_MM))
        plain.append(score(reference(image, 300), true, PEN_MM))
    return summary(ours), summary(plain)


@pytest.mark.parametrize(
    ("name", "mean_um", "p95_um", "paths", "full"),
    [("kanjivg", 7.5, 26, 0.80, 0.74), ("hershey", 19, 55, 0.70, 0.55), ("kana", 7.5, 25, 0.82, 0.65)],
)
def test_strokes_of_open_data_are_read_back(
    name: str, mean_um: float, p95_um: float, paths: float, full: float
) -> None:
    every = {
        "kanjivg": lambda: list(kanjivg(LATIN, known=True)),
        "hershey": lambda: list(hershey())[::2],
        "kana": lambda: list(kanjivg(KANA[::3], known=False)),
    }[name]()
    ours, plain = measured(every)

    assert ours["mean"] <= mean_um
    assert ours["p95"] <= p95_um
    assert ours["paths"] >= paths
    assert ours["full"] >= full
    assert ours["mean"] < 0.5 * plain["mean"]
    assert ours["paths"] > plain["paths"] + 0.2
