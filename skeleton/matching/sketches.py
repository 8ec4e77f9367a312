"""How the character in this picture was probably written: forms that a network sketches, beside the table's.

The table has the ways in which many people write a character. This one may have been written otherwise, and the picture
shows it: a loop, a stem gone back over, a part left out. A small convolutional network looks at the picture of a told
character and gives several guesses at its strokes, in their order and directions, each with a probability. It is a
mixture density network (Bishop 1994), trained on people's pen strokes (`tests.bench trace_sketches`). A guess need not
lie on the ink: it is laid over the ink and followed like any form.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

import cv2
import numpy as np

from capture.blas import limited_threads
from skeleton.ink.ink_map import InkMap
from skeleton.matching.template_matching import Model
from skeleton.small_networks import Convolutions, Single, convolutions_of, load_arrays, several, shares

PICTURE_PX, BOX_PX = 48, 40
"""Side of the picture, and of the square in it that the ink fills."""

SKETCHES, MOST_STROKES, POINTS = 8, 4, 20
"""Guesses, strokes that a guess may have, points of a stroke."""

STRIDES = (2, 2, 1, 2)

LEAST_PROBABILITY = 0.02
"""Of a guess that is taken up."""

NAME = "sketches.npz"


@dataclass(frozen=True, eq=False)
class SketchNetwork:
    """Four convolutions, and three layers of a perceptron whose offsets each character has its own."""

    row: Mapping[str, int]
    """Which row of the arrays by character is a character's."""

    convolutions: Convolutions
    weights: tuple[Single, ...]
    """Each of shape (before, after)."""

    offsets: tuple[Single, ...]
    of_character: tuple[Single, ...]
    """Each of shape (characters, after): added to what the layer sums."""


def suggested_forms(char: str, ink: InkMap) -> list[Model]:
    """Return the forms that the picture of a character suggests, priors that sum to one; none for an unknown one."""
    return sketched(trained(), char, picture_of(ink))


def knows(char: str) -> bool:
    """Tell whether the network has seen how people write a character."""
    return char in trained().row


def picture_of(ink: InkMap) -> Single:
    """Return the darkness of the ink in the middle of a square, shape (PICTURE_PX, PICTURE_PX), 0..1."""
    x, y, w, h = cv2.boundingRect(ink.mask)
    k = BOX_PX / max(w, h)
    dark = ink.darkness
    if k < 1:
        # a pixel of the small picture is a mean of those that it covers
        dark = np.asarray(cv2.GaussianBlur(dark, (0, 0), 0.35 * float(np.sqrt(1 / k**2 - 1)) + 0.05), np.float32)
    middle = (PICTURE_PX - 1) / 2
    to = np.array([[k, 0, middle - k * (x + (w - 1) / 2)], [0, k, middle - k * (y + (h - 1) / 2)]])
    return np.asarray(cv2.warpAffine(dark, to, (PICTURE_PX, PICTURE_PX)), np.float32)


def sketched(network: SketchNetwork, char: str, picture: Single) -> list[Model]:
    """Return the guesses at a character's strokes, y down, the likeliest first; none for an unknown character."""
    row = network.row.get(char)
    if row is None:
        return []
    with limited_threads():
        y = network.convolutions.seen(picture[None, None])[0]
        for i, (weights, offsets, own) in enumerate(
            zip(network.weights, network.offsets, network.of_character, strict=True)
        ):
            y = y @ weights + offsets + own[row]
            if i + 1 < len(network.weights):
                y = np.maximum(y, 0)
    told = y.reshape(SKETCHES, -1)
    places = told[:, : MOST_STROKES * POINTS * 2].reshape(SKETCHES, MOST_STROKES, POINTS, 2).astype(float)
    probability = shares(told[:, -1:].T)[0]
    counts = shares(told[:, -MOST_STROKES - 1 : -1])
    out: list[Model] = []
    for k in np.argsort(-probability, kind="stable").tolist():
        n = int(counts[k].argmax()) + 1
        p = float(probability[k])
        if p >= LEAST_PROBABILITY:
            strokes = tuple(np.ascontiguousarray(s) for s in places[k, :n])
            out.append(Model(f"sketch {len(out) + 1}", strokes, p, guessed=True))
    return out


@lru_cache(maxsize=1)
def trained() -> SketchNetwork:
    """Return the network as it was trained."""
    return network_of(files("skeleton.matching") / NAME)


def network_of(file: Path | Traversable) -> SketchNetwork:
    """Return the network kept in a file, as `tests.bench trace_sketches` writes it."""
    arrays, chars = load_arrays(file)
    return SketchNetwork(
        {c: i + 1 for i, c in enumerate(chars)},
        convolutions_of(arrays, STRIDES),
        weights=several(arrays, "weights", 3),
        offsets=several(arrays, "offsets", 3),
        of_character=several(arrays, "of_character", 3),
    )
