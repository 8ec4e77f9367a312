"""Ink of other tools than a pen that covers evenly: pencils, felt pens, pens that skip (`tests.bench.trace_media`)."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

import skeleton
from skeleton.fitting import reconstruction_check
from skeleton.graph.ink_graph import build_graph
from skeleton.graph.pruning import cut_necks
from skeleton.ink import grain, ink_map, scaled_darkness
from skeleton.ink.ink_map import find_ink, find_ink_of_words
from skeleton.words import word_reading
from tests.bench.trace_ink import ink
from tests.bench.trace_score import gap, spread
from tests.bench.words import script_words, way

ARCH = np.stack([np.linspace(0, 6, 60), 3 - 3 * np.sin(np.linspace(0, np.pi, 60))], axis=1)
SEEDS = range(12)


def pieces(kind: str, dpi: float, seed: int, pen_mm: float = 0.5) -> int:
    """Return in how many pieces the mask of an arch's ink is."""
    found = find_ink(ink([ARCH], dpi=dpi, pen_mm=pen_mm, kind=kind, seed=seed)[0], dpi)
    assert found is not None
    return cv2.connectedComponents(found.mask, connectivity=8)[0] - 1


def pencils(kind: str, dpi: float, monkeypatch: pytest.MonkeyPatch) -> int:
    """Return how often of twelve times an arch's ink is taken for a pencil's."""
    told = []

    def recorded(darkness: grain.Field, soft: grain.Field, pen: float) -> grain.FaintInk:
        told.append(grain.find_faint_ink(darkness, soft, pen))
        return told[-1]

    monkeypatch.setattr(ink_map, "find_faint_ink", recorded)
    count = 0
    for seed in SEEDS:
        told.clear()
        find_ink(ink([ARCH], dpi=dpi, kind=kind, seed=seed)[0], dpi)
        count += told[0].pencil
    return count


@pytest.mark.parametrize("dpi", [300.0, 600.0])
def test_a_pencil_is_told_from_pens(dpi: float, monkeypatch: pytest.MonkeyPatch) -> None:
    assert pencils("pencil", dpi, monkeypatch) >= 10
    for kind in ("clean", "noisy", "felt"):
        assert pencils(kind, dpi, monkeypatch) == 0, kind
    assert pencils("skipping", dpi, monkeypatch) <= 4


def test_words_in_pencil_are_not_parted_where_they_are_pale(monkeypatch: pytest.MonkeyPatch) -> None:
    some = list(script_words())[:6]

    def passed(as_if_even: bool) -> float:
        def found(grey: scaled_darkness.Grey, dpi: float) -> ink_map.InkMap | None:
            seen = find_ink_of_words(grey, dpi)
            return replace(seen, uneven=False) if seen and as_if_even else seen

        monkeypatch.setattr(word_reading, "find_ink_of_words", found)
        shares = []
        for seed, word in enumerate(some):
            grey, offset = ink(word.strokes, dpi=600, kind="pencil", seed=seed)
            strokes = skeleton.read_word(grey, 600, word.text).strokes
            shares.append(way([s.points_mm for s in strokes], [s + offset for s in word.strokes]))
        return float(np.mean(shares))

    even, uneven = passed(as_if_even=True), passed(as_if_even=False)
    assert uneven > even + 0.03


@pytest.mark.parametrize(("kind", "dpi", "most"), [("pencil", 300.0, 1), ("pencil", 600.0, 5), ("skipping", 300.0, 0)])
def test_a_line_that_the_paper_took_in_part_is_one_piece(kind: str, dpi: float, most: int) -> None:
    assert sum(pieces(kind, dpi, seed) - 1 for seed in SEEDS) <= most


def test_a_pencils_line_breaks_where_pale_places_count_as_paper(monkeypatch: pytest.MonkeyPatch) -> None:
    assert sum(pieces("pencil", 300, seed, 0.3) for seed in SEEDS) == len(SEEDS)
    monkeypatch.setattr(grain, "FAINT", 0.5)
    assert sum(pieces("pencil", 300, seed, 0.3) for seed in SEEDS) > len(SEEDS)


def test_the_width_of_a_pencils_line_is_not_that_of_its_grain(monkeypatch: pytest.MonkeyPatch) -> None:
    def width(seed: int) -> float:
        found = find_ink(ink([ARCH], dpi=600, pen_mm=0.5, kind="pencil", seed=seed)[0], 600)
        assert found is not None
        return found.pen_px / found.px_per_mm

    now = np.mean([width(seed) for seed in SEEDS])
    assert 0.33 < now < 0.55  # its edges are pale
    monkeypatch.setattr(scaled_darkness, "GRAIN_MM", 0.0)
    assert np.mean([width(seed) for seed in SEEDS]) < now - 0.015


@pytest.mark.parametrize(("kind", "pen_mm", "least"), [("pencil", 0.5, 9), ("felt", 0.5, 11), ("felt", 1.0, 11)])
def test_a_line_of_pencil_or_felt_pen_is_read_as_it_was_drawn(kind: str, pen_mm: float, least: int) -> None:
    right = 0
    for seed in SEEDS:
        grey, offset = ink([ARCH], dpi=300, pen_mm=pen_mm, kind=kind, seed=seed)
        strokes = skeleton.trace(grey, 300)
        ahead, back = (spread(way + offset) for way in (ARCH, ARCH[::-1]))
        right += len(strokes) == 1 and min(gap(spread(strokes[0].points_mm), w) for w in (ahead, back)) < 0.2
    assert right >= least


def test_a_felt_pens_second_pass_is_darker_and_a_pencil_leaves_paper_bare() -> None:
    cross = [np.array([[0.0, 3.0], [6.0, 3.0]]), np.array([[3.0, 0.0], [3.0, 6.0]])]
    felt, offset = ink(cross, dpi=300, pen_mm=1.0, kind="felt", seed=1)
    x, y = np.round((np.array([3.0, 3.0]) + offset) * 300 / 25.4).astype(int)
    arm = round(1.5 * 300 / 25.4)
    assert felt[y - 2 : y + 3, x - 2 : x + 3].mean() < felt[y - 2 : y + 3, x + arm - 2 : x + arm + 3].mean() - 20

    pencil, _ = ink(cross, dpi=600, pen_mm=0.5, kind="pencil", seed=1)
    even, _ = ink(cross, dpi=600, pen_mm=0.5, kind="clean", seed=1)
    on_line = even < 100
    assert 0.05 < (pencil[on_line] > 180).mean() < 0.6


@pytest.mark.parametrize("kind", ["skipping", "pencil"])
def test_a_line_that_is_pale_in_places_is_not_parted_where_it_is_narrow(kind: str) -> None:
    parts, as_if_even = 0, 0
    for seed in range(24):
        found = find_ink(ink([ARCH], dpi=600, kind=kind, seed=seed)[0], 600)
        assert found is not None
        graph = build_graph(found)
        parts += len(cut_necks(graph, found).edges) - len(graph.edges)
        as_if_even += len(cut_necks(graph, replace(found, uneven=False)).edges) - len(graph.edges)
    assert parts == 0
    assert as_if_even > 0


def test_a_pencils_broad_places_are_no_filled_counters(monkeypatch: pytest.MonkeyPatch) -> None:
    turn = np.linspace(-0.3, 2 * np.pi - 0.4, 60)
    ring = np.stack([1.3 * np.cos(turn), 1.7 * np.sin(turn)], axis=1)
    stem = np.array([[1.3, -1.7], [1.3, 1.9]])

    def filled() -> int:
        readings = [skeleton.read_character(ink([ring, stem], kind="pencil", seed=s)[0], 300, "a") for s in range(24)]
        return sum(any(f.kind == "filled counter" for f in r.findings) for r in readings)

    assert filled() <= 1
    monkeypatch.setattr(reconstruction_check, "BLOT_IN_UNEVEN_INK", reconstruction_check.BLOT_HALF_WIDTH_PEN_WIDTHS)
    assert filled() > 3
