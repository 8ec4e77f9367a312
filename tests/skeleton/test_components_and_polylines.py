"""Small work done in compiled loops: it gives what the libraries' own, slower ways give."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from skeleton.geometry.quantiles import median, quantile
from skeleton.hypotheses.forms_sought import models_of
from skeleton.hypotheses.labelled import candidates
from skeleton.ink.components import flip_small_components, histogram, peaks
from skeleton.matching.template_matching import find_matches
from skeleton.pipeline import build_state_graph_of
from skeleton.scoring.path_features import path_scorer
from tests.bench.trace_ink import ink

Mask = NDArray[np.uint8]


def blots(seed: int) -> Mask:
    rng = np.random.default_rng(seed)
    return (cv2.GaussianBlur(rng.normal(0, 1, (37, 52)), (0, 0), 1.0) > 0.1).astype(np.uint8)


def without_small(mask: Mask, value: int, connectivity: int, least: int) -> Mask:
    """Return what OpenCV's labelling makes of small patches."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats((mask == value).astype(np.uint8), connectivity=connectivity)
    small = stats[:, cv2.CC_STAT_AREA] < least
    small[0] = False
    return np.where(small[labels], 1 - value, mask).astype(np.uint8)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(("value", "reach", "connectivity"), [(1, 1, 8), (0, 0, 4)])
def test_small_patches_are_those_that_labelling_finds(seed: int, value: int, reach: int, connectivity: int) -> None:
    mask = blots(seed)
    want = without_small(mask, value, connectivity, 12)
    assert (want != mask).any(), "the picture has small patches"
    flip_small_components(mask, value, reach, 12.0)
    np.testing.assert_array_equal(mask, want)


@pytest.mark.parametrize("seed", range(5))
def test_every_patch_has_its_peak(seed: int) -> None:
    mask = blots(seed)
    height = np.random.default_rng(seed).random(mask.shape).astype(np.float32)
    count, labels = cv2.connectedComponents(mask, connectivity=8)
    want = {tuple(np.argwhere((labels == k) & (height == height[labels == k].max()))[0][::-1]) for k in range(1, count)}
    assert {tuple(p) for p in peaks(mask, height)} == want


def test_greys_are_counted() -> None:
    image = np.random.default_rng(1).integers(0, 256, (40, 50)).astype(np.uint8)
    np.testing.assert_array_equal(histogram(image), np.bincount(image.ravel(), minlength=256))


@pytest.mark.parametrize("kind", [np.float32, np.float64])
@pytest.mark.parametrize("count", [1, 2, 3, 4, 9, 100, 1001])
def test_medians_and_quantiles_are_numpys_to_the_last_bit(kind: type, count: int) -> None:
    values = np.random.default_rng(count).random(count).astype(kind)
    assert median(values) == np.median(values)
    for share in (0.2, 0.5, 0.7, 0.8):
        assert quantile(values, share) == np.quantile(values, share)


@pytest.mark.parametrize("char", ["t", "O", "n"])
def test_every_reading_passes_all_the_ink_but_specks_and_no_reading_comes_twice(char: str) -> None:
    turn = np.linspace(0, 2 * np.pi, 60)
    strokes = {
        "t": [np.array([[1.5, 0.0], [1.5, 5.0]]), np.array([[0.0, 1.5], [3.0, 1.5]])],
        "O": [np.stack([2 * np.sin(turn), -3 * np.cos(turn)], axis=1)],
        "n": [np.array([[0.0, 0.0], [0.0, 4.0], [0.0, 1.0], [1.0, 0.0], [2.0, 0.6], [2.2, 4.0]])],
    }[char]
    apart = build_state_graph_of(ink(strokes)[0], 300)
    assert apart is not None
    _, net, states = apart
    models = models_of(char, "right", ())
    found = candidates(path_scorer(net, states), find_matches(net, states, models), models)
    assert len({tuple(map(tuple, c.walks)) for c in found}) == len(found) > 3
    assert [c.cost for c in found] == sorted(c.cost for c in found)
    gaps = np.repeat(states.spacing, np.diff(states.first))
    for c in found:
        passed = np.isin(np.arange(len(gaps)), [s // 2 for w in c.walks for s in w])
        assert gaps[~passed].sum() < 2.5 * net.pen_px
