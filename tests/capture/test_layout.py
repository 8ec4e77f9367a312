"""Where everything is on the paper."""

from __future__ import annotations

import hashlib
import json
import unicodedata
from collections import Counter
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.errors import UsageError
from capture.labels import NAMES, label_of
from capture.layout import LAYOUT, LAYOUTS, lay_out
from capture.page_fixtures import MARGIN_MM
from capture.paper import paper_name, paper_size
from capture.sheet import Box, Page
from capture.sheet_file import sheet_to_json
from capture.writing_order import in_rounds, runs_of

LETTERS = "abcdefghijklmnopqrstuvwxyz"


def overlap(a: Box, b: Box) -> bool:
    return a[0] < b[0] + b[2] and b[0] < a[0] + a[2] and a[1] < b[1] + b[3] and b[1] < a[1] + a[3]


def everything_on(page: Page) -> list[Box]:
    marks = [(m.x_mm - m.size_mm / 2, m.y_mm - m.size_mm / 2, m.size_mm, m.size_mm) for m in page.marks]
    bar = (page.bar_mm[0], page.bar_mm[1] - 1.6, page.bar_mm[2], 3.2)
    codes = [page.code_mm, page.second_code_mm]
    cells = [box for cell in page.cells for box in (cell.box_mm, cell.label_mm, cell.tick_mm)]
    return [*marks, bar, *codes, page.patch_mm, *cells, *(line.box_mm for line in page.ruled)]


@pytest.mark.parametrize(
    ("name", "size"),
    # ISO 216:2007, tables of the A and B series.
    [
        ("A2", (420, 594)),
        ("A3", (297, 420)),
        ("A4", (210, 297)),
        ("A5", (148, 210)),
        ("B4", (250, 353)),
        ("B5", (176, 250)),
    ],
)
def test_papers_of_the_a_and_b_series_have_their_iso_sizes(name, size):
    assert paper_size(name) == size


def test_letter_is_eight_and_a_half_by_eleven_inches():
    # ANSI/ASME Y14.1, size A: 8.5 x 11 in.
    assert paper_size("letter") == pytest.approx((8.5 * 25.4, 11 * 25.4))


def test_a_paper_may_be_given_in_millimetres():
    assert paper_size("200 x 250.5 mm") == (200.0, 250.5)
    assert paper_name("200 x 250.50 mm") == "200x250.5"


@pytest.mark.parametrize(
    "paper", ["A9", "", "210", "0x0", "100x148", "-210x297", "210x99999", "2000x300", "1e3x300", "nanxnan"]
)
def test_an_impossible_paper_is_named_with_what_to_do(paper):
    with pytest.raises(UsageError, match=r"^paper: .+\. \w.+\.$"):
        paper_size(paper)


def test_attempts_come_in_runs_of_two_or_three():
    for count in range(2, 40):
        assert sum(runs_of(count)) == count
        assert set(runs_of(count)) <= {2, 3}


def test_the_first_round_holds_every_character_before_any_comes_again():
    order = in_rounds([("e", 7), ("t", 4), ("z", 2)])

    first_round = order[: 3 + 2 + 2]
    assert [char for char, _ in first_round] == list("eeettzz")
    assert Counter(char for char, _ in order) == {"e": 7, "t": 4, "z": 2}
    assert sorted(order) == sorted({*order})


def test_runs_are_not_broken_over_rows():
    sheet = lay_out(dict.fromkeys(LETTERS, 3), sheet_id="s")

    for char in LETTERS:
        assert len({cell.row for page in sheet.pages for cell in page.cells if cell.char == char}) == 1


def test_the_same_request_gives_the_same_sheet():
    counts = {"a": 4, "é": 2, "—": 3}

    assert lay_out(counts, sheet_id="s") == lay_out(list(counts.items()), sheet_id="s")


def test_large_writing_fills_its_rows_too():
    sheet = lay_out(dict.fromkeys(LETTERS, 3), sheet_id="s", x_height_mm=7.0)

    for page in sheet.pages:
        ends = {cell.row: cell.box_mm[0] + cell.box_mm[2] for cell in page.cells}
        assert all(end == pytest.approx(195.5, abs=0.01) for row, end in ends.items() if row < max(ends))


@pytest.mark.parametrize(
    ("layout", "paper", "x_height", "digest"),
    [
        (1, "A4", 3.5, "44b81ce3eff89c01"),
        (1, "A5", 2.5, "2961f94614bc87b4"),
        (1, "Letter", 7.0, "b0d358ceaa3417a8"),
        (2, "A4", 3.5, "775871733f93016a"),
        (2, "A5", 2.5, "636ed6c2f134b3c7"),
        (2, "Letter", 7.0, "f0d45237cf6634b7"),
        (3, "A4", 3.5, "2cc177e8c028b706"),
        (3, "A5", 2.5, "fe31bdec56366eee"),
        (3, "Letter", 7.0, "fdb0c9a078c7324a"),
    ],
)
def test_the_rules_have_not_changed_under_sheets_that_are_on_paper(layout, paper, x_height, digest):
    # If this fails, give the new rules a new LAYOUT number and keep the old ones for old sheets.
    chars = [*LETTERS, *LETTERS.upper(), *"0123456789", *sorted(NAMES), *"àÉßłŻñЖжАаάΩ@&"]
    counts = {char: 2 + i % 5 for i, char in enumerate(chars)}
    text = "Dusk over the harbour. " * 30
    sheet = lay_out(counts, sheet_id="s", paper=paper, x_height_mm=x_height, ruled_text=text, layout=layout)
    data = json.dumps(sheet_to_json(sheet), sort_keys=True).encode()

    assert max(LAYOUTS) == LAYOUT == 3
    assert hashlib.sha256(data).hexdigest()[:16] == digest


def test_a_page_can_be_looked_at_by_its_markers_alone():
    marks = {mark.id: mark for mark in lay_out({"a": 2}, sheet_id="s").pages[0].marks}

    # A4: 5 mm of margin and half a marker of 7 mm from each edge.
    assert [(marks[i].x_mm, marks[i].y_mm) for i in range(4)] == [
        (8.5, 8.5),
        (201.5, 8.5),
        (201.5, 288.5),
        (8.5, 288.5),
    ]
    assert marks[10].y_mm == marks[0].y_mm and marks[50].y_mm == marks[2].y_mm
    assert marks[30].x_mm == marks[1].x_mm and marks[70].x_mm == marks[0].x_mm
    assert marks[10].x_mm < marks[11].x_mm and marks[30].y_mm < marks[31].y_mm
    assert len(marks) == 4 + 2 * 3 + 2 * 5


def test_wide_characters_get_wider_cells():
    cells = {cell.char: cell for cell in lay_out({"e": 1, "m": 1, "W": 1, "—": 1, "@": 1}, sheet_id="s").pages[0].cells}

    assert all(cells[char].box_mm[2] > 1.3 * cells["e"].box_mm[2] for char in "mW—@")


def test_guides_stand_in_the_box_with_room_for_an_accent_on_a_capital():
    cell = lay_out({"É": 1}, sheet_id="s", x_height_mm=3.0).pages[0].cells[0]

    over, under = cell.baseline_mm - cell.box_mm[1], cell.box_mm[1] + cell.box_mm[3] - cell.baseline_mm
    assert cell.x_height_mm == 3.0
    assert (cell.ascender_mm, cell.descender_mm) == (6.0, -3.0)
    assert over - cell.ascender_mm >= 0.8 * cell.x_height_mm
    assert under + cell.descender_mm > 0


LOOK_ALIKE = ("Il1|ſı", "O0oοоОΟ", "-‐–—−_", "'‘’‚,`´′", '"“”„″', "‹›<>", "cC", "xX", "aа", "pр", "óÓ", "Íí")


@pytest.mark.parametrize("alike", [pair for group in LOOK_ALIKE for pair in combinations(group, 2)])
def test_characters_that_look_alike_have_labels_that_do_not(alike):
    one, other = (label_of(char).partition("  ")[2] for char in alike)

    assert one != other


def test_a_text_to_copy_is_printed_whole_on_pages_after_the_cells():
    text = "The lamp was lit at dusk and turned all night above the harbour. " * 12
    sheet = lay_out({"a": 2}, sheet_id="s", ruled_text=text)

    assert [bool(page.ruled) for page in sheet.pages] == [False, True, True]
    assert " ".join(line.text for page in sheet.pages for line in page.ruled) == text.strip()
    assert not any(page.cells for page in sheet.pages[1:])


@pytest.mark.parametrize("x_height", [0, -3, 1.0, 13.0, float("nan"), float("inf")])
def test_an_impossible_writing_size_is_refused(x_height):
    with pytest.raises(UsageError, match="x-height"):
        lay_out({"a": 2}, sheet_id="s", x_height_mm=x_height)


@pytest.mark.parametrize("sheet_id", ["", "../../etc", "a b", "é", "x" * 25])
def test_a_sheet_id_is_safe_as_a_folder_name(sheet_id):
    with pytest.raises(UsageError, match="sheet id"):
        lay_out({"a": 2}, sheet_id=sheet_id)


def test_nothing_to_write_is_said():
    with pytest.raises(UsageError, match="no characters to write"):
        lay_out({}, sheet_id="s")


papers = st.sampled_from(["A5", "B5", "A4", "Letter", "A3"]) | st.builds(
    "{}x{}".format, st.integers(120, 500), st.integers(150, 700)
)
letters = st.characters(categories=["Lu", "Ll", "Nd", "Po", "Pd", "Pi", "Pf", "Sm"], max_codepoint=0x24FF)


@given(
    counts=st.dictionaries(letters, st.integers(1, 12), min_size=1, max_size=60),
    paper=papers,
    x_height=st.floats(1.5, 12.0),
    ruled=st.none() | st.text(alphabet=letters | st.just(" "), max_size=300),
)
def test_whatever_is_asked_for_lies_apart_and_inside_the_margins_or_is_refused(counts, paper, x_height, ruled):
    try:
        sheet = lay_out(counts, sheet_id="s", paper=paper, x_height_mm=x_height, ruled_text=ruled)
    except UsageError:
        return

    asked: Counter[str] = Counter()
    for char, count in counts.items():
        asked[unicodedata.normalize("NFC", char)] += count
    assert Counter(cell.char for page in sheet.pages for cell in page.cells) == asked
    for page in sheet.pages:
        boxes = everything_on(page)
        width, height = page.size_mm
        for x, y, w, h in boxes:
            assert x >= MARGIN_MM - 0.001 and y >= MARGIN_MM - 0.001
            assert x + w <= width - MARGIN_MM + 0.001 and y + h <= height - MARGIN_MM + 0.001
            assert w > 0 and h > 0
        # Neighbours may share an edge, which is rounded to a micrometre.
        shrunk = [(x + 0.001, y + 0.001, w - 0.002, h - 0.002) for x, y, w, h in boxes]
        shrunk.sort()
        for i, box in enumerate(shrunk):
            for other in shrunk[i + 1 :]:
                if other[0] > box[0] + box[2]:
                    break
                assert not overlap(box, other)
