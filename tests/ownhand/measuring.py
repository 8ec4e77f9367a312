"""How much composed writing varies, measured on its pages alone.

The definitions follow those by which two writers of UNIPEN train_r01_v07 were measured (Guyon, Schomaker, Plamondon,
Liberman and Janet, ICPR 1994): lengths in x-heights; class means taken off the foot and out of height and width; slant
and gaps as they are; within a line, and the means of lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ownhand.composer.plot.plot_page import PlotPage, flatten


@dataclass(frozen=True)
class Measured:
    slope_mean_deg: float
    slope_sd_deg: float
    foot_sd: float
    foot_lag1: float
    foot_lag4: float
    level_sd: float
    height_sd: float
    height_of_lines_sd: float
    width_sd: float
    width_of_lines_sd: float
    slant_sd_deg: float
    slant_of_lines_sd_deg: float
    gap_mean: float
    gap_sd: float
    word_gap_mean: float
    word_gap_sd: float


@dataclass(frozen=True, eq=False)
class Letters:
    """One row a letter, in writing order; mm, y up from the top edge of the page (so negative)."""

    page: np.ndarray
    line: np.ndarray
    word: np.ndarray
    char: np.ndarray
    left: np.ndarray
    right: np.ndarray
    foot: np.ndarray
    top: np.ndarray
    lean_deg: np.ndarray


def letters_of(pages: Sequence[PlotPage]) -> Letters:
    """Return all letters of pages that were composed without joins."""
    rows: list[tuple] = []
    for number, page in enumerate(pages):
        points, starts = flatten(page.points_mm, page.starts, within_mm=0.01)
        if not len(points):
            continue
        letter = np.repeat(page.letter, np.diff(starts))
        path = np.repeat(np.arange(len(page)), np.diff(starts))
        begins = np.flatnonzero(np.diff(letter, prepend=-1))
        of_path = path[begins]
        chars = [page.chars[n] for n in page.letter[of_path]]
        named = ([number] * len(begins), page.line[of_path], page.word[of_path], chars)
        rows += zip(*named, *_seen(points * [1, -1], path, begins), strict=True)
    return in_columns(rows)


def seen(p: np.ndarray, path: np.ndarray) -> tuple[float, ...]:
    """Return left, foot, right, top and lean of a letter's points (y up), each belonging to a path."""
    return tuple(float(column[0]) for column in _seen(p, path, np.zeros(1, np.int64)))


def _seen(p: np.ndarray, path: np.ndarray, begins: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return what `seen` does of letters that follow each other, a column each; begins: the first point of each."""
    low, high = np.minimum.reduceat(p, begins), np.maximum.reduceat(p, begins)
    return *low.T, *high.T, _leans(p, path, begins, high[:, 1] - low[:, 1])


def in_columns(rows: Sequence[tuple]) -> Letters:
    """Return rows of page, line, word, character and what `seen` returns as letters."""
    numbers, line, word, char, left, foot, right, top, lean = (np.array(c) for c in zip(*rows, strict=True))
    return Letters(numbers, line, word, char, left, right, foot, top, lean)


def _leans(p: np.ndarray, path: np.ndarray, begins: np.ndarray, height: np.ndarray) -> np.ndarray:
    within = np.diff(path) == 0
    letter = np.repeat(np.arange(len(begins)), np.diff([*begins, len(p)]))[1:][within]
    d = np.diff(p, axis=0)[within]
    d = d * np.where(d[:, 1:] < 0, -1.0, 1.0)
    length, angle = np.hypot(*d.T), np.degrees(np.arctan2(d[:, 0], np.maximum(d[:, 1], 1e-9)))
    length[np.abs(angle) >= 40] = 0.0
    upright = np.bincount(letter, length, len(begins))
    mean = np.bincount(letter, length * angle, len(begins)) / np.where(upright > 0, upright, 1.0)
    return np.where(upright > 0.3 * height, mean, np.nan)


def measured(
    pages: Sequence[PlotPage], *, x_height_mm: float, pitch_mm: float, offset_mm: float, stands: str, stems: str
) -> Measured:
    """Return the figures of ruled pages whose printed lines lie at `offset_mm` plus whole pitches.

    `stands`: characters that stand on the line; `stems`: those with upright stems. Only letters count.
    """
    return measured_letters(
        letters_of(pages), x_height_mm=x_height_mm, pitch_mm=pitch_mm, offset_mm=offset_mm, stands=stands, stems=stems
    )


def measured_letters(
    found: Letters, *, x_height_mm: float, pitch_mm: float, offset_mm: float, stands: str, stems: str
) -> Measured:
    """Return the figures of letters wherever they come from; see `measured`."""
    x = x_height_mm
    line_key = found.page * 1000 + found.line
    is_letter = np.array([str(c).isalpha() for c in found.char])
    standing = is_letter & np.isin(found.char, list(stands))
    feet, slopes, levels, lag1, lag4 = [], [], [], [], []
    foot = found.foot.copy()
    over = foot - _ruled(found, offset_mm, pitch_mm)
    classes = _class_mean(found.char, standing, over)
    for key in np.unique(line_key):
        at = np.flatnonzero((line_key == key) & standing)
        if len(at) < 12:
            continue
        middle = (found.left[at] + found.right[at]) / 2
        height = over[at] - classes[at]
        slope, level = np.polyfit(middle, height, 1)
        rest = height - slope * middle - level
        feet.append(rest / x)
        slopes.append(np.degrees(np.arctan(slope)))
        levels.append(height.mean() / x)
        lag1 += list(pairwise(rest))
        lag4 += list(zip(rest[:-4], rest[4:], strict=True))
    tall = np.log(np.maximum(found.top - found.foot, 0.05 * x) / x)
    wide = np.log(np.maximum(found.right - found.left, 0.05 * x) / x)
    height_sd, height_lines = _within_and_between(tall, found.char, line_key, is_letter)
    width_sd, width_lines = _within_and_between(
        wide, found.char, line_key, is_letter & ~np.isin(found.char, list("ilIj"))
    )
    upright = np.isin(found.char, list(stems)) & ~np.isnan(found.lean_deg)
    slant_sd, slant_lines = _within_and_between(found.lean_deg, None, line_key, upright)
    gap = (found.left[1:] - found.right[:-1]) / x
    one_line = line_key[1:] == line_key[:-1]
    both = is_letter[1:] & is_letter[:-1] & one_line
    inside = both & (found.word[1:] == found.word[:-1])
    between = both & (found.word[1:] != found.word[:-1])
    return Measured(
        float(np.mean(slopes)), float(np.std(slopes)), float(np.concatenate(feet).std()), _correlation(lag1),
        _correlation(lag4), float(np.std(levels)), height_sd, height_lines, width_sd, width_lines, slant_sd,
        slant_lines,
        float(gap[inside].mean()), float(gap[inside].std()), float(gap[between].mean()), float(gap[between].std()),
    )  # fmt: skip


def _ruled(found: Letters, offset_mm: float, pitch_mm: float) -> np.ndarray:
    """Return the y (up) of the ruled line each letter stands on: that nearest to the median foot of its line."""
    key = found.page * 1000 + found.line
    out = np.zeros(len(key))
    for k in np.unique(key):
        at = key == k
        n = np.round((-np.median(found.foot[at]) - offset_mm) / pitch_mm)
        out[at] = -(offset_mm + n * pitch_mm)
    return out


def _class_mean(char: np.ndarray, use: np.ndarray, value: np.ndarray) -> np.ndarray:
    out = np.zeros(len(value))
    for c in np.unique(char):
        at = char == c
        if (at & use).any():
            out[at] = value[at & use].mean()
    return out


def _within_and_between(
    value: np.ndarray, char: np.ndarray | None, line: np.ndarray, use: np.ndarray
) -> tuple[float, float]:
    if char is not None:
        value = value - _class_mean(char, use, value)
    within, means = [], []
    for key in np.unique(line):
        own = value[(line == key) & use]
        if len(own) >= 10:
            within.append(own - own.mean())
            means.append(own.mean())
    return float(np.concatenate(within).std()), float(np.std(means))


def _correlation(pairs: list[tuple[float, float]]) -> float:
    a, b = np.array(pairs).T
    return float(np.corrcoef(a, b)[0, 1])


@dataclass(frozen=True)
class Returns:
    """Of pairs of the same character within sight: how many are the same shape."""

    pairs: int
    same: int
    """... up to their place."""

    same_but_for_pose: int
    """... up to their place, height, width and slant."""


def returns(
    pages: Sequence[PlotPage], *, within_lines: int = 3, x_height_mm: float, tolerance: float = 0.005
) -> Returns:
    """Count shapes that come back within some lines, on pages composed without joins.

    Two letters are the same when their control points lie within `tolerance` x-heights of each other (root mean
    square), after their places, or also height, width and slant, were made alike. Dots (smaller than a third of the
    x-height) and straight lines (of less than 8 control points) cannot be told apart by shape and are left out.
    """
    pairs = same = posed = 0
    for page in pages:
        bounds = np.flatnonzero(np.diff(page.letter, prepend=-1, append=-1))
        kinds: dict[tuple, list[tuple[int, np.ndarray]]] = {}
        for a, b in pairwise(bounds):
            points = page.points_mm[page.starts[a] : page.starts[b]]
            sizes = tuple(np.diff(page.starts[a : b + 1]))
            if len(points) >= 8 and np.ptp(points, axis=0).max() > x_height_mm / 3:
                kinds.setdefault((page.chars[page.letter[a]], sizes), []).append((int(page.line[a]), points))
        for group in kinds.values():
            line = np.array([n for n, _ in group])
            shape = np.stack([p - p.mean(0) for _, p in group]) / x_height_mm
            i, j = np.triu_indices(len(group), 1)
            near = np.abs(line[i] - line[j]) <= within_lines
            i, j = i[near], j[near]
            pairs += len(i)
            same += int((np.sqrt(((shape[i] - shape[j]) ** 2).sum(2).mean(1)) < tolerance).sum())
            a, b = shape[i], shape[j]
            normal = np.einsum("npi,npj->nij", a, a) + 1e-12 * np.eye(2)
            best = np.linalg.solve(normal, np.einsum("npi,npj->nij", a, b))
            posed += int((np.sqrt(((a @ best - b) ** 2).sum(2).mean(1)) < tolerance).sum())
    return Returns(pairs, same, posed)
