from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial import KDTree

from ownhand.composer import Life, PlotPage, Ruling, Settings
from ownhand.composer.plot.plot_page import flatten
from ownhand.composer.settings.paper_sizes import PAPERS_MM, paper_size
from ownhand.composer.text.characters import breaks_inside, normal
from ownhand.composer.text.fitter import Fitter
from ownhand.composer.text.passage import passage
from tests.ownhand.composing import LETTER, composer

STILL = Life(strength=0)
CARD = Settings(paper="postcard", margins_mm=(10, 10, 10, 10), life=STILL)


def lines(page: PlotPage) -> list[str]:
    """Return the characters of each line, spaces between words put back."""
    out: dict[int, str] = {}
    last: dict[int, int] = {}
    for letter in np.unique(page.letter):
        k = int(np.flatnonzero(page.letter == letter)[0])
        line, word = int(page.line[k]), int(page.word[k])
        gap = " " if line in out and last[line] != word else ""
        out[line] = out.get(line, "") + gap + page.chars[letter]
        last[line] = word
    return [out[k] for k in sorted(out)]


def extent(page: PlotPage, line: int) -> tuple[float, float]:
    """Return the left and right end of a line, mm."""
    own = np.repeat(page.line, np.diff(page.starts)) == line
    return float(page.points_mm[own, 0].min()), float(page.points_mm[own, 0].max())


def foot(page: PlotPage, line: int, char: str = "x") -> float:
    """Return the lowest y of a character in a line, mm."""
    paths = [k for k in range(len(page)) if page.line[k] == line and page.chars[page.letter[k]] == char]
    return max(float(page.path(k)[:, 1].max()) for k in paths)


def test_papers_have_the_sizes_of_their_standards() -> None:
    # ISO 216:2007 tables 1 and 2; ISO 269:2017 for DL, C5, C6; ANSI Y14.1 for Letter (8.5 x 11 in)
    assert [paper_size(p) for p in ("A3", "A4", "A5", "A6")] == [(297, 420), (210, 297), (148, 210), (105, 148)]
    assert [paper_size(p) for p in ("DL", "C5", "C6")] == [(220, 110), (229, 162), (162, 114)]
    assert paper_size("Letter") == pytest.approx((8.5 * 25.4, 11 * 25.4))
    assert paper_size("postcard") == (148, 105)
    for size in PAPERS_MM.values():
        assert paper_size(size, landscape=True) == (max(size), min(size))


def test_lines_break_at_spaces_and_hold_as_much_as_fits() -> None:
    page = composer().compose(LETTER, replace(CARD, paper="A5"), seed=1).pages[0]

    found = lines(page)
    assert " ".join(found) == LETTER
    assert max(extent(page, k)[1] for k in range(len(found))) < 138
    # greedy: the next line's first word would not have found room
    for k in range(len(found) - 1):
        right = extent(page, k)[1]
        next_word = found[k + 1].split()[0]
        end = extent_of_word(page, k + 1, len(next_word))
        assert right + end + 1.0 > 138 - 2


def extent_of_word(page: PlotPage, line: int, letters: int) -> float:
    """Return the width of the first letters of a line, mm."""
    first = int(page.letter[page.line == line].min())
    own = np.repeat((page.letter >= first) & (page.letter < first + letters), np.diff(page.starts))
    return float(np.ptp(page.points_mm[own, 0]))


@pytest.mark.parametrize("align", ["left", "right", "centre", "justified"])
def test_lines_stand_where_the_alignment_says(align: str) -> None:
    page = composer().compose(LETTER, replace(CARD, paper="A5", align=align), seed=1).pages[0]

    count = len(lines(page))
    ends = np.array([extent(page, k) for k in range(count)])
    inner = ends[:-1]
    near = 1.6
    if align in ("left", "justified"):
        assert np.ptp(ends[:, 0]) < near
    if align in ("right",):
        assert np.ptp(ends[:, 1]) < near
    if align == "justified":
        assert np.ptp(inner[:, 1]) < near
        assert ends[-1, 1] < inner[:, 1].min() - near
    if align == "centre":
        assert np.ptp(ends.sum(axis=1)) < 2 * near


def test_ruled_writing_sits_on_the_printed_lines() -> None:
    settings = replace(CARD, paper="A5", ruling=Ruling(9.0, 4.0))

    page = composer(scatter=0.0).compose("x " * 200, settings, seed=1).pages[0]

    feet = np.array([foot(page, k) for k in range(len(lines(page)))])
    # the lowest point of the x may lie off the baseline by what the font's own x does
    steps = np.diff(feet)
    assert steps == pytest.approx(9.0)
    assert (feet[0] - 4.0) % 9.0 == pytest.approx((feet[-1] - 4.0) % 9.0, abs=1e-6)
    assert min((feet[0] - 4.0) % 9.0, 9.0 - (feet[0] - 4.0) % 9.0) < 0.2


def test_a_blank_line_opens_half_a_line() -> None:
    one = composer().compose("x\nx\n\nx", CARD, seed=1).pages[0]

    feet = [foot(one, k) for k in range(3)]
    assert (feet[2] - feet[1]) / (feet[1] - feet[0]) == pytest.approx(1.5)


@pytest.mark.parametrize(
    ("room", "meet"),
    [
        ({}, False),
        ({"ruling": Ruling(9.0, 10.0)}, False),
        ({"ruling": Ruling(4.5, 10.0), "x_height_mm": 3.0}, True),
        ({"line_spacing": 0.6}, True),
    ],
)
def test_lines_that_have_no_room_to_keep_apart_are_told_of(room: dict, meet: bool) -> None:
    made = composer().compose(LETTER * 3, replace(CARD, paper="A5", **room), seed=1)

    points, starts = flatten(made.pages[0].points_mm, made.pages[0].starts, within_mm=0.02)
    line = np.repeat(made.pages[0].line, np.diff(starts))
    ink = [points[line == k] for k in range(int(line.max()) + 1)]
    near = [k for k in range(len(ink) - 1) if KDTree(ink[k]).query(ink[k + 1])[0].min() < 0.2 * made.pages[0].pen_mm]
    told = [n for n in made.notices if n.kind == "meeting"]
    assert bool(near) == meet
    assert [str(n).partition(",")[0] for n in told] == ["the page: ink of a line runs into the next"] * meet
    assert sum(n.count for n in told) >= len(near)


def test_list_items_hang_from_their_marks() -> None:
    page = composer().compose("- bring boots and the little telescope, and a rope\n2. tea", CARD, seed=1).pages[0]

    found = lines(page)
    assert found[0].startswith("-")
    assert not found[1].startswith("-")
    starts = [extent(page, k)[0] for k in range(3)]
    assert starts[1] > starts[0] + 3
    assert found[2].startswith("2.")


@pytest.mark.parametrize("mark", ["-\t", "1.\t", "a) ", "12) "])
def test_marks_as_word_processors_set_them_hang_too(mark: str) -> None:
    page = composer().compose(mark + "no " * 40, CARD, seed=1).pages[0]

    second = float(page.points_mm[np.repeat(page.line, np.diff(page.starts)) == 1, 0].min())
    letters = [k for k in range(len(page)) if page.line[k] == 0 and page.chars[page.letter[k]] == "n"]
    assert second == pytest.approx(min(float(page.path(k)[:, 0].min()) for k in letters), abs=1.5)


def test_without_lists_a_dash_is_a_dash() -> None:
    page = composer().compose("- tea", replace(CARD, lists=False), seed=1).pages[0]

    assert lines(page) == ["- tea"]


def test_an_indent_moves_the_first_line_alone() -> None:
    page = composer().compose(LETTER[:120], replace(CARD, indent_mm=12), seed=1).pages[0]

    starts = [extent(page, k)[0] for k in range(len(lines(page)))]
    assert starts[0] - starts[1] == pytest.approx(12, abs=1.5)


def test_tabs_bring_columns_under_each_other() -> None:
    page = composer().compose("a\tb\nmmm\tb", replace(CARD, tab_mm=30), seed=1).pages[0]

    at = [float(page.path(k)[:, 0].min()) for k in range(len(page)) if page.chars[page.letter[k]] == "b"]
    assert np.ptp(at) < 1.0
    assert at[0] == pytest.approx(40, abs=2)


def test_a_soft_hyphen_shows_only_where_the_line_breaks() -> None:
    narrow = replace(CARD, margins_mm=(10, 111, 10, 10))

    broken = composer().compose("un light\u00adhouse", narrow, seed=1).pages[0]
    whole = composer().compose("un light\u00adhouse", CARD, seed=1).pages[0]

    assert lines(broken) == ["un light-", "house"]
    assert lines(whole) == ["un lighthouse"]


def test_hyphenation_divides_where_the_dictionary_says() -> None:
    # 'hy-phen-ation': Liang, Word Hy-phen-a-tion by Com-put-er, thesis, Stanford 1983
    settings = replace(CARD, margins_mm=(10, 105, 10, 10), hyphenate="en_US")

    found = lines(composer().compose("our hyphenation", settings, seed=1).pages[0])

    assert found in (["our hy-", "phenation"], ["our hyphen-", "ation"])


def test_no_line_breaks_at_a_no_break_space() -> None:
    narrow = replace(CARD, margins_mm=(10, 108, 10, 10))

    assert lines(composer().compose("go to 27\u00a0miles", narrow, seed=1).pages[0])[-1] == "27 miles"


def test_no_line_ends_inside_a_number_in_groups_of_three() -> None:
    # groups of three figures: SI Brochure, 9th edition, 5.4.4; that they stay together is common practice, no source
    def breaks(text: str) -> list[int]:
        return [b.start for b in passage(text, Fitter("0123456789 timesn")).breaks if not b.poor]

    assert breaks("in 1 680 times") == [3, 9]
    assert breaks("12 345 678 times") == [11]
    # a year, two figures and a list are no such number
    assert breaks("in 1912 250 times") == [3, 8, 12]
    assert breaks("in 17 12 times") == [3, 6, 9]
    assert len(breaks(" ".join(["100"] * 40))) == 39


def test_a_word_longer_than_the_line_is_broken_and_said() -> None:
    made = composer().compose("m" * 80, CARD, seed=1)

    found = lines(made.pages[0])
    assert "".join(line.removesuffix("-") for line in found) == "m" * 80
    assert all(line.endswith("-") for line in found[:-1]) and not found[-1].endswith("-")
    assert [n.kind for n in made.notices] == ["broken word"]


def test_a_broken_word_leaves_no_single_letter_for_the_next_line() -> None:
    lefts = {len(lines(composer().compose("m" * n, CARD, seed=1).pages[0])[-1]) for n in range(20, 60)}

    assert min(lefts) >= 3 < max(lefts)


def test_an_address_is_broken_without_a_hyphen() -> None:
    made = composer().compose("www.example/" + "m7" * 30, CARD, seed=1)

    assert "".join(lines(made.pages[0])) == "www.example/" + "m7" * 30


@pytest.mark.parametrize("heading", ["~centre The fog", "~centre The fog\n\n~centre of May"])
def test_a_heading_does_not_end_a_page(heading: str) -> None:
    settings = replace(CARD, paper="A5")
    whole = len(lines(composer().compose("a\n" * 60, settings, seed=1).pages[0]))

    for before in range(whole - 5, whole + 1):
        pages = composer().compose("a\n" * before + heading + "\n\nrolled in", settings, seed=1).pages

        last = lines(pages[0])[-1]
        assert last in ("a", "rolled in"), before
        assert len(pages) == 1 + (last == "a")


def test_lines_with_tabs_under_each_other_are_columns() -> None:
    text = "aa\tb\tx\nlamp oil\tb\tx\naa\tbbbb bb\tx\nso\naa\tb"
    page = composer().compose(text, replace(CARD, paper="A5"), seed=1).pages[0]
    paths = [(int(page.line[k]), page.chars[page.letter[k]], float(page.path(k)[:, 0].min())) for k in range(len(page))]
    left = {char: [min(x for n, c, x in paths if (n, c) == (line, char)) for line in range(3)] for char in ("b", "x")}

    # as far as their lines' left edges are: a hand's own unevenness
    edges = [min(x for n, _, x in paths if n == line) for line in range(3)]
    for char in "bx":
        assert np.ptp(np.array(left[char]) - edges) < 1.5
    assert max(x for n, c, x in paths if n == 1 and c == "l") < min(left["b"])
    # the next table has columns of its own
    assert min(x for n, c, x in paths if (n, c) == (4, "b")) < min(left["b"]) - 5


def test_a_table_that_is_wider_than_its_line_keeps_even_stops() -> None:
    page = composer().compose("lamp " * 8 + "\tb\na\tb", replace(CARD, paper="postcard"), seed=1).pages[0]

    assert float(page.points_mm[:, 0].max()) <= 138


def test_breaks_inside_words_follow_unicode() -> None:
    # UAX 14: a break after a hyphen between letters (class HY), none between figures (LB25) or in front of a full stop
    assert breaks_inside("well-known") == (5,)
    assert breaks_inside("1,50-2") == ()
    assert breaks_inside("end.") == ()


def test_a_lone_mark_never_begins_or_ends_a_line() -> None:
    # French typography puts spaces inside guillemets and before '!' (common practice, no source)
    found = passage("« oui » ! non", Fitter("«» !ouin"))

    assert [b.start for b in found.breaks if not b.poor] == [10]


def test_all_kinds_of_line_ends_are_one() -> None:
    assert normal("a\r\nb\rc\u2028d\u0085e") == "a\nb\nc\nd\ne"


@pytest.mark.parametrize("align", ["left", "right", "centre"])
def test_a_paragraph_with_a_place_of_its_own_has_no_indent(align: str) -> None:
    plain, indented = (
        composer().compose(f"~{align} Dear Orla,", replace(CARD, indent_mm=mm), seed=1).pages[0] for mm in (0, 12)
    )

    np.testing.assert_allclose(plain.points_mm, indented.points_mm)
