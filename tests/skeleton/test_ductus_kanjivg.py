"""The table beside a published stroke order: the Latin letters and digits of KanjiVG (Apel, CC BY-SA 3.0)."""

from __future__ import annotations

import re
import site
import string
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import linear_sum_assignment
from svgpathtools import parse_path

from skeleton.ductus import allographs

CHARS = string.ascii_letters + string.digits
POINTS = 24


def written(char: str) -> list[np.ndarray]:
    """Return the strokes of KanjiVG in order, y up."""
    root = next(p for s in site.getsitepackages() if (p := Path(s) / "kanji").is_dir())
    text = (root / f"{ord(char):05x}.svg").read_text(encoding="utf-8")
    paths = [parse_path(d) for d in re.findall(r'<path[^>]* d="([^"]+)"', text)]
    lines = [np.array([p.point(t) for t in np.linspace(0, 1, 60)]) for p in paths]
    return [np.column_stack([z.real, -z.imag]) for z in lines]


def at_equal_lengths(stroke: np.ndarray) -> np.ndarray:
    d = np.r_[0.0, np.cumsum(np.hypot(*np.diff(stroke, axis=0).T))]
    at = np.linspace(0, d[-1], POINTS)
    return np.column_stack([np.interp(at, d, stroke[:, k]) for k in (0, 1)])


def in_its_box(strokes: list[np.ndarray]) -> np.ndarray:
    """Return shape (strokes, points, 2), the whole in a box of 1 (a thin one kept thin)."""
    points = np.vstack(strokes)
    size = np.ptp(points, axis=0)
    scale = np.maximum(size, 0.35 * size.max())
    return np.array([at_equal_lengths((s - points.min(0) - size / 2) / scale) for s in strokes])


def read_as(form: np.ndarray, true: np.ndarray) -> tuple[float, bool]:
    """Return how far `form` is from `true` (strokes assigned either way round) and if order and direction agree."""
    ahead = np.hypot(*np.moveaxis(form[:, None] - true[None], -1, 0)).mean(-1)
    back = np.hypot(*np.moveaxis(form[:, None, ::-1] - true[None], -1, 0)).mean(-1)
    best = np.minimum(ahead, back)
    i, j = linear_sum_assignment(best)
    agrees = (i == j).all() and (ahead <= back)[i, j].all()
    return float(best[i, j].mean()), bool(agrees)


@pytest.fixture(scope="module")
def readings() -> dict[str, list[tuple[float, bool, float]]]:
    out = {}
    for char in CHARS:
        true = in_its_box(written(char))
        forms = [a for a in allographs(char) if len(a.strokes) == len(true)]
        out[char] = [(*read_as(in_its_box(list(a.strokes)), true), a.prior) for a in forms]
    return out


def test_the_published_way_of_writing_is_in_the_table(readings: dict[str, list[tuple[float, bool, float]]]) -> None:
    missing = {c for c, r in readings.items() if not any(agrees and far < 0.2 for far, agrees, _ in r)}

    assert missing == set()


def test_the_nearest_form_has_the_published_order_and_direction(
    readings: dict[str, list[tuple[float, bool, float]]],
) -> None:
    right = [bool(r) and min(r, key=lambda t: t[0] - 0.015 * np.log(t[2]))[1] for r in readings.values()]

    assert np.mean(right) >= 0.9
