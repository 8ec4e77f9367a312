"""A small hand, read already: single-line letters (Hershey's, 1967, from PyPI's Hershey-Fonts) written unsteadily."""

from __future__ import annotations

import dataclasses
import io
from functools import cache
from pathlib import Path

import numpy as np
from HersheyFonts import HersheyFonts
from PIL import Image, ImageDraw

from capture.files import write_bytes
from capture.report import Finding
from capture.units import px_per_mm
from ownhand.hands.captures import InkPicture, PageCapture, save_capture
from ownhand.hands.hand import Hand, HandRecord, create_hand
from skeleton.attempt import Attempt
from skeleton.geometry.stroke import Stroke

X_HEIGHT = 3.5
PEN = 0.45
WIDTH = 9.0
DPI = 300


@cache
def _font() -> HersheyFonts:
    font = HersheyFonts()
    font.load_default_font("futural")
    return font


def letter(char: str) -> list[np.ndarray]:
    """Return the strokes of a letter in x-heights, y up, as the font writes them."""
    # In the font's units the baseline lies at 9 and the x-height at -5, y down.
    return [(np.array(s, float) * [1, -1] + [0, 9]) / 14 for s in _font().strokes_for_text(char)]


def unsteady(lines: list[np.ndarray], rng: np.random.Generator, *, scatter: float = 0.04) -> tuple[Stroke, ...]:
    """Return the strokes as somebody would write them once: in mm, evenly sampled, no two times alike."""
    shape = np.eye(2) + rng.normal(0, scatter, (2, 2))
    place = np.array([1.2, 0.0]) + rng.normal(0, 0.1, 2)
    low = min(float(line[:, 0].min()) for line in lines)
    out = []
    for line in lines:
        points = ((line - [low, 0]) @ shape.T) * X_HEIGHT + place
        along = np.concatenate([[0.0], np.hypot(*np.diff(points, axis=0).T).cumsum()])
        even = np.linspace(0, along[-1], max(2, round(float(along[-1]) / 0.12)))
        out.append(Stroke(np.column_stack([np.interp(even, along, points[:, i]) for i in (0, 1)]), PEN))
    return tuple(out)


def inked(strokes: tuple[Stroke, ...]) -> tuple[bytes, InkPicture]:
    """Return a PNG of the strokes drawn with a round pen, and how it lies on its cell."""
    k, left, top, low = px_per_mm(DPI), -1.0, 2.4 * X_HEIGHT, -1.2 * X_HEIGHT
    size = (round((WIDTH + 2) * k), round((top - low) * k))
    picture = Image.new("L", (4 * size[0], 4 * size[1]), 255)
    draw = ImageDraw.Draw(picture)
    for s in strokes:
        xy = [tuple(p) for p in ((s.points_mm - [left, top]) * [1, -1] * k * 4).tolist()]
        r = PEN * k * 2
        draw.line(xy, fill=30, width=round(2 * r), joint="curve")
        for x, y in (xy[0], xy[-1]):
            draw.ellipse((x - r, y - r, x + r, y + r), fill=30)
    out = io.BytesIO()
    picture.resize(size, Image.Resampling.LANCZOS).save(out, "PNG", optimize=True)
    return out.getvalue(), InkPicture("", k, left, top)


def attempt(char: str, number: int, row: int, strokes: tuple[Stroke, ...], **more: object) -> Attempt:
    fields = {
        "id": f"LAMP1/1/{row}.{number}",
        "char": char,
        "attempt": number,
        "status": "written",
        "strokes": strokes,
        "x_height_mm": X_HEIGHT,
        "ascender_mm": 2.0 * X_HEIGHT,
        "descender_mm": -X_HEIGHT,
        "width_mm": WIDTH,
        "pen_mm": PEN,
        "confidence": 0.95,
    }
    return Attempt(**{**fields, **more})  # type: ignore[arg-type]


def write_hand(folder: Path, chars: str = "aehilmnorstu", *, attempts: int = 4, faults: bool = True) -> Hand:
    """Return a hand with `attempts` attempts at each of `chars`, three of them with a planted fault.

    The second t has its bar turned round, the third a is a scribble, and where the second u was asked for, an n stands.
    """
    hand = create_hand(folder, HandRecord("Lamp Room", "A. Keeper", "my own hand, simulated", "the museum's cards"))
    rng = np.random.default_rng(7)
    found: list[Attempt] = []
    shapes: dict[str, tuple[Stroke, ...]] = {}
    for row, char in enumerate(chars, 1):
        for number in range(1, attempts + 1):
            a = attempt(char, number, row, unsteady(letter(char), rng))
            shapes[a.id] = a.strokes
            found.append(a)
    if faults:
        found = [_spoil(a, rng, shapes) for a in found]
    ink = {}
    for a in found:
        data, place = inked(shapes[a.id])
        name = f"ink/{a.id.split('/')[-1]}.png"
        write_bytes(hand.captures_folder / "LAMP1" / name, data)
        ink[a.id] = dataclasses.replace(place, file=name)
    save_capture(hand, PageCapture("LAMP1", 1, "page1.png", {"scale": 1.0}, tuple(found), ink))
    return hand


def _spoil(a: Attempt, rng: np.random.Generator, shapes: dict[str, tuple[Stroke, ...]]) -> Attempt:
    if (a.char, a.attempt) == ("t", 2):
        bar = a.strokes[-1].turned()
        return dataclasses.replace(a, strokes=(*a.strokes[:-1], bar), confidence=0.41)
    if (a.char, a.attempt) == ("a", 3):
        walk = np.cumsum(rng.normal(0, 0.9, (40, 2)), axis=0)
        scribble = Stroke((walk - walk.min(axis=0)) * 5 / np.ptp(walk) + [1, 0], PEN)
        shapes[a.id] = (scribble,)
        finding = Finding("touches a neighbour", char="a")
        return dataclasses.replace(a, strokes=(scribble,), findings=(finding,), confidence=0.3)
    if (a.char, a.attempt) == ("u", 2):
        wrong = unsteady(letter("n"), rng)
        shapes[a.id] = wrong
        return dataclasses.replace(a, strokes=wrong, confidence=0.38)
    return a
