"""Joined words as they are composed: where the pen stays down, which shapes, and how one letter runs into the next."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from capture.report import Finding
from fontbuild.build import build_font
from fontbuild.font import Record
from fontbuild.geometry import glyph_bounds, sample_stroke
from fontbuild.joins import APART, EXIT, JOINS, joining, stays_down, way_of
from fontbuild.text_spacing_statistics import CopiedWord
from fontbuild.usable_attempts import BuildingRules, choose
from ownhand.composer import Composer, Life, Settings
from ownhand.composer.glyphs.joined_words import JoinedWords
from ownhand.composer.plot.smooth_joins import PIECES, joined
from skeleton.attempt import Attempt
from skeleton.geometry.stroke import Stroke

SETTINGS = Settings(paper="300x200", margins_mm=(8, 8, 8, 8), x_height_mm=3.0)
WAYS = [(False, True), (True, True), (True, False), (False, False)]


def hump(char: str, width: float, height: float, number: int, way: tuple[bool, bool], place: str) -> Attempt:
    """Return a letter that rises to a top and comes down, written with joins or without. Cell frame: mm, y up."""
    t = np.linspace(0, 1, 40)
    y = height * np.sin(np.pi * t) ** 2 * (1 + 0.01 * number)
    line = np.stack([1.0 + width * t, y], axis=1)
    return Attempt(
        place, char, number, "written", (Stroke(line, 0.4),), 3.0, 6.0, -3.0, 6.0, 0.4, allograph=way_of(*way)
    )  # fmt: skip


LETTERS = (("a", 3.0, 3.0), ("n", 3.5, 3.0), ("e", 2.5, 3.0), ("l", 2.0, 6.0))


def read() -> list[Attempt]:
    return [
        hump(c, w, h, n, way, f"letter-1/1/{ord(c)}.{10 * k + 3 * n}")
        for c, w, h in LETTERS
        for k, way in enumerate(WAYS)
        for n in (1, 2)
    ]


@pytest.fixture(scope="module")
def font():
    return build_font(read(), Record("joined"), accents=False).font


def with_share(font, share: float):
    return replace(font, rhythm={**font.rhythm, JOINS: share})


def test_a_font_of_others_may_call_its_letters_what_it_likes(font):
    def odd(glyphs):
        return {c: tuple(replace(g, source=f"x.{'²' * (n + 1)}") for n, g in enumerate(v)) for c, v in glyphs.items()}

    theirs = replace(with_share(font, 1.0), glyphs=odd(font.glyphs), in_words=odd(font.in_words))
    assert strokes_of(theirs, "lane anna") > 0


def strokes_of(font, text: str, seed: int = 3) -> int:
    return sum(len(page) for page in Composer(font).compose(text, SETTINGS, seed=seed).pages)


def turned_back(attempt: Attempt) -> Attempt:
    """Return a letter that goes out where it began, in its midst, as one that was cut out wrongly does."""
    line = attempt.strokes[0].points_mm
    return replace(attempt, strokes=(Stroke(np.vstack([line, line[-2:4:-1] + np.array([0.0, 0.2])]), 0.4),))


def test_the_pen_is_not_led_across_a_letter_that_goes_out_in_its_midst(font):
    attempts = [
        (turned_back if c == "a" else lambda a: a)(hump(c, w, h, n, (True, True), f"letter-1/1/{ord(c)}.{3 * n}"))
        for c, w, h in LETTERS
        for n in (1, 2)
    ]
    odd = build_font(attempts, Record("joined"), accents=False).font
    (page,) = Composer(with_share(odd, 1.0)).compose("nan", SETTINGS, seed=3).pages
    (well,) = Composer(with_share(font, 1.0)).compose("nan", SETTINGS, seed=3).pages

    assert len(well) == 1
    assert len(page) > 1
    # the second n stands clear of the a
    assert np.ptp(page.points_mm[:, 0]) > 0.75 * np.ptp(well.points_mm[:, 0])


def test_letters_that_were_cut_too_short_keep_a_distance():
    attempts = [hump(c, 0.3, h, n, (True, True), f"letter-1/1/{ord(c)}.{3 * n}") for c, _, h in LETTERS for n in (1, 2)]
    narrow = build_font(attempts, Record("joined"), accents=False).font
    (page,) = Composer(with_share(narrow, 1.0)).compose("lllll", SETTINGS, seed=3).pages

    assert np.ptp(page.points_mm[:, 0]) > 4 * 0.5 * 3.0


def test_a_full_stop_keeps_clear_of_a_joined_letter_though_letters_may_lie_over_each_other():
    stop = Attempt(
        "s1/1/1.1", ".", 1, "written", (Stroke(np.array([[1.0, 0.1]]), 0.4),), 3.0, 6.0, -3.0, 6.0, 0.4
    )  # fmt: skip
    built = build_font([*read(), stop], Record("joined"), accents=False).font
    close = replace(with_share(built, 1.0), rhythm={**built.rhythm, JOINS: 1.0, "lifted_gap": -0.03 * 330})

    for seed in range(6):
        (page,) = Composer(close).compose("ane.", SETTINGS, seed=seed).pages
        *letters, dot = sorted((sample_stroke(path) for path in page.paths()), key=len, reverse=True)
        assert len(letters) == len(dot) == 1
        apart = np.hypot(*(letters[0] - dot).T).min()
        assert apart > 2 * 0.4, "a pen's width of white shows between them"


def test_how_often_the_pen_stays_down_is_counted_between_neighbours_in_a_word():
    # 'ae' joined in line 1, lifted in line 2; what stands apart in a line are two words
    read = [
        hump("a", 3, 3, 1, (False, True), "letter-1/1/1.1"), hump("e", 3, 3, 1, (True, False), "letter-1/1/1.2"),
        hump("a", 3, 3, 2, (False, False), "letter-1/1/2.1"), hump("e", 3, 3, 2, (False, False), "letter-1/1/2.2"),
        hump("n", 3, 3, 1, (False, False), "letter-1/1/2.4"),
    ]  # fmt: skip
    found = joining(read)

    assert found[JOINS] == pytest.approx(0.5)
    assert stays_down(found, "a", "e") == pytest.approx(0.5)
    assert JOINS + "en" not in found
    # of a pair that was never seen its first letter tells, and of a strange letter all
    assert stays_down(found, "a", "n") == found[JOINS + "a"]
    assert stays_down(found, "x", "y") == found[JOINS]
    assert stays_down({}, "x", "y") == 0.0


def test_a_hand_that_always_joins_writes_words_in_one_go(font):
    assert strokes_of(with_share(font, 1.0), "lane anna elan") == 3


def test_a_hand_that_never_joins_lifts_between_all_letters(font):
    assert strokes_of(with_share(font, 0.0), "lane anna elan") == 12


def test_a_line_leads_to_letters_that_the_hand_wrote_alone_as_often_as_it_joins():
    alone = [replace(hump("e", 2.5, 3.0, n, (False, False), f"s1/1/1.{n}"), allograph="") for n in (1, 2)]
    mixed = build_font([*(a for a in read() if a.char != "e"), *alone], Record("mixed"), accents=False).font

    assert strokes_of(with_share(mixed, 1.0), "lane anna elan") == 3
    assert strokes_of(with_share(mixed, 0.0), "lane anna elan") == 12
    (page,) = Composer(with_share(mixed, 1.0)).compose("ee ll", SETTINGS, seed=3).pages
    assert len(page) == 2, "between two of them as well"


def test_a_letter_that_touches_in_a_printing_hand_stands_by_its_white_like_the_others():
    apart = [hump(c, w, h, n, (False, False), f"s1/9/{n}.{4 * ord(c)}") for c, w, h in LETTERS for n in range(1, 5)]
    touching = hump("a", 3.0, 3.0, 9, (True, True), "s1/9/9.1")

    glyphs = build_font([*apart, touching], Record("print"), accents=False).font.glyphs["a"]

    (odd,) = [g for g in glyphs if g.source == touching.id]
    assert odd.anchors.keys() == glyphs[0].anchors.keys()
    sides = np.array([[b[0], g.advance - b[2]] for g in glyphs if (b := glyph_bounds(g))])
    assert sides.min() > 0
    assert np.ptp(sides, axis=0).max() < 0.05 * glyphs[0].advance, "written alike, they keep the same white"


def test_running_text_that_was_printed_tells_that_a_hand_prints():
    apart = [hump(c, w, h, n, (False, False), f"s1/9/{n}.{4 * ord(c)}") for c, w, h in LETTERS for n in range(1, 9)]

    few, enough = (build_font(some, Record("print"), accents=False).font for some in (apart[::4], apart))

    assert JOINS not in few.rhythm
    assert enough.rhythm[JOINS] == 0.0
    nearly = replace(enough, glyphs={c: tuple(replace(g, advance=1.0) for g in v) for c, v in enough.glyphs.items()})
    assert strokes_of(nearly, "lane anna elan") == 12


def test_a_hand_that_joins_seldom_still_has_its_letters_chosen_by_their_joins(font):
    apart = {
        c: tuple(replace(v[0], name=f"{c}.x", anchors={}, ductus=f"{c}/x") for _ in range(9))
        for c, v in font.glyphs.items()
    }
    mixed = replace(font, glyphs={c: (*v[:1], *apart[c]) if c.islower() else v for c, v in font.glyphs.items()})

    lifted = strokes_of(with_share(mixed, 0.2), "lane anneal lean " * 8)

    assert lifted < strokes_of(with_share(mixed, 0.0), "lane anneal lean " * 8)


def test_a_hand_of_mixed_habits_stays_mixed(font):
    text = " ".join(["lanean"] * 40)
    lifts = strokes_of(with_share(font, 0.6), text) - 40

    # 200 places; the standard deviation of the share is .035
    assert lifts / 200 == pytest.approx(0.4, abs=0.12)


def test_a_hand_of_mixed_habits_stays_mixed_in_words_that_it_joined_once():
    font = build_font([a for row in range(1, 6) for a in as_word("lane", row)], Record("joined"), accents=False).font
    mixed = replace(font, rhythm={k: 0.6 if k.startswith(JOINS) else v for k, v in font.rhythm.items()})
    lifts = strokes_of(mixed, " ".join(["lane"] * 60)) - 60

    # 180 places; the standard deviation of the share is .037
    assert lifts / 180 == pytest.approx(0.4, abs=0.12)


def test_letters_from_cells_do_not_keep_a_hand_from_joining(font):
    """A sheet has more cells than a few copied lines have letters."""
    cells = {
        c: tuple(replace(v[0], name=f"{c}.cell{k}", anchors={}, ductus=f"{c}/cell") for k in range(40))
        for c, v in font.glyphs.items()
        if v[0].anchors or c.islower()
    }
    mixed = replace(font, glyphs={c: (*v, *cells.get(c, ())) for c, v in font.glyphs.items()})
    always, never = (with_share(mixed, share) for share in (1.0, 0.0))

    assert strokes_of(always, "lane anneal lean " * 4) < 0.7 * strokes_of(never, "lane anneal lean " * 4)


@pytest.mark.parametrize("gap", [0.2, 1.0])
def test_where_the_pen_is_lifted_letters_stand_as_far_apart_as_in_the_copied_words(gap):
    wide, tall = {c: w for c, w, _ in LETTERS}, {c: h for c, _, h in LETTERS}
    copied = []
    for text in ("lane", "anneal", "lean", "eel", "nana", "all", "lena"):
        ink = sum(wide[c] for c in text) + gap * (len(text) - 1) + 0.4
        copied.append(CopiedWord(text, (0.0, -0.2 / 3, ink / 3, (max(tall[c] for c in text) + 0.2) / 3)))
    font = build_font(read(), Record("joined"), copied=copied, accents=False).font
    never = replace(font, rhythm={**font.rhythm, JOINS: 0.3, **{JOINS + c: 0.0 for c, _, _ in LETTERS}})
    (page,) = Composer(never).compose("lane anneal lean eel " * 4, replace(SETTINGS, life=Life(strength=0))).pages
    boxes = [(page.word[k], page.path(k)[:, 0].min(), page.path(k)[:, 0].max()) for k in range(len(page))]
    gaps = [b[1] - a[2] for a, b in pairwise(boxes) if a[0] == b[0]]

    assert np.mean(gaps) == pytest.approx(gap, abs=0.15)


def test_words_of_a_joined_hand_keep_apart():
    """Letters that were only met inside words, and reach far to the left of where the pen came in."""

    def bowl(char: str, number: int) -> Attempt:
        t = np.linspace(0, 1, 40)
        line = np.stack([1.0 + 2.0 * t - 2.5 * np.sin(np.pi * t), 3.0 * np.sin(np.pi * t) ** 2], axis=1)
        place = f"letter-1/1/{ord(char)}.{3 * number}"
        return replace(hump(char, 3.0, 3.0, number, (True, True), place), strokes=(Stroke(line, 0.4),))

    made = build_font([bowl(c, n) for c in "can" for n in (1, 2)], Record("bowls"), accents=False).font
    (page,) = Composer(with_share(made, 1.0)).compose("can can can can", SETTINGS, seed=3).pages
    word = [page.word[k] for k in range(len(page))]
    boxes = [
        (min(p[:, 0].min() for p, w in zip(page.paths(), word, strict=True) if w == n),
         max(p[:, 0].max() for p, w in zip(page.paths(), word, strict=True) if w == n))
        for n in range(4)
    ]  # fmt: skip

    assert min(b[0] - a[1] for a, b in pairwise(boxes)) > 0.8 * 3.0


def test_letters_are_written_as_their_place_in_the_word_wants_them(font):
    composer = Composer(with_share(font, 1.0))
    composer.compose("lane", SETTINGS, seed=1)
    bank = composer._bank
    words = JoinedWords(bank, np.random.default_rng(0), composer.font.rhythm, x_height=500.0, mixing=False)
    picked = words.choose(list("lane"), np.ones(4, bool))
    ways = [(bool(bank.column("entry")[s]), bool(bank.column("exit")[s])) for s in picked.shape]

    assert ways == [(False, True), (True, True), (True, True), (True, False)]
    assert picked.held.tolist() == [True, True, True, False]


@pytest.mark.parametrize("wide", [2.0, 4.0])
def test_letters_are_chosen_that_stand_as_far_apart_as_the_hand_sets_them(wide):
    widths = np.linspace(1.8, 4.2, 9)
    attempts = [hump("n", float(w), 3.0, 1, (True, True), f"letter-1/1/{k}.1") for k, w in enumerate(widths)]
    composer = Composer(build_font(attempts, Record("joined"), accents=False).font)
    bank, x = composer._bank, composer.font.metrics.x_height
    # letters of one width that run into each other have their middles a width apart
    rhythm = {JOINS: 1.0, "step": wide / 3.0 * x, "step_share": 0.0, "step_sd": 0.1 * x}
    steps = []
    for seed in range(30):
        words = JoinedWords(bank, np.random.default_rng(seed), rhythm, x_height=x, mixing=False)
        one, two = words.choose(["n", "n"], np.ones(2, bool)).shape
        steps.append(bank.column("exit_x")[one] - bank.column("middle")[one] + bank.column("middle")[two])

    assert np.mean(steps) / x == pytest.approx(wide / 3.0, abs=0.15)


def as_word(text: str, row: int, *, odd: str = "") -> list[Attempt]:
    """Return the letters of a joined word of a page; those of `odd` are smaller and were read doubtfully."""
    size = {c: (w, h) for c, w, h in LETTERS}
    out = []
    for k, c in enumerate(text):
        width, height = (2.2, 2.4) if c in odd else size[c]
        a = hump(c, width, height, k, (k > 0, k + 1 < len(text)), f"letter-1/1/{row}.{k + 1}")
        out.append(replace(a, findings=(Finding("doubtful word", c),) if c in odd else ()))
    return out


def chosen(font, text: str) -> tuple[list[str], list[bool]]:
    """Return the attempts that the letters of a word are taken from, and where two were written together."""
    composer = Composer(font)
    bank = composer._bank
    words = JoinedWords(bank, np.random.default_rng(0), font.rhythm, x_height=500.0, mixing=True)
    picked = words.choose(list(text), np.ones(len(text), bool))
    source = {}
    for c in dict.fromkeys(text):
        pool = bank.pool(c)
        source |= {pool.first + k: key for k, key in enumerate(pool.sources)}
        source |= {s: key for key, s in bank.in_words(c).items()}
    return [source[s] for s in picked.shape.tolist()], picked.together.tolist()


def test_letters_that_were_written_in_one_word_are_written_together_again():
    others = [a for row in range(2, 6) for a in as_word("enalan", row)]
    font = build_font([*as_word("lane", 1), *others], Record("joined"), accents=False).font
    sources, together = chosen(with_share(font, 1.0), "lane")

    assert sources == ["letter-1/1/1.1", "letter-1/1/1.2", "letter-1/1/1.3", "letter-1/1/1.4"]
    assert together == [True, True, True, False]


def test_a_word_that_was_written_several_times_comes_in_turn():
    font = with_share(
        build_font([a for row in range(1, 4) for a in as_word("lane", row)], Record("joined"), accents=False).font, 1.0
    )
    bank = Composer(font)._bank
    words = JoinedWords(bank, np.random.default_rng(0), font.rhythm, x_height=500.0, mixing=True)
    text = list(" ".join(["lane"] * 30))
    firsts = words.choose(text, np.array([c != " " for c in text])).shape[::5].tolist()

    assert all(len(set(firsts[k : k + 3])) == 3 for k in range(0, 30, 3))


def test_a_hand_that_seldom_joins_takes_its_letters_from_wherever_they_stood():
    others = [a for row in range(2, 6) for a in as_word("enalan", row)]
    font = build_font([*as_word("lane", 1), *others], Record("joined"), accents=False).font
    _, together = chosen(with_share(font, 0.2), "lane")
    assert together == [False] * 4


def test_what_was_written_in_one_word_varies_as_one():
    """Higher, wider, more slanted, all of it alike: then an affine map makes the one of the other."""
    font = with_share(build_font(as_word("lanelane", 1), Record("joined"), accents=False).font, 1.0)
    still, lively = (
        Composer(font).compose("lanelane", replace(SETTINGS, life=life), seed=2).pages[0]
        for life in (
            Life(strength=0.0),
            Life(height=2.0, width=2.0, slant=2.0, foot=2.0, variants=0.0),
        )
    )
    was = np.column_stack([still.path(0), np.ones(len(still.path(0)))])
    now = lively.path(0)
    fitted = was @ np.linalg.lstsq(was, now, rcond=None)[0]

    assert len(still) == len(lively) == 1
    assert np.abs(now - was[:, :2]).max() > 0.2
    assert np.abs(now - fitted).max() < 0.1


def test_a_letter_that_suits_no_other_place_stays_beside_those_it_was_written_beside():
    sure = [a for row in range(2, 7) for a in as_word("elanan", row)]
    font = build_font([*as_word("nal", 1, odd="a"), *sure], Record("joined"), accents=False).font

    assert [g.source for g in font.in_words["a"]] == ["letter-1/1/1.2"]
    assert "letter-1/1/1.2" not in {g.source for g in font.glyphs["a"]}
    assert chosen(with_share(font, 1.0), "nal")[0][1] == "letter-1/1/1.2"
    assert "letter-1/1/1.2" not in chosen(with_share(font, 1.0), "ean")[0]


def test_a_letter_that_suits_no_other_place_begins_no_word_if_it_was_cut_from_one_before_it():
    """A part of it may have gone to that one: a t whose bar went to the r before it came back in every the."""
    sure = [a for row in range(2, 7) for a in (*as_word("anla", row), *as_word("elanan", 10 + row))]
    font = build_font([*as_word("nal", 1, odd="a"), *sure], Record("joined"), accents=False).font

    assert [g.source for g in font.in_words["a"]] == ["letter-1/1/1.2"]
    assert chosen(with_share(font, 1.0), "nal")[0][1] == "letter-1/1/1.2"
    assert "letter-1/1/1.2" not in chosen(with_share(font, 1.0), "aln")[0]


def test_a_letter_that_ends_a_word_keeps_the_white_of_its_character():
    sure = [a for row in range(2, 7) for a in as_word("elana", row)]
    font = build_font([*as_word("na", 1, odd="a"), *sure], Record("joined"), accents=False).font
    (odd,) = font.in_words["a"]
    whites = [g.advance - glyph_bounds(g)[2] for g in font.glyphs["a"] if EXIT not in g.anchors]

    assert odd.advance - glyph_bounds(odd)[2] == pytest.approx(np.median(whites), abs=0.1 * font.metrics.x_height)


def test_a_letter_set_aside_in_review_stands_in_no_word():
    attempts = [*as_word("nal", 1), *(a for row in range(2, 7) for a in as_word("elanan", row))]
    decided = BuildingRules(set_aside=frozenset({"letter-1/1/1.2"}))
    font = build_font(attempts, Record("joined"), decisions=decided, accents=False).font

    assert "letter-1/1/1.2" not in {g.source for g in (*font.glyphs["a"], *font.in_words.get("a", ()))}


def test_cells_that_lie_side_by_side_are_no_word():
    cells = [replace(a, allograph="", id=a.id.replace("letter", "sheet")) for a in as_word("lane", 1)]
    font = build_font([*read(), *cells], Record("joined"), accents=False).font

    assert chosen(with_share(font, 1.0), "lane")[1] == [False] * 4


def cubic(points: list[tuple[float, float]]) -> np.ndarray:
    return np.array(points, float)


def turns_and_bends(path: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return by how much direction (degrees) and curvature differ on the two sides of a path's knots."""
    turn, bend = [], []
    for k in range(3, len(path) - 3, 3):
        before, after = path[k] - path[k - 1], path[k + 1] - path[k]
        turn.append(np.degrees(np.arctan2(before[0] * after[1] - before[1] * after[0], before @ after)))
        sides = []
        for p0, p1, p2, at in ((path[k], path[k - 1], path[k - 2], 1), (path[k], path[k + 1], path[k + 2], -1)):
            first, second = p1 - p0, p2 - 2 * p1 + p0
            cross = first[0] * second[1] - first[1] * second[0]
            sides.append(-at * (2 / 3) * cross / np.hypot(*first) ** 3)
        bend.append(sides[1] - sides[0])
    return np.array(turn), np.array(bend)


@pytest.mark.parametrize(("gap", "lean"), [((0.0, 0.0), 0.0), ((0.3, 0.5), 40.0), ((-0.3, -0.6), -50.0)])
def test_a_join_has_no_corner_and_no_jump(gap, lean):
    one = cubic([(0, 0), (1, 0), (2, 3), (3, 3), (4, 3), (4, 0), (5, 0)])
    angle = np.radians(lean)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    other = (cubic([(0, 0), (1, 0), (1, 3), (2, 3), (3, 3), (3, 0), (4, 0)]) @ turn) + one[-1] + np.array(gap)
    path = joined(one, other, 1.0)
    turned, bent = turns_and_bends(path)

    assert np.allclose(path[0], one[0])
    assert np.allclose(path[-1], other[-1])
    assert np.abs(turned).max() < 1.0
    # inside the spline curvature is continuous; where it meets the letters it differs by less than a tight bend has
    inside = slice(len(bent) // 2 - PIECES // 2 + 1, len(bent) // 2 + PIECES // 2)
    assert np.abs(bent[inside]).max() < 1e-6
    assert np.abs(bent).max() < 3.0


def test_a_join_leaves_the_letters_beyond_its_reach_as_they_are():
    one = cubic([(0, 0), (1, 0), (2, 3), (3, 3), (4, 3), (4, 0), (5, 0)])
    other = one + np.array([5.2, 0.3])
    path = joined(one, other, 0.8)

    assert np.array_equal(path[:4], one[:4])
    assert np.array_equal(path[-4:], other[-4:])


def test_doubtful_letters_of_running_text_stay_out_where_sure_ones_are_enough():
    def letter(number: int, sure: bool) -> Attempt:
        a = hump("a", 3.0, 3.0, number, (True, True), f"letter-1/1/1.{2 * number}")
        return replace(a, findings=() if sure else (Finding("doubtful word", "a"),))

    many = [letter(n, n <= 4) for n in range(1, 8)]
    few = [letter(n, n <= 1) for n in range(1, 8)]

    assert {a.id for a in choose(many, BuildingRules())[0]} == {a.id for a in many[:4]}
    assert len(choose(few, BuildingRules())[0]) == 3
    # what a person keeps is used whatever else there is
    assert len(choose(many, BuildingRules(keep={a.id for a in many}))[0]) == 7


def test_a_letter_that_stood_alone_in_a_word_is_named_so():
    assert way_of(False, False) == APART
