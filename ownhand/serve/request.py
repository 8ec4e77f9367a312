"""What a request to the back end asks for, checked before any work is done."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from capture.errors import OwnhandError
from ownhand.composer.formats import FORMATS
from ownhand.composer.plot.machine import Machine, machine_from
from ownhand.composer.settings.settings import Settings
from ownhand.composer.settings.settings_data import settings_from

MOST_SEED = 2**63 - 1


@dataclass(frozen=True)
class Limits:
    """What one request may cost."""

    body_bytes: int = 1_000_000
    text_characters: int = 20_000
    picture_pixels: int = 40_000_000
    seconds: float = 30.0
    waiting: int = 256
    """Requests in the queue; further ones are told to come back."""


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
    if sum(map(len, texts)) > limits.text_characters:
        raise RefusalError(422, f"text: longer than {limits.text_characters} characters")
    seed, page = data.get("seed", 0), data.get("page", 1)
    for name, value, most in (("seed", seed, MOST_SEED), ("page", page, 100_000)):
        if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= most:
            raise RefusalError(422, f"{name}: expected a whole number from 0 to {most}")
    kind = data.get("format", "svg")
    if kind not in FORMATS:
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
    width, height = settings.size_mm
    if kind == "png" and width * height * (dpi / 25.4) ** 2 > limits.picture_pixels:
        raise RefusalError(422, f"dpi: a picture of more than {limits.picture_pixels} pixels")
    return Order(hand, text, settings, seed, kind, page, machine, float(dpi))


def parsed(body: bytes) -> dict[str, Any]:
    """Return the JSON object in a request.

    Raises
    ------
    RefusalError
        If the body is not JSON (400) or not an object (422).
    """
    try:
        data = json.loads(body)
    except (ValueError, RecursionError):
        raise RefusalError(400, "the request is not JSON") from None
    if not isinstance(data, dict):
        raise RefusalError(422, "the request is not a JSON object")
    return data
