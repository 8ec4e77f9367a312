"""The centre-line graph for other programs, checked against skan's reading of the same figures.

skan (Nunez-Iglesias et al. 2018) takes the pixels of `skimage.skeletonize` as they are: spurs and all, two forks where
lines cross. Drawn without noise by clean right angles, simple figures have neither.
"""

from __future__ import annotations

import numpy as np
import pytest
import skan
from skimage.filters import threshold_otsu
from skimage.measure import label
from skimage.morphology import skeletonize

import skeleton
from capture.units import Points
from tests.bench.trace_ink import ink

DPI = 300.0
PX_PER_MM = DPI / 25.4
PEN_MM = 0.5


def line(*points: tuple[float, float]) -> Points:
    return np.array(points, float)


def ring(r: float) -> Points:
    t = np.linspace(0, 2 * np.pi, 120)
    return np.stack([r * np.cos(t), r * np.sin(t)], axis=1)


FIGURES = {
    "line": [line((0, 0), (6, 0))],
    "corner": [line((0, 0), (0, 6), (5, 6))],
    "tee": [line((0, 0), (6, 0)), line((3, 0), (3, 5))],
    "cross": [line((0, 3), (6, 3)), line((3, 0), (3, 6))],
    "fork": [line((3, 6), (3, 3)), line((3, 3), (0.5, 0)), line((3, 3), (5.5, 0))],
    "two lines": [line((0, 0), (5, 0)), line((0, 2), (5, 2))],
}


def by_skan(grey: np.ndarray) -> tuple[Points, float, int]:
    """Return the tips (n, 2) mm, the length of all branches, mm, and the number of connected figures."""
    thin = skeletonize(grey <= threshold_otsu(grey))
    found = skan.Skeleton(thin)
    tips = found.coordinates[found.degrees == 1][:, ::-1]
    return (
        (tips + 0.5) / PX_PER_MM,
        float(found.path_lengths().sum()) / PX_PER_MM,
        int(label(thin, connectivity=2).max()),
    )


@pytest.mark.parametrize("name", FIGURES)
def test_tips_lengths_and_parts_of_simple_figures_are_skans(name: str) -> None:
    grey, _ = ink(FIGURES[name], kind="clean")
    graph = skeleton.centre_line_graph(grey, DPI)
    tips, length, parts = by_skan(grey)
    ours = np.array([d["place_mm"] for _, d in graph.nodes(data=True) if d["kind"] == "tip"])

    assert len(ours) == len(tips)
    assert all(np.hypot(*(ours - t).T).min() < PEN_MM for t in tips)
    assert sum(d["length_mm"] for *_, d in graph.edges(data=True)) == pytest.approx(length, abs=0.6 * PEN_MM)
    assert len({frozenset(_reached(graph, n)) for n in graph}) == parts


def _reached(graph: object, start: int) -> set[int]:
    seen, left = {start}, [start]
    while left:
        for n in graph.neighbors(left.pop()):  # type: ignore[attr-defined]
            if n not in seen:
                seen.add(n)
                left.append(n)
    return seen


@pytest.mark.parametrize(("name", "degree"), [("tee", 3), ("cross", 4), ("fork", 3)])
def test_lines_meet_in_one_junction(name: str, degree: int) -> None:
    grey, offset = ink(FIGURES[name])
    graph = skeleton.centre_line_graph(grey, DPI)
    (junction,) = [n for n, kind in graph.nodes(data="kind") if kind == "junction"]
    where = {"tee": (3, 0), "cross": (3, 3), "fork": (3, 3)}[name]

    assert graph.degree[junction] == degree
    assert np.hypot(*(graph.nodes[junction]["place_mm"] - offset - where)) < 0.5 * PEN_MM


def test_edges_run_from_place_to_place_and_know_the_pens_width() -> None:
    graph = skeleton.centre_line_graph(ink(FIGURES["cross"], kind="clean")[0], DPI)
    for a, b, edge in graph.edges(data=True):
        first, last = sorted((a, b))

        assert np.array_equal(edge["line_mm"][0], graph.nodes[first]["place_mm"])
        assert np.array_equal(edge["line_mm"][-1], graph.nodes[last]["place_mm"])
        assert edge["widths_mm"].shape == (len(edge["line_mm"]),)
        assert edge["width_mm"] == pytest.approx(PEN_MM, abs=0.1)
        assert not edge["bridged"]


def test_a_ring_is_a_loop_and_a_dot_is_a_place() -> None:
    graph = skeleton.centre_line_graph(ink([ring(2.0), line((4, 0), (4.05, 0))])[0], DPI)
    kinds = sorted(kind for _, kind in graph.nodes(data="kind"))
    ((a, b, edge),) = graph.edges(data=True)

    assert kinds == ["dot", "ring"]
    assert a == b
    assert edge["length_mm"] == pytest.approx(4 * np.pi, rel=0.02)


def test_blank_paper_has_no_nodes_and_what_is_no_picture_is_refused() -> None:
    assert len(skeleton.centre_line_graph(np.full((50, 50), 250, np.uint8), DPI)) == 0
    with pytest.raises(ValueError, match="uint8"):
        skeleton.centre_line_graph(np.zeros((5, 5)), DPI)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="dpi"):
        skeleton.centre_line_graph(np.zeros((5, 5), np.uint8), 0)
