"""How often a letter comes back in the same shape, counted by HarfBuzz (PyPI: uharfbuzz) on text of several languages.

The reference is the best order there is: the shapes of each character in turn. What it repeats within six letters, no
order of so many shapes can avoid.
"""

from __future__ import annotations

import io
import unicodedata
from collections import Counter

import numpy as np
import pytest
import uharfbuzz as hb
from fontTools.feaLib.builder import addOpenTypeFeaturesFromString
from fontTools.fontBuilder import FontBuilder

from fontbuild.formats.features import feature_code, near_turns
from fontbuild.formats.sight import look_far
from fontbuild.naming import variant_name

WITHIN = 6
"""Letters, spaces and signs not counted: so near, two equal shapes are seen to be one (common practice, no source)."""

PARAGRAPHS, WORDS = 24, 60
TEXTS = {
    "en": "The keeper rings the bell when fog comes in from the sea, and the little ferry feels its way between the "
    "needles of the reef; three green flashes, then a pause. Seventeen letters were left under the cellar stairs.",
    "fr": "Quand la brume se lève, le gardien sonne la cloche et le petit bateau cherche sa route entre les récifs ; "
    "l'été dernier, des élèves ont déposé dix-sept lettres sous l'escalier de la cave, très décolorées.",
    "de": "Wenn der Nebel kommt, läutet der Wärter die Glocke, und die kleine Fähre sucht ihren Weg zwischen den "
    "Klippen; später fällt grünes Licht über das Wasser, und die Möwen schlafen längst auf den Dächern.",
    "pl": "Gdy nadchodzi mgła, latarnik bije w dzwon, a mały prom szuka drogi między skałami; później zielone światło "
    "pada na wodę, mewy śpią już na dachach, a pod schodami leży siedemnaście listów związanych sznurkiem.",
    "tr": "Sis bastığında bekçi çanı çalar, küçük vapur kayalıkların arasında yolunu arar; sonra yeşil ışık suyun "
    "üzerine düşer, martılar çatılarda çoktan uyur, kilerin altındaki mektupların hiçbiri gönderilmemiştir.",
    "fi": "Kun sumu nousee mereltä, majakanvartija soittaa kelloa ja pieni lautta etsii tietään karien välistä; "
    "myöhemmin vihreä valo lankeaa veteen, lokit nukkuvat jo katoilla ja kellarissa säilytetään kirjeitä.",
    "cs": "Když přijde mlha, strážce zvoní na zvon a malý přívoz hledá cestu mezi útesy; později padá na vodu zelené "
    "světlo, racci už spí na střechách a pod schodištěm leží sedmnáct dopisů převázaných provázkem.",
}
"""Invented; their words are drawn in any order, so that there is as much of each as is wanted."""

VARIANTS = {"e": 9, "n": 8, "a": 8, "i": 7, "t": 7, "r": 6, "s": 6, "o": 6}


def variants_of(char: str) -> int:
    """Return how many shapes a character has here, as a filled-in sheet of six pages gives them."""
    return 4 if len(unicodedata.normalize("NFD", char)) > 1 else VARIANTS.get(char, 4 if char.isalpha() else 1)


def texts() -> dict[str, list[str]]:
    rng = np.random.default_rng(5)
    return {
        language: [" ".join(rng.choice(text.split(), WORDS)) for _ in range(PARAGRAPHS)]
        for language, text in TEXTS.items()
    }


@pytest.fixture(scope="module")
def face() -> hb.Face:
    """A font without outlines that has the features of a hand with so many shapes."""
    chars = sorted({c for text in TEXTS.values() for c in text.upper() + text})
    names = {c: [variant_name(c, k) for k in range(1, variants_of(c) + 1)] for c in chars if len(c) == 1}
    order = [".notdef", *dict.fromkeys(n for v in names.values() for n in v)]
    made = FontBuilder(1000, isTTF=True)
    made.setupGlyphOrder(order)
    made.setupCharacterMap({ord(c): v[0] for c, v in names.items()})
    made.setupGlyf({})
    made.font["glyf"].glyphs = {}
    made.setupHorizontalMetrics(dict.fromkeys(order, (500, 0)))
    made.setupHorizontalHeader()
    made.setupPost()
    del made.font["glyf"]
    addOpenTypeFeaturesFromString(made.font, near_turns(feature_code(names)))
    look_far(made.font, names)
    data = io.BytesIO()
    made.font.save(data)
    return hb.Face(data.getvalue())


def repeats(shapes: list[tuple[str, object]]) -> tuple[int, int]:
    """Return how many letters, without and with marks, have the shape of one of the six before."""
    plain = marked = 0
    for i, (char, shape) in enumerate(shapes):
        if (char, shape) in shapes[max(0, i - WITHIN) : i]:
            bare = len(unicodedata.normalize("NFD", char)) == 1
            plain, marked = plain + bare, marked + (not bare)
    return plain, marked


def shaped(face: hb.Face, text: str) -> list[tuple[str, object]]:
    buffer = hb.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    hb.shape(hb.Font(face), buffer, {})
    return [(text[i.cluster], i.codepoint) for i in buffer.glyph_infos if text[i.cluster].isalpha()]


def in_turn(text: str) -> list[tuple[str, object]]:
    turn: Counter[str] = Counter()
    out: list[tuple[str, object]] = []
    for char in filter(str.isalpha, text):
        out.append((char, turn[char] % variants_of(char)))
        turn[char] += 1
    return out


@pytest.mark.parametrize("language", TEXTS)
def test_hardly_a_letter_comes_back_in_its_shape_within_six_letters(face: hb.Face, language: str) -> None:
    found = np.sum([repeats(shaped(face, text)) for text in texts()[language]], axis=0)
    best = np.sum([repeats(in_turn(text)) for text in texts()[language]], axis=0)
    letters = sum(len(in_turn(text)) for text in texts()[language])

    assert letters > 5000
    assert (found <= best).all()
