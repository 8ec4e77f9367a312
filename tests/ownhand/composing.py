"""Fonts, texts and small steps that the composer's tests share."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from ownhand.composer import Composer, Pen, PlotPage, Settings, TextBox
from tests.ownhand.hershey_font import hershey_font

LETTER = (
    "The lamp was lit at dusk and the keeper's cat slept on the third stair, as she does every evening when "
    "the wind comes from the west. We counted sixteen ships, two of them with red sails, and a seal. Thank you "
    "for your card: it hangs beside the big lens now, where everybody can see it. If you come back in spring, "
    "bring boots. The path along the cliff is all mud until May, but the view from the gallery is worth every "
    "step. We shall keep a cup of tea warm for you."
)

CARD = Settings(paper="postcard", margins_mm=(10, 10, 10, 10))


@lru_cache(maxsize=4)
def composer(face: str = "futural", variants: int = 5, scatter: float = 1.0) -> Composer:
    return Composer(hershey_font(face, variants, scatter))


def in_two_pens() -> PlotPage:
    """Return a card with three boxes, of which the first and the last are in the second pen."""
    boxes = (
        TextBox("title", 80, 10, 50, 40, pen=2),
        TextBox("body", 10, 10, 70, 40),
        TextBox("foot", 10, 60, 70, 30, pen=2),
    )
    settings = replace(CARD, pens=(Pen(), Pen("#a02020")), boxes=boxes)
    return composer().compose({"title": "Fog", "body": "lamp", "foot": "lit"}, settings, seed=1).pages[0]
