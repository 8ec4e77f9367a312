"""The letterforms of the simulated writer, as the paths that its pen aims at.

Form notation: strokes are separated by `/`, in writing order; a stroke is a row of knots `x,y` in x-heights (origin on
the baseline, y up), each with an optional direction of travel `@degrees` (0: right, 90: up; `@in|out` where the two
differ) and an optional `!` for a corner. The upright forms are leaned by the writer. Between knots runs the curve of
Hobby (1986), *Smooth, easy to compute interpolating splines*, Discrete & Computational Geometry 1, 123-140.

The forms were drawn for this sample; accented letters are made from a letter and a mark.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from sample_sheets.writer.letters import CAPITALS, SMALL
from sample_sheets.writer.signs import DIGITS, MARKS, PUNCTUATION, SIGNS

Array = NDArray[np.float64]

FORMS: dict[str, list[str]] = {**SMALL, **CAPITALS, **DIGITS, **PUNCTUATION, **SIGNS}
BELOW = "\u0327\u0328\u0326\u0323"


@dataclass(frozen=True, eq=False)
class Path:
    """The knots of one stroke that the pen aims at, in the order of writing; x-heights, y up."""

    at: Array
    """Shape (n, 2)."""

    leaving: Array
    """Shape (n, 2): unit direction on leaving each knot; the last row repeats the last arrival."""

    arriving: Array
    """Shape (n, 2): unit direction on arriving at each knot; the first row repeats the first departure."""

    def moved(self, matrix: Array, by: Array) -> Path:
        """Return the path under a linear map and a shift."""

        def turn(v: Array) -> Array:
            w = v @ matrix.T
            return np.asarray(w / np.maximum(np.hypot(w[:, 0], w[:, 1])[:, None], 1e-12))

        return Path(self.at @ matrix.T + by, turn(self.leaving), turn(self.arriving))


@dataclass(frozen=True)
class Form:
    """One way of writing a character."""

    name: str
    """'1', '2', ...: which of the forms of the character (an allograph)."""

    paths: tuple[Path, ...]


def hobby_angles(at: Array, start: float | None, end: float | None) -> Array:
    """Return the directions (radians) at knots `at` (n, 2); ends without a given direction curl like arcs."""
    n = len(at)
    chord = np.diff(at, axis=0)
    length = np.maximum(np.hypot(chord[:, 0], chord[:, 1]), 1e-9)
    heading = np.arctan2(chord[:, 1], chord[:, 0])
    turn = np.r_[0.0, (np.diff(heading) + np.pi) % (2 * np.pi) - np.pi, 0.0]
    a, b = np.zeros((n, n)), np.zeros(n)  # theta[i]: direction at knot i relative to the chord that leaves it
    for i in range(1, n - 1):
        p, q = 1 / length[i - 1], 1 / length[i]
        a[i, i - 1], a[i, i], a[i, i + 1] = p, 2 * p + 2 * q, q
        b[i] = -2 * p * turn[i] - q * turn[i + 1]
    if start is None and end is None and n == 2:
        return np.asarray(np.r_[heading, heading[-1]])
    if start is None:
        a[0, 0], a[0, 1], b[0] = 1, 1, -turn[1]
    else:
        a[0, 0], b[0] = 1, (start - heading[0] + np.pi) % (2 * np.pi) - np.pi
    if end is None:
        a[-1, -1], a[-1, -2] = 1, 1
    else:
        a[-1, -1], b[-1] = 1, (end - heading[-1] + np.pi) % (2 * np.pi) - np.pi
    theta = np.linalg.solve(a, b)
    return np.asarray(np.r_[heading, heading[-1]] + theta)


def bezier(p: Array, q: Array, out: float, into: float) -> Array:
    """Return Hobby's cubic (4, 2) from `p` to `q` with the given directions."""
    d = q - p
    chord = np.arctan2(d[1], d[0])
    t, f = out - chord, chord - into
    st, sf, ct, cf = np.sin(t), np.sin(f), np.cos(t), np.cos(f)
    alpha = np.sqrt(2) * (st - sf / 16) * (sf - st / 16) * (ct - cf)
    c = (np.sqrt(5) - 1) / 2
    rho = (2 + alpha) / (1 + c * ct + (1 - c) * cf) / 3
    sigma = (2 - alpha) / (1 + c * cf + (1 - c) * ct) / 3
    length = float(np.hypot(*d))
    u = p + np.clip(rho, 0, 1.2) * length * np.array([np.cos(out), np.sin(out)])
    v = q - np.clip(sigma, 0, 1.2) * length * np.array([np.cos(into), np.sin(into)])
    return np.array([p, u, v, q])


def _halves(b: Array) -> tuple[Array, Array]:
    m = (b[:-1] + b[1:]) / 2
    k = (m[:-1] + m[1:]) / 2
    c = (k[0] + k[1]) / 2
    return np.array([b[0], m[0], k[0], c]), np.array([c, k[1], m[2], b[3]])


def _unit(v: Array) -> Array:
    return np.asarray(v / max(float(np.hypot(*v)), 1e-12))


def pieces(b: Array, depth: int = 2) -> list[Array]:
    """Return a cubic cut until a circular arc would do for each piece."""
    chord, first, last = _unit(b[3] - b[0]), b[1] - b[0], b[3] - b[2]
    if np.hypot(*first) < 1e-9 or np.hypot(*last) < 1e-9:
        return [b]

    def bend(u: Array, v: Array) -> float:
        return float(np.arctan2(u[0] * v[1] - u[1] * v[0], u @ v))

    one, two = bend(_unit(first), chord), bend(chord, _unit(last))
    if depth and (abs(one + two) > np.radians(105) or abs(one - two) > np.radians(28)):
        left, right = _halves(b)
        return pieces(left, depth - 1) + pieces(right, depth - 1)
    return [b]


def _knot(token: str) -> tuple[float, float, float | None, float | None, bool]:
    corner = token.endswith("!")
    place, _, way = token.rstrip("!").partition("@")
    x, y = (float(v) for v in place.split(","))
    into, _, out = way.partition("|")
    arriving = np.radians(float(into)) if into else None
    leaving = np.radians(float(out)) if out else (None if corner else arriving)
    return x, y, arriving, leaving, corner


def parse_path(text: str) -> Path:
    """Return the path for one stroke in the notation of the module's docstring.

    Examples
    --------
    >>> parse_path("0,1 0,0! .5,0").at.tolist()
    [[0.0, 1.0], [0.0, 0.0], [0.5, 0.0]]
    """
    knots = [_knot(t) for t in text.split()]
    at = np.array([k[:2] for k in knots])
    cubics: list[Array] = []
    begin = 0
    for i in range(1, len(knots)):
        if knots[i][2] is None and not knots[i][4] and i < len(knots) - 1:
            continue
        run = at[begin : i + 1]
        angles = hobby_angles(run, knots[begin][3], knots[i][2])
        for j in range(len(run) - 1):
            cubics += pieces(bezier(run[j], run[j + 1], angles[j], angles[j + 1]))
        begin = i
    points = np.array([c[0] for c in cubics] + [cubics[-1][3]])
    out = [_unit(c[1] - c[0]) if np.hypot(*(c[1] - c[0])) > 1e-9 else _unit(c[3] - c[0]) for c in cubics]
    into = [_unit(c[3] - c[2]) if np.hypot(*(c[3] - c[2])) > 1e-9 else _unit(c[3] - c[0]) for c in cubics]
    return Path(points, np.array([*out, into[-1]]), np.array([out[0], *into]))


def _accented(base: str, marks: str) -> list[list[str]]:
    """Return the forms of a letter with its marks as texts of strokes, marks written last."""
    forms = []
    for text in FORMS[base]:
        strokes = [s.strip() for s in text.split("/")]
        if base in "ij" and not all(m in BELOW for m in marks):
            strokes = strokes[:1]
        body = np.vstack([parse_path(s).at for s in strokes])
        level, top = 0.0, float(body[:, 1].max())
        above = max(1.26, top + 0.13)
        near = body[body[:, 1] > top - 0.45]
        middle = float(near[:, 0].min() + near[:, 0].max()) / 2 + (0.02 if base.isupper() else 0.0)
        for mark in marks:
            under = mark in BELOW
            x, y = (middle, above + level) if not under else (float(body[:, 0].mean()), 0.0)
            if mark == "\u0328":
                x = float(body[body[:, 1] < 0.2][:, 0].max()) - (0.08 if base in "aeu" else 0.04)
                y = float(body[body[:, 0] > x - 0.1][:, 1].min())
            level += 0.0 if under else 0.34
            strokes += [_shifted(s, x, y) for s in MARKS[mark].split("/")]
        forms.append(strokes)
    return forms


def _shifted(stroke: str, x: float, y: float) -> str:
    out = []
    for token in stroke.split():
        cut = min((i for i, c in enumerate(token) if c in "@!"), default=len(token))
        px, py = (float(v) for v in token[:cut].split(","))
        out.append(f"{px + x:.4f},{py + y:.4f}{token[cut:]}")
    return " ".join(out)


@cache
def forms_of(char: str) -> tuple[Form, ...]:
    """Return the ways in which the writer writes `char`.

    Raises
    ------
    KeyError
        If the writer never learnt the character.
    """
    if char in FORMS:
        texts = [[s.strip() for s in text.split("/")] for text in FORMS[char]]
    else:
        base, *marks = list(unicodedata.normalize("NFD", char))
        if base not in FORMS or any(m not in MARKS for m in marks) or not marks:
            raise KeyError(char)
        texts = _accented(base, "".join(marks))
    return tuple(Form(str(i + 1), tuple(parse_path(s) for s in strokes)) for i, strokes in enumerate(texts))


def knows(char: str) -> bool:
    """Return True if the writer can write `char`."""
    try:
        forms_of(char)
    except KeyError:
        return False
    return True
