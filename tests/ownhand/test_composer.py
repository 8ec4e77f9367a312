from __future__ import annotations

import pickle
import unicodedata
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.errors import FontFileError, UsageError
from ownhand.composer import Composer, Life, Pen, PlotPage, Ruling, Settings, TextBox
from ownhand.composer.formats.svg import svg_text
from ownhand.composer.settings.settings_data import settings_from
from tests.ownhand.composing import LETTER, composer
from tests.ownhand.hershey_font import hershey_font

CARD = Settings(paper="postcard", margins_mm=(8, 10, 12, 9))


def written(page: PlotPage) -> str:
    """Return the characters of a page, as they follow each other, spaces left out."""
    return "".join(page.chars)


def test_the_same_seed_gives_the_same_bytes() -> None:
    one = Composer(hershey_font()).compose(LETTER, CARD, seed=5)
    two = Composer(pickle.loads(pickle.dumps(hershey_font()))).compose(LETTER, CARD, seed=5)

    assert [svg_text(p) for p in one] == [svg_text(p) for p in two]


def test_what_was_composed_before_changes_nothing() -> None:
    fresh = Composer(hershey_font()).compose(LETTER, CARD, seed=5)
    used = composer()
    used.compose("zebra quay 1234", seed=9)

    assert svg_text(used.compose(LETTER, CARD, seed=5).pages[0]) == svg_text(fresh.pages[0])


def test_another_seed_gives_another_page() -> None:
    one, two = (composer().compose(LETTER, CARD, seed=s).pages[0] for s in (1, 2))

    assert svg_text(one) != svg_text(two)
    assert one.chars[:20] == two.chars[:20]


def test_every_character_is_written_once_and_in_order() -> None:
    page = composer().compose(LETTER, seed=1).pages[0]

    assert written(page) == LETTER.replace(" ", "")
    assert np.all(np.diff(page.letter) >= 0)
    assert np.all(np.diff(page.line) >= 0)
    assert np.all(np.diff(page.word) >= 0)


@given(
    text=st.text(max_size=300) | st.text("abgjlTÅg ,-\n\t", max_size=400),
    seed=st.integers(0, 2**63),
    strength=st.sampled_from([0.0, 1.0, 2.0]),
    align=st.sampled_from(["left", "right", "centre", "justified"]),
    margins=st.tuples(*[st.floats(0, 30)] * 4),
    x_height=st.floats(1.0, 9.0),
    ruled=st.booleans(),
)
def test_nothing_ever_leaves_the_margins(text, seed, strength, align, margins, x_height, ruled) -> None:
    settings = Settings(
        paper=(120.0, 90.0), margins_mm=margins, align=align, x_height_mm=x_height, life=Life(strength=strength),
        ruling=Ruling(9.0, 3.0) if ruled else None,
    )  # fmt: skip

    # a text of which nothing can be written is refused; one letter of the hand's is always there
    for page in composer().compose(f"a{text}", settings, seed=seed):
        top, right, bottom, left = margins
        x0, y0, x1, y1 = page.bounds_mm()
        half = page.pen_mm / 2 - 1e-6
        if len(page):
            assert left + half <= x0 and x1 <= 120 - right - half
            assert top + half <= y0 and y1 <= 90 - bottom - half


def test_what_a_broad_pen_draws_stays_within_its_box_whichever_pen_it_is() -> None:
    boxes = (TextBox("left", 10, 10, 60, 80), TextBox("right", 75, 10, 60, 80, pen=2))
    pens = (Pen(), Pen("#8a1f1f", width_mm=2.0))
    settings = replace(CARD, paper=(145.0, 102.0), boxes=boxes, pens=pens, x_height_mm=3.0)
    for seed in range(12):
        (page,) = composer().compose({"left": "lamp " * 20, "right": "lamp " * 20}, settings, seed=seed)
        for box, width in zip(boxes, (page.pen_mm, 2.0), strict=True):
            ink = np.vstack([page.path(k) for k in np.flatnonzero(page.pen == box.pen)])
            room = np.array([box.x_mm, box.y_mm]) + width / 2 - 1e-6
            assert (ink.min(axis=0) >= room).all()
            assert (ink.max(axis=0) <= np.array([box.x_mm + 60, box.y_mm + 80]) - width / 2 + 1e-6).all()


def test_a_pen_of_unsaid_width_is_as_broad_as_the_hand_was_written() -> None:
    pens = (Pen(width_mm=2.0), Pen("#8a1f1f"))
    (page,) = composer().compose("lamp", replace(CARD, pens=pens), seed=1)
    (plain,) = composer().compose("lamp", CARD, seed=1)

    assert page.pen_mm == plain.pen_mm


@pytest.mark.parametrize("form", ["NFC", "NFD", "NFKC", "NFKD"])
def test_the_normal_form_of_the_text_changes_nothing(form: str) -> None:
    font = hershey_font()
    glyphs = dict(font.glyphs)
    glyphs["é"] = tuple(replace(g, char="é", name="eacute") for g in glyphs["e"])
    accented = Composer(replace(font, glyphs=glyphs))

    made = accented.compose(unicodedata.normalize(form, "café, cliché"), seed=1)

    assert written(made.pages[0]) == "café,cliché"
    assert made.notices == ()


def test_what_the_hand_lacks_is_counted_and_named() -> None:
    made = composer().compose("Straße, große Füße: ж", seed=1)

    assert dict(made.missing) == {"ß": 3, "ж": 1}
    said = [str(n) for n in made.notices if n.kind == "missing"]
    assert said[0].startswith("'ß' (U+00DF, latin small letter sharp s): the hand lacks it")
    assert said[0].endswith("(3 times)")
    assert "ownhand sheet HAND --characters 'ßж'" in said[0]


@pytest.mark.parametrize("form", ["NFC", "NFD"])
def test_a_letter_and_mark_without_a_character_of_their_own_are_put_together(form: str) -> None:
    made = composer().compose(unicodedata.normalize(form, "q\u0307 m\u0303 t\u0301"), seed=1)

    assert made.missing == {}
    assert [n.kind for n in made.notices] == ["composed"] * 3
    page = made.pages[0]
    assert [len(c) for c in page.chars] == [2, 2, 2]
    plain = composer().compose("q m t", seed=1).pages[0]

    def heights(page: PlotPage) -> list[float]:
        of_point = np.repeat(page.letter, np.diff(page.starts))
        return [float(np.ptp(page.points_mm[of_point == k, 1])) for k in range(3)]

    higher = np.array(heights(page)) - heights(plain)
    assert (higher > 0.4).all(), "the mark stands over the letter"


def test_a_letter_that_no_part_is_there_for_leaves_a_gap() -> None:
    there = composer().compose("lamp", seed=1).pages[0]
    gone = composer().compose("lжamp", seed=1).pages[0]

    assert np.ptp(gone.points_mm[:, 0]) > np.ptp(there.points_mm[:, 0]) + 1.0


def test_what_stands_for_a_mark_is_said() -> None:
    made = composer().compose("“Light” — it’s…", seed=1)

    assert written(made.pages[0]) == '"Light"-it\'s...'
    assert made.missing == {}
    assert sorted(n.kind for n in made.notices) == ["replaced"] * 5


def test_a_fraction_that_the_hand_lacks_is_written_with_its_figures() -> None:
    # compatibility decomposition (UAX 15): one half is '1', U+2044, '2'
    made = composer().compose("½ a mile", seed=1)

    assert written(made.pages[0]).startswith("1/2")
    assert made.missing == {}


def test_scripts_that_run_from_right_to_left_are_told_of() -> None:
    # bidirectional classes of Unicode (UAX #9): alef and bet are R
    plain = hershey_font()
    letters = {c: tuple(replace(g, char=c) for g in plain.glyphs["o"]) for c in "אב"}
    own = Composer(replace(plain, glyphs={**plain.glyphs, **letters}))

    (told,) = (n for n in own.compose("lamp אב", CARD, seed=1).notices if n.kind == "direction")
    assert "the wrong way round" in told.detail and told.count == 2
    with pytest.raises(UsageError, match="from right to left are not set"):
        composer().compose("אב", CARD, seed=1)
    assert not [n for n in composer().compose("lamp", CARD, seed=1).notices if n.kind == "direction"]


def test_text_goes_on_over_as_many_pages_as_it_needs() -> None:
    made = composer().compose(LETTER * 4, CARD, seed=1)

    assert len(made) > 2
    assert "".join(written(p) for p in made) == (LETTER * 4).replace(" ", "")
    assert [p.number for p in made] == list(range(1, len(made) + 1))


def test_a_form_feed_begins_a_new_page() -> None:
    made = composer().compose("one\ftwo\r\nthree", CARD, seed=1)

    assert [written(p) for p in made] == ["one", "twothree"]


@pytest.mark.parametrize("text", ["ж", "жж жж", "漢字 漢字"])
def test_a_text_of_which_nothing_can_be_written_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="nothing of it can be written"):
        Composer(hershey_font()).compose(text, CARD, seed=1)


@pytest.mark.parametrize("text", ["", " \n\t "])
def test_a_text_without_letters_gives_one_empty_page(text: str) -> None:
    made = Composer(hershey_font()).compose(text, CARD, seed=1)

    assert [len(p) for p in made] == [0]


def test_boxes_keep_their_texts_apart() -> None:
    settings = replace(
        CARD,
        boxes=(
            TextBox("body", 9, 8, 70, 60),
            TextBox("address", 85, 40, 50, 40),
            TextBox("signature", 9, 70, 60, 20, blank=True),
        ),
    )

    page = composer().compose({"body": "we saw a seal", "address": "Quill\nHazelby"}, settings, seed=1).pages[0]

    x = page.points_mm[page.starts[:-1], 0]
    y = page.points_mm[page.starts[:-1], 1]
    chars = np.array(page.chars)[page.letter]
    body = np.isin(np.arange(len(page)), np.flatnonzero(page.line == 0))
    assert "".join(dict.fromkeys(page.chars)) != ""
    assert x[body].max() < 79 < 85 < x[~body].min()
    assert chars[~body][0] == "Q"
    assert y.max() < 80


def test_text_for_a_box_that_is_not_there_is_refused() -> None:
    with pytest.raises(UsageError, match="there is no box 'stamp'"):
        composer().compose({"stamp": "x"}, CARD)


def test_text_too_long_for_a_box_is_refused_with_both_numbers() -> None:
    settings = replace(CARD, boxes=(TextBox("address", 9, 8, 50, 20),))

    with pytest.raises(UsageError, match=r"box 'address': the text needs \d+ lines, .* there is room for \d+"):
        composer().compose(LETTER, settings, seed=1)


def test_fitting_writes_smaller_until_the_card_holds_it() -> None:
    plain = composer().compose(LETTER * 2, CARD, seed=1)
    settings = replace(CARD, fit=True, smallest=0.3)

    made = composer().compose(LETTER * 2, settings, seed=1)

    assert len(plain) > 1
    assert len(made) == 1
    assert 0.9 < made.x_height_mm["body"] < 3.0
    assert [n.kind for n in made.notices] == ["smaller"]
    assert written(made.pages[0]) == (LETTER * 2).replace(" ", "")


def test_fitting_leaves_a_short_text_as_it_is() -> None:
    made = composer().compose("Hello", replace(CARD, fit=True), seed=1)

    assert made.x_height_mm["body"] == pytest.approx(3.0)
    assert made.notices == ()


def test_a_box_in_the_margin_is_refused() -> None:
    with pytest.raises(UsageError, match="box 'note': it reaches into the margins"):
        replace(CARD, boxes=(TextBox("note", 2, 8, 50, 20),))


def test_a_font_without_letters_is_refused() -> None:
    font = hershey_font()

    with pytest.raises(FontFileError, match="it holds no letter"):
        Composer(replace(font, glyphs={" ": font.glyphs[" "]}))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"paper": "foolscap"}, "'foolscap' is not a known paper"),
        ({"paper": (5.0, 100.0)}, "5 x 100 mm is not between"),
        ({"margins_mm": (60.0, 10.0, 60.0, 10.0)}, "leave no room on"),
        ({"align": "middle"}, "no alignment 'middle'"),
        ({"x_height_mm": 0.0}, "x-height: 0 is not between"),
        ({"pens": ()}, "pens: there is none"),
        ({"order": "shuffled"}, "no order 'shuffled'"),
    ],
)
def test_impossible_settings_are_refused_in_words(change: dict, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        replace(CARD, **change)


@pytest.mark.parametrize("size", [-3.0, 0.0, 1e-3, 0.1, 1e8])
def test_a_box_or_a_curve_is_written_in_a_size_that_a_page_may_have(size: float) -> None:
    box = {"name": "note", "x_mm": 20, "y_mm": 20, "width_mm": 60, "height_mm": 40, "x_height_mm": size}
    for settings in ({"boxes": [box]}, {"curves": [{"name": "note", "path": "M20 50H90", "x_height_mm": size}]}):
        with pytest.raises(UsageError, match=r"'note': an x-height of .* mm is not between 0\.5 and 200"):
            settings_from(settings)


@pytest.mark.parametrize("settings", [[], 0, "", False])
def test_settings_that_are_no_mapping_are_not_taken_for_none(settings: object) -> None:
    with pytest.raises(UsageError):
        settings_from(settings)


def test_a_life_beyond_its_range_is_refused() -> None:
    with pytest.raises(UsageError, match="life slant: 3 is not between 0 and 2"):
        Life(slant=3)


def test_an_unknown_hyphenation_names_those_there_are() -> None:
    with pytest.raises(UsageError, match=r"no hyphenation for 'qq'.*Use one of .*de, .*en"):
        composer().compose("word", replace(CARD, hyphenate="qq"))


MARKS = [chr(number) for number in (0x300, 0x301, 0x302, 0x303, 0x304, 0x306, 0x307, 0x308, 0x30A, 0x30C, 0x323)]
TOGETHER = [letter + one + two for letter in "abdeghknopqsuvxz" for one in MARKS for two in MARKS if one != two]


def test_letters_put_together_are_forgotten_where_there_are_many(monkeypatch) -> None:
    monkeypatch.setattr("ownhand.composer.composer.MOST_ADDED", 8)
    used, text = Composer(hershey_font()), "a lamp " + " ".join(TOGETHER[3:9])
    for first in range(0, 30, 5):
        used.compose(" ".join(TOGETHER[first : first + 5]), CARD)

    assert len(used.font.glyphs) <= len(hershey_font().glyphs) + 8 + 5
    fresh = Composer(hershey_font()).compose(text, CARD, seed=5)
    assert svg_text(used.compose(text, CARD, seed=5).pages[0]) == svg_text(fresh.pages[0])


def test_a_text_of_more_letters_to_put_together_than_any_language_has_is_refused(monkeypatch) -> None:
    monkeypatch.setattr("ownhand.composer.text.fitter.MOST_COMPOSED", 3)
    few = Composer(hershey_font(variants=1)).compose(" ".join(TOGETHER[:3] * 4), CARD)

    assert not few.missing
    with pytest.raises(UsageError, match="more than 3 different letters"):
        Composer(hershey_font(variants=1)).compose(" ".join(TOGETHER[:20]), CARD)


def test_a_text_of_thousands_of_characters_that_the_hand_lacks_is_told_of_in_little() -> None:
    composed = composer().compose("a " + "".join(chr(0x4E00 + n) for n in range(8000)), CARD)

    assert len(composed.missing) == 8000
    assert sum(len(notice.detail) for notice in composed.notices) < 2_000_000
