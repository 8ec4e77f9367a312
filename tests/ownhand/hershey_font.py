"""A stroke font to compose with, made from PyPI's Hershey-Fonts and warped into several variants of each letter.

The warp is smooth and the same for a whole letter: scale, shear, a bend and slow waves. It stands for attempts of one
writer; `scatter` multiplies it.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from HersheyFonts import HersheyFonts

from fontbuild.font import Font, Metrics, Record
from fontbuild.glyph import Glyph

TEXT = "".join(map(chr, range(33, 127)))
CAP_HEIGHT, X_HEIGHT = 700.0, 467.0


def _cubics(points: np.ndarray) -> np.ndarray:
    """Return a Catmull-Rom spline through points as cubic control points, shape (3 k + 1, 2)."""
    if len(points) < 2:
        return points[:1]
    ends = np.vstack([2 * points[0] - points[1], points, 2 * points[-1] - points[-2]])
    slope = (ends[2:] - ends[:-2]) / 6
    out = [points[:1]]
    for i in range(len(points) - 1):
        out.append(np.stack([points[i] + slope[i], points[i + 1] - slope[i + 1], points[i + 1]]))
    return np.vstack(out)


@lru_cache(maxsize=8)
def hershey_font(face: str = "futural", variants: int = 5, scatter: float = 1.0, seed: int = 1) -> Font:
    """Return the printable ASCII characters of a Hershey face as a stroke font; x-height 3 mm when drawn as written.

    The letters of 'scripts' join: they stand so that each ends where the next begins.
    """
    hershey = HersheyFonts()
    hershey.load_default_font(face)
    rng = np.random.default_rng(seed)
    bearing = 0.0 if face == "scripts" else 60.0
    scale = CAP_HEIGHT / 21.0
    glyphs: dict[str, tuple[Glyph, ...]] = {" ": (Glyph("space", " ", (), advance=0.75 * X_HEIGHT),)}
    for char in TEXT:
        strokes = [np.array(s, float) for s in hershey.strokes_for_text(char)]
        if not strokes:
            continue
        strokes = [np.column_stack([s[:, 0], 9 - s[:, 1]]) * scale for s in strokes]
        left = min(s[:, 0].min() for s in strokes)
        width = max(s[:, 0].max() for s in strokes) - left
        made = []
        for v in range(variants):
            wide, tall = 1 + scatter * 0.08 * rng.standard_normal(2)
            lean, bend = scatter * np.array([0.05, 0.06]) * rng.standard_normal(2)
            waves = scatter * 0.03 * X_HEIGHT * rng.standard_normal((2, 3))
            dy = scatter * 0.04 * X_HEIGHT * rng.standard_normal()
            warped = []
            for s in strokes:
                x, y = (s[:, 0] - left) * wide, s[:, 1] * tall
                x = x + lean * y + bend * y * (1 - y / CAP_HEIGHT) + bearing
                u, w = x / CAP_HEIGHT, y / CAP_HEIGHT
                sway = np.stack([np.sin(3 * u + 4 * w), np.cos(5 * w), np.sin(4 * u)])
                warped.append(np.column_stack([x + waves[0] @ sway, y + dy + waves[1] @ sway]))
            name = f"u{ord(char):04X}" + (f".v{v + 1}" if v else "")
            made.append(
                Glyph(
                    name, char, tuple(_cubics(s) for s in warped), width * wide + 2 * bearing, ductus=f"{ord(char)}/1"
                )
            )
        glyphs[char] = tuple(made)
    metrics = Metrics(X_HEIGHT, CAP_HEIGHT, CAP_HEIGHT, -233.0, 0.0, 60.0)
    return Font(Record("Lamp Room"), metrics, 3.0 / X_HEIGHT, glyphs)
