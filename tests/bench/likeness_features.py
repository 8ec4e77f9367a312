"""What a word shows, and whether two sets of words are told apart by it."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.bench.likeness_hands import PEN_MM, Letter, Word
from tests.bench.trace_ink import even

DPI, PATCH, STEP = 200, 48, 16
Floats = NDArray[np.float64]


def features(words: Sequence[Letter], known: Sequence[Word], seed: int) -> tuple[Floats, Floats]:
    """Return what a picture shows of each word, and what its strokes show."""
    return (
        np.array([gradients(w, seed + k) for k, w in enumerate(words)]),
        np.array([geometry(w, len(k.text)) for w, k in zip(words, known, strict=True)]),
    )


def gradients(strokes: Letter, seed: int) -> Floats:
    """Return mean and deviation of the gradients' histograms over the patches of an inked word."""
    from skimage.feature import hog

    rng = np.random.default_rng(seed)
    sub, k = 4, DPI / 25.4 * 4
    every = np.vstack(strokes)
    low = every.min(axis=0) - 1.5
    w, h = (sub * int(np.ceil(v / sub)) for v in (every.max(axis=0) + 1.5 - low) * k)
    cover = np.zeros((h, w), np.uint8)
    for s in strokes:
        # of a single point, a dot, OpenCV draws nothing
        line = np.repeat(s, 2, axis=0) if len(s) == 1 else s
        at = np.round(((line - low) * k - 0.5) * 16).astype(np.int32).reshape(-1, 1, 2)
        wide = max(1, round(PEN_MM * k * (1 + 0.15 * rng.uniform(-0.7, 0.7))))
        cv2.polylines(cover, [at], False, 255, wide, cv2.LINE_8, 4)
    grey = cv2.resize(cover, (w // sub, h // sub), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    grey = cv2.GaussianBlur(245 - 200 * grey, (0, 0), 0.7) + rng.normal(0, 4, grey.shape)
    missing = [(0, max(0, PATCH - size)) for size in grey.shape]
    grey = np.pad(np.clip(grey, 0, 255).astype(np.uint8), missing, constant_values=245)
    found = [
        hog(patch, 8, (16, 16), (1, 1))
        for y in range(0, grey.shape[0] - PATCH + 1, STEP)
        for x in range(0, grey.shape[1] - PATCH + 1, STEP)
        if ((patch := grey[y : y + PATCH, x : x + PATCH]) < 128).mean() > 0.03
    ]
    rows = np.array(found) if found else np.zeros((1, 72))
    return np.concatenate([rows.mean(axis=0), rows.std(axis=0)])


def geometry(strokes: Letter, letters: int) -> Floats:
    """Return strokes, ink and width a letter, height, quantiles of the turns, and shares of the directions."""
    every = np.vstack(strokes)
    length = [float(np.hypot(*np.diff(s, axis=0).T).sum()) for s in strokes]
    turns, ways = [np.zeros(1)], [np.zeros(0)]
    for s in strokes:
        d = np.diff(even(s, 0.25), axis=0)
        if len(d) > 3:
            angle = np.unwrap(np.arctan2(d[:, 1], d[:, 0]))
            turns.append(np.abs(np.diff(angle)))
            ways.append(angle % np.pi)
    turn, way = np.concatenate(turns), np.concatenate(ways)
    sizes = [len(strokes) / letters, sum(length) / letters, np.ptp(every[:, 0]) / letters, np.ptp(every[:, 1])]
    share = np.histogram(way, 12, (0, np.pi))[0] / max(1, len(way))
    turned = np.quantile(turn, [0.25, 0.5, 0.75, 0.9, 0.97])
    return np.concatenate([sizes, turned, [turn.std(), np.median(length)], share])


def told(a: Floats, b: Floats, of_a: Sequence[int], of_b: Sequence[int], kind: int) -> float:
    """Return the share told right, cross-validated by word; `kind` 0: pictures, 1: strokes."""
    from sklearn.ensemble import HistGradientBoostingClassifier
    from sklearn.linear_model import LogisticRegression
    from sklearn.model_selection import GroupKFold, cross_val_predict
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    linear = make_pipeline(StandardScaler(), LogisticRegression(C=0.02, max_iter=2000))
    trees = HistGradientBoostingClassifier(max_iter=60, max_depth=3, random_state=0)
    x, y = np.vstack([a, b]), np.repeat([0, 1], [len(a), len(b)])
    found = cross_val_predict(trees if kind else linear, x, y, groups=[*of_a, *of_b], cv=GroupKFold(8))
    return float((found == y).mean())
