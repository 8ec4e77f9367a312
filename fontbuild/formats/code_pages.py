"""Which code pages a font says it has: those of the languages that it writes completely.

Programs offer a font for a language by these bits (OpenType 1.9, OS/2 ulCodePageRange1).
"""

from __future__ import annotations

from capture.languages import coverage
from fontbuild.font import Font

OF_LANGUAGES: dict[int, tuple[str, ...]] = {
    0: ("en", "de", "fr", "es", "pt", "it", "nl", "sv", "da", "nb", "fi", "is", "ca"),  # 1252 Latin 1
    1: ("pl", "cs", "sk", "hu", "hr", "sl", "ro", "sq"),  # 1250 Latin 2
    2: ("ru", "uk", "be", "bg", "mk"),  # 1251 Cyrillic
    3: ("el",),  # 1253 Greek
    4: ("tr",),  # 1254 Turkish
    7: ("lt", "lv", "et"),  # 1257 Baltic
    8: ("vi",),  # 1258 Vietnamese
}
"""Languages by bit."""


def code_pages(font: Font) -> list[int]:
    """Return the bits of the code pages of which the font writes a language completely."""
    drawn = [c for c, variants in font.glyphs.items() if any(g.strokes for g in variants)]
    bits = []
    for bit, languages in OF_LANGUAGES.items():
        if any(not c.missing and not c.built for c in coverage(drawn, languages)):
            bits.append(bit)
    return bits
