"""The proof: pages of paper, the paragraph first, labels that can be read."""

from __future__ import annotations

from dataclasses import replace

import pytest
from PIL import Image

from capture.label_font import label_font, printed_form
from fontbuild.font import Font
from ownhand.commands.proof import BUILT, MARGIN_MM, SECTIONS, UNASKED, WIDTH_MM, _sections, draw_proof
from ownhand.pictures.canvas import QUIET
from tests.ownhand.hershey_font import hershey_font


@pytest.fixture(scope="module")
def font() -> Font:
    plain = hershey_font(variants=2)
    built = {c: tuple(replace(g, char=c, source="built: e + mark") for g in plain.glyphs["e"]) for c in "éèêḛ"}
    return replace(plain, glyphs={**plain.glyphs, **built})


def test_pages_are_as_large_as_paper_and_none_is_cut(font: Font) -> None:
    pages = draw_proof(font, "abcé")

    sizes = {page.image().size for page in pages}
    (size,) = sizes
    assert len(pages) >= 2
    assert size[1] / size[0] == pytest.approx(297 / 210, abs=0.01)


def test_variants_that_do_not_fit_the_page_beside_each_other_go_on_in_the_next_row(font: Font) -> None:
    many = replace(font, glyphs={"m": font.glyphs["m"] * 30})

    ((_, _, blocks), *_) = _sections(many, set())

    assert sum(len(b.glyphs) for b in blocks) == 60
    assert len(blocks) > 1
    assert max(b.width_mm for b in blocks) <= WIDTH_MM - 2 * MARGIN_MM


def test_built_letters_that_nobody_asked_for_stand_apart(font: Font) -> None:
    by_title = {title: [b.char for b in blocks] for title, _, blocks in _sections(font, set("abcé"))}

    assert by_title[BUILT] == ["é"]
    assert set(by_title[UNASKED]) == set("èêḛ")
    assert list(by_title)[: len(SECTIONS)] == [title for title, _ in SECTIONS]


@pytest.mark.parametrize("char", ["e", "\u0301", "\U0001d4b6", "\u13a0", "q\u0307"])
def test_a_label_is_never_a_box(char: str) -> None:
    assert label_font().covers(printed_form(char))


def test_labels_have_a_contrast_of_four_and_a_half(font: Font) -> None:
    """WCAG 2.2, 1.4.3: relative luminances of ink and paper."""

    def luminance(colour: tuple[int, int, int]) -> float:
        linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in (c / 255 for c in colour)]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    image: Image.Image = draw_proof(font)[0].image().convert("RGB")
    paper = image.getpixel((2, 2))

    assert (luminance(paper) + 0.05) / (luminance(QUIET) + 0.05) >= 4.5
