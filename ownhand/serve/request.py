"""What a request to the back end asks for, checked before any work is done."""

from __future__ import annotations

import unicodedata
from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import regex

from capture import plain_json
from capture.errors import OwnhandError
from capture.units import MM_PER_INCH
from ownhand.composer.formats import FORMATS
from ownhand.composer.plot.machine import Machine, machine_from
from ownhand.composer.settings.settings import MOST_BOXES, Settings
from ownhand.composer.settings.settings_data import settings_from

MOST_SEED = 2**63 - 1


MADE = 1000.0
"""What putting together a letter costs that the hand lacks, with all its shapes, in characters set."""


@dataclass(frozen=True)
class Limits:
    """What one request may cost."""

    body_bytes: int = 500_000
    text_characters: int = 20_000
    boxes: int = MOST_BOXES
    picture_pixels: int = 40_000_000
    seconds: float = 30.0
    """From a request's arrival to its end, waiting included; then its work is ended."""

    sending_s: float = 10.0
    """In which a request must have come whole."""

    waiting: int = 256
    """Requests in the queue; further ones are told to come back."""

    waiting_each: int = 128
    """... of one client's address."""

    light_cost: float = 4000.0
    """Orders that cost more than so many characters in the order of writing wait in a queue of their own."""


@dataclass(frozen=True)
class Order:
    """A request, checked."""

    hand: str
    text: str | dict[str, str]
    settings: Settings
    seed: int
    format: str
    page: int
    machine: Machine | None
    dpi: float

    def cost(self, has: Container[str]) -> float:
        """Return about what the work costs, in characters set in the order of writing; `has`: those of the hand."""
        texts = list(self.text.values()) if isinstance(self.text, dict) else [self.text]
        width, height = self.settings.size_mm
        # letters with marks may have to be put together, and what is no plain letter is slow to break into lines
        marks = sum(unicodedata.category(c)[0] in "MCS" for text in texts for c in text if c > "\u02ff")
        cost = (sum(map(len, texts)) + 10 * marks) * (3.0 if self.settings.order == "least travel" else 1.0)
        fits = self.settings.fit or any(box.fit for box in self.settings.boxes)
        picture = width * height * (self.dpi / MM_PER_INCH) ** 2 / 1000 if self.format == "png" else 0.0
        paths = [*(curve.path for curve in self.settings.curves), *(d.path for d in self.settings.drawings)]
        drawn = float(sum(len(path) / 3 + path.lower().count("z") * path.lower().count("z") / 100 for path in paths))
        made = MADE * sum(1 for _ in _put_together(texts, has))
        return cost * (2.0 if fits else 1.0) + picture + 20.0 * len(self.settings.boxes) + drawn + made


def _put_together(texts: Iterable[str], has: Container[str]) -> Iterator[str]:
    """Yield the different letters with marks that a hand lacks and that may be made of its parts."""
    other = "".join(text for text in texts if not text.isascii())
    for char in dict.fromkeys(regex.findall(r"\X", unicodedata.normalize("NFC", other))) if other else ():
        if char not in has and any(map(unicodedata.combining, unicodedata.normalize("NFD", char))):
            yield char


class RefusalError(Exception):
    """A request that is answered with one clear line."""

    def __init__(self, status: int, line: str) -> None:
        super().__init__(line)
        self.status, self.line = status, line


def order_from(hand: str, data: dict[str, Any], limits: Limits) -> Order:
    """Return the request in plain data, checked.

    Raises
    ------
    RefusalError
        With what is wrong with it.
    """
    text = data.get("text", "")
    texts = list(text.values()) if isinstance(text, dict) else [text]
    if not all(isinstance(t, str) for t in texts):
        raise RefusalError(422, "text: expected a text, or a mapping from boxes to texts")
    if len(texts) > limits.boxes:
        raise RefusalError(422, f"text: more than {limits.boxes} boxes")
    if sum(map(len, texts)) > limits.text_characters:
        raise RefusalError(422, f"text: longer than {limits.text_characters} characters")
    seed, page = data.get("seed", 0), data.get("page", 1)
    for name, value, least, most in (("seed", seed, 0, MOST_SEED), ("page", page, 1, 100_000)):
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise RefusalError(422, f"{name}: expected a whole number from {least} to {most}")
    kind = data.get("format", "svg")
    if not isinstance(kind, str) or kind not in FORMATS:
        raise RefusalError(422, f"format: expected one of {', '.join(FORMATS)}")
    dpi = data.get("dpi", 100)
    if isinstance(dpi, bool) or not isinstance(dpi, (int, float)) or not 10 <= dpi <= 600:
        raise RefusalError(422, "dpi: expected a number from 10 to 600")
    raw = data.get("machine")
    if raw is not None and not isinstance(raw, dict):
        raise RefusalError(422, "machine: expected a mapping")
    try:
        settings = settings_from(data.get("settings", {}))
        machine = machine_from(raw, where="machine") if raw is not None else None
    except OwnhandError as error:
        raise RefusalError(422, str(error)) from None
    ruled = settings.ruling is not None and settings.ruling.drawn
    if not (settings.drawings or ruled or any(t.strip() for t in texts)):
        raise RefusalError(422, "text: there is nothing to write")
    width, height = settings.size_mm
    if kind == "png" and width * height * (dpi / MM_PER_INCH) ** 2 > limits.picture_pixels:
        raise RefusalError(422, f"dpi: a picture of more than {limits.picture_pixels} pixels")
    return Order(hand, text, settings, seed, kind, page, machine, float(dpi))


def parsed(body: bytes) -> dict[str, Any]:
    """Return the JSON object in a request.

    Raises
    ------
    RefusalError
        If the body is not JSON, or has a key twice (400), or is not an object (422).
    """
    try:
        data = plain_json.loads(body)
    except plain_json.TwiceError as error:
        raise RefusalError(400, f"the request: {error}") from None
    except (ValueError, RecursionError):
        raise RefusalError(400, "the request is not JSON") from None
    if not isinstance(data, dict):
        raise RefusalError(422, "the request is not a JSON object")
    return data
