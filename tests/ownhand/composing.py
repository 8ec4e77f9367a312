"""Fonts, texts and small steps that the composer's tests share."""

from __future__ import annotations

from functools import lru_cache

from ownhand.composer import Composer
from tests.ownhand.hershey_font import hershey_font

LETTER = (
    "The lamp was lit at dusk and the keeper's cat slept on the third stair, as she does every evening when "
    "the wind comes from the west. We counted sixteen ships, two of them with red sails, and a seal. Thank you "
    "for your card: it hangs beside the big lens now, where everybody can see it. If you come back in spring, "
    "bring boots. The path along the cliff is all mud until May, but the view from the gallery is worth every "
    "step. We shall keep a cup of tea warm for you."
)


@lru_cache(maxsize=4)
def composer(face: str = "futural", variants: int = 5, scatter: float = 1.0) -> Composer:
    return Composer(hershey_font(face, variants, scatter))
