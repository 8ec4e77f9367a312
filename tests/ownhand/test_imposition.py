"""Several cards on a sheet, one job with pauses, an overview, what rows lacked, values as languages set them."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pygcode
import pytest
from PIL import Image

from capture.errors import InputError, UsageError
from fontbuild.formats.ufo import save_ufo
from ownhand.cli.main import main
from ownhand.commands.overview import write_overview
from ownhand.composer import Settings
from ownhand.composer.ensemble import Ensemble
from ownhand.composer.formats.gcode import gcode_job
from ownhand.composer.merge import mail_merge
from ownhand.composer.merge.mail_merge import ROWS, run_table
from ownhand.composer.merge.table import Table, read_table
from ownhand.composer.merge.template import parse_template
from ownhand.composer.merge.value_formats import formatted
from ownhand.composer.merge.workers import Run, worked
from ownhand.composer.plot.imposition import crop_marks, sheet_of, sheets_of
from ownhand.composer.plot.plot_page import PlotPage
from ownhand.composer.plot.travel import least_travel
from ownhand.composer.settings.additions import Curve
from ownhand.composer.settings.imposition import Imposition
from tests.ownhand.composing import composer
from tests.ownhand.hershey_font import hershey_font

CARD = Settings(paper=(85.0, 55.0), margins_mm=(6.0,) * 4, x_height_mm=2.0)
A4 = Imposition(paper="A4", gap_mm=(5.0, 5.0))
FONT = hershey_font()


def card(text: str, seed: int = 1) -> PlotPage:
    return composer().compose(text, CARD, seed=seed).pages[0]


def test_a_card_with_a_line_along_a_curve_goes_on_a_sheet_as_it_is():
    """The line is first written straight, on a strip wider than any sheet."""
    curve = Curve("rim", "M 12 30 A 40 40 0 0 1 73 30", x_height_mm=2.0)
    tag = replace(CARD, curves=(curve,))
    texts = {"body": "Orla", "rim": "the lamp is lit"}
    alone = Ensemble(FONT).compose(texts, tag, 1)
    several = Ensemble(FONT).compose(texts, replace(tag, impose=A4), 1)

    assert np.array_equal(alone.pages[0].points_mm, several.pages[0].points_mm)


def guests(tmp_path: Path, names: list[str]) -> Table:
    path = tmp_path / "guests.csv"
    path.write_text("name,sum,day\n" + "".join(f"{n},1234.5,2026-11-28\n" for n in names))
    return read_table(path)


def test_places_fill_the_sheet_and_stand_in_its_middle() -> None:
    places = A4.places((85.0, 55.0))
    (x0, y0), (x1, y1) = np.min(places, axis=0), np.max(places, axis=0)

    # room 190 x 277 mm: 2 across (175), 4 down (235); a fifth would need 295
    assert len(places) == 8
    assert (x0 + x1 + 85) / 2 == pytest.approx(105)
    assert (y0 + y1 + 55) / 2 == pytest.approx(148.5)


@pytest.mark.parametrize("asked", [{"columns": 3}, {"rows": 5}, {"margins_mm": (10, 70, 10, 70)}])
def test_cards_that_do_not_fit_a_sheet_are_refused(asked: dict[str, object]) -> None:
    with pytest.raises(UsageError, match=r"impose: .* do not fit"):
        replace(CARD, impose=replace(A4, **asked))


def test_a_card_on_a_sheet_is_the_card_itself_moved() -> None:
    one, two = card("a lamp", 1), card("a seal", 2)
    sheet = sheet_of([one, None, two], replace(A4, crop_marks=False))
    places = A4.places((85.0, 55.0))

    assert sheet.size_mm == (210.0, 297.0)
    np.testing.assert_allclose(sheet.points_mm[: len(one.points_mm)], one.points_mm + places[0])
    np.testing.assert_allclose(sheet.points_mm[len(one.points_mm) :], two.points_mm + places[2])
    assert sheet.chars == one.chars + two.chars


def test_a_sheet_tells_the_travel_of_all_its_cards_as_they_were_written() -> None:
    cards = [least_travel(card("we lit the lamp at four and it was seen", k)) for k in range(3)]
    sheet = sheet_of(cards, replace(A4, crop_marks=False))

    assert sheet.writing_travel_mm == pytest.approx(sum(c.writing_travel_mm or np.nan for c in cards))
    assert sheet_of([card("a lamp", 1)] * 2, A4).writing_travel_mm is None


def test_crop_marks_point_at_every_corner_and_lie_on_no_card() -> None:
    corners = A4.places((85.0, 55.0))
    marks = crop_marks(corners, (85.0, 55.0), A4)
    ends = np.array([[m[0], m[-1]] for m in marks])

    for x, y in corners:
        for cx, cy in ((x, y), (x + 85, y), (x, y + 55), (x + 85, y + 55)):
            assert np.any(np.isclose(ends[:, :, 1], cy).all(axis=1)), "a level mark points at the corner"
            assert np.any(np.isclose(ends[:, :, 0], cx).all(axis=1)), "an upright mark points at the corner"
        middle = ends.mean(axis=1)
        on_card = (middle[:, 0] > x) & (middle[:, 0] < x + 85) & (middle[:, 1] > y) & (middle[:, 1] < y + 55)
        assert not on_card.any()


def test_pages_of_one_text_go_on_as_many_sheets_as_they_need() -> None:
    sheets = sheets_of([card(f"lamp {k}", k) for k in range(11)], A4)

    assert [s.number for s in sheets] == [1, 2]


def test_a_table_becomes_sheets_and_a_row_that_cannot_be_written_leaves_its_place_free(tmp_path: Path) -> None:
    run = Run(replace(CARD, impose=A4))
    table = guests(tmp_path, [f"Guest {k}" for k in range(9)] + ["long " * 90])
    done = run_table(FONT, table, parse_template("Dear {name},"), tmp_path / "out", run, workers=1)
    files = sorted(p.name for p in (tmp_path / "out").glob("*.svg"))

    assert files == ["sheet-001.svg", "sheet-002.svg"]
    assert done.written == 2
    assert [f.line for f in done.faults] == [11]
    assert "a card has one" in done.faults[0].message
    with (tmp_path / "out" / ROWS).open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == 10
    assert [r["not written"] != "" for r in rows] == [False] * 9 + [True]


def test_a_sheets_run_that_was_stopped_goes_on_where_it_was(tmp_path: Path) -> None:
    run, template = Run(replace(CARD, impose=A4)), parse_template("Dear {name},")
    table = guests(tmp_path, [f"Guest {k}" for k in range(9)])
    run_table(FONT, table, template, tmp_path / "out", run, workers=1)
    (tmp_path / "out" / "sheet-002.svg").unlink()
    again = run_table(FONT, table, template, tmp_path / "out", run, workers=1)

    assert (again.written, again.skipped) == (1, 1)


def test_one_file_stops_before_each_next_card_and_says_which(tmp_path: Path) -> None:
    run = Run(CARD, formats=("gcode",), one_file=True)
    table = guests(tmp_path, ["Orla", "Jette", "Łucja Wójcik"])
    run_table(FONT, table, parse_template("Dear you,"), tmp_path / "out", run, name_field="name", workers=1)
    text = (tmp_path / "out" / "all.gcode").read_text()
    words = [block for line in text.splitlines() for block in pygcode.Line(line).block.gcodes]

    assert re.findall(r"\(MSG, next: (.*)\)\nM0", text) == ["Jette, 2 of 3", "Lucja-Wojcik, 3 of 3"]
    assert re.findall(r"\(MSG, first: (.*)\)\n(?!M0)", text) == ["Orla, 1 of 3"]
    assert sum(isinstance(w, pygcode.GCodePauseProgram) for w in words) == 2
    assert sum(isinstance(w, pygcode.GCodeEndProgram | pygcode.gcodes.GCodeEndProgramPalletShuttle) for w in words) == 1
    # the pen is up at every pause
    for before in re.findall(r"([^\n]*\n)(?:G0 X0 Y0\n)?\(MSG", text):
        assert before.startswith("G0 Z3")


def test_one_file_of_another_kind_is_refused() -> None:
    with pytest.raises(UsageError, match="only G-code"):
        Run(CARD, formats=("svg",), one_file=True)


def test_a_program_of_no_page_is_no_program() -> None:
    with pytest.raises(ValueError, match="no page"):
        gcode_job([])


def test_the_overview_shows_every_card_under_its_name(tmp_path: Path) -> None:
    run = Run(CARD, thumbnail_dpi=40.0)
    table = guests(tmp_path, [f"Guest {k}" for k in range(40)])
    done = run_table(FONT, table, parse_template("Dear {name},"), tmp_path / "out", run, check=True, workers=1)
    files = write_overview(done.thumbnails, tmp_path / "all.png")
    whole, rest = (np.asarray(Image.open(f).convert("L")) for f in files)
    dark = whole < 160

    assert len(done.thumbnails) == 40
    assert not (tmp_path / "out").exists()
    assert [f.name for f in files] == ["all.png", "all-2.png"]
    assert len(rest) < len(whole), "a page is as long as it is filled"
    # ink in the first and the last column and row of the first page
    h, w = dark.shape
    for rows in (slice(0, h // 5), slice(3 * h // 5, h)):
        for columns in (slice(0, w // 4), slice(3 * w // 4, w)):
            assert dark[rows, columns].any()


def test_a_long_name_ends_before_the_next_card_of_the_overview(tmp_path: Path) -> None:
    blank = io.BytesIO()
    Image.new("RGB", (90, 60), "white").save(blank, "PNG")
    (file,) = write_overview([("Hohenleuchtturm-" * 4, blank.getvalue())], tmp_path / "all.png")

    dark = np.flatnonzero((np.asarray(Image.open(file).convert("L")) < 160).any(axis=0))
    # four cards of equal width, 10 mm of margin and 5 mm between them: the second begins at 58.75 mm
    assert 40 * 6 < dark.max() < 54 * 6


def test_the_overview_is_in_the_order_of_the_table_whatever_the_cards_are_called(tmp_path: Path) -> None:
    names = ["Wim", "Orla", "Ada", "Zoe", *(f"G{k}" for k in range(30))]
    table, card = guests(tmp_path, names), parse_template("Dear {name},")
    run = Run(CARD, thumbnail_dpi=20.0)

    seen = run_table(FONT, table, card, tmp_path / "out", run, name_field="name", check=True, workers=2)

    assert [name for name, _ in seen.thumbnails] == names


def test_cards_that_are_only_looked_at_are_set_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    font = save_ufo(FONT, tmp_path / "font.ufo")
    (tmp_path / "guests.csv").write_text("name\nOrla\nWim\n")
    (tmp_path / "card.txt").write_text("Dear {name}")
    table = ["--table", str(tmp_path / "guests.csv"), "--template", str(tmp_path / "card.txt")]
    runs: list[int] = []
    monkeypatch.setattr(mail_merge, "worked", lambda jobs, *rest: runs.append(len(jobs)) or worked(jobs, *rest))

    looked = ["--check", "--overview", str(tmp_path / "all.png")]
    code = main(["write", str(font), *table, "-o", str(tmp_path / "out"), *looked])

    assert (code, runs) == (0, [2])
    assert (tmp_path / "all.png").is_file() and not list(tmp_path.glob("out/*.svg"))


def test_a_table_is_checked_without_a_place_to_write_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    font = save_ufo(FONT, tmp_path / "font.ufo")
    (tmp_path / "guests.csv").write_text("name\nOrla\nWim\n")
    (tmp_path / "card.txt").write_text("Dear {name}")
    table = ["--table", str(tmp_path / "guests.csv"), "--template", str(tmp_path / "card.txt")]
    monkeypatch.chdir(tmp_path)
    before = sorted(p.name for p in tmp_path.iterdir())

    assert main(["write", str(font), *table, "--check"]) == 0
    assert "2 of 2 rows can be written" in capsys.readouterr().err
    assert main(["write", str(font), *table]) == 2
    assert main(["write", str(font), "tea"]) == 2
    assert "nothing says where to write. Give -o page.svg" in capsys.readouterr().err
    assert sorted(p.name for p in tmp_path.iterdir()) == before


def test_cards_that_are_written_are_set_once_for_their_files_and_their_pictures(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    font = save_ufo(FONT, tmp_path / "font.ufo")
    guests_file = tmp_path / "guests.csv"
    guests_file.write_text("name\nOrla\nWim\n")
    (tmp_path / "card.txt").write_text("Dear {name}")
    looked = ["--template", str(tmp_path / "card.txt"), "--overview", str(tmp_path / "all.png"), "--force"]
    runs: list[int] = []
    monkeypatch.setattr(mail_merge, "worked", lambda jobs, *rest: runs.append(len(jobs)) or worked(jobs, *rest))

    def written() -> int:
        return main(["write", str(font), "--table", str(guests_file), *looked, "-o", str(tmp_path / "out")])

    assert (written(), runs) == (0, [2])
    two, cards = (tmp_path / "all.png").read_bytes(), list(tmp_path.glob("out/*.svg"))
    assert len(cards) == 2
    made = [card.stat().st_mtime_ns for card in cards]

    # a run that goes on shows all cards too, and leaves those that are there alone
    assert written() == 0
    assert (tmp_path / "all.png").read_bytes() == two
    assert [card.stat().st_mtime_ns for card in cards] == made


def test_pages_that_an_overview_no_longer_fills_stay_and_are_named(tmp_path: Path, capfd) -> None:
    font = save_ufo(FONT, tmp_path / "font.ufo")
    (tmp_path / "card.txt").write_text("Dear {name}")
    table = ["--table", str(tmp_path / "guests.csv"), "--template", str(tmp_path / "card.txt"), "--paper", "A6"]
    looked = ["--check", "--force", "--overview", str(tmp_path / "all.png"), "-o", str(tmp_path / "out")]

    def said(guests: int) -> str:
        (tmp_path / "guests.csv").write_text("name\n" + "Orla\n" * guests)
        assert main(["write", str(font), *table, *looked]) == 0
        return capfd.readouterr().err

    assert "an earlier, longer overview" not in said(40)
    assert (tmp_path / "all-2.png").is_file() and (tmp_path / "all-4.png").is_file()
    assert f"no card of this table: {tmp_path}/all-2.png, {tmp_path}/all-3.png, {tmp_path}/all-4.png\n" in said(2)
    assert (tmp_path / "all-2.png").is_file()


@pytest.mark.parametrize(("name", "code"), [("all.jpg", 2), ("there.png", 4)])
def test_a_picture_of_all_cards_that_cannot_be_written_is_refused_before_any_is_set(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, code: int
) -> None:
    font = save_ufo(FONT, tmp_path / "font.ufo")
    (tmp_path / "there.png").touch()
    (tmp_path / "guests.csv").write_text("name\nOrla\n")
    (tmp_path / "card.txt").write_text("Dear {name}")
    table = ["--table", str(tmp_path / "guests.csv"), "--template", str(tmp_path / "card.txt")]
    monkeypatch.setattr(mail_merge, "worked", lambda *how: pytest.fail("a card was set"))

    looked = ["--overview", str(tmp_path / name)]

    assert main(["write", str(font), *table, "-o", str(tmp_path / "out"), *looked]) == code


@pytest.mark.parametrize(
    ("value", "how", "set_as"),
    # after CLDR (unicode.org/cldr/charts): the forms of numbers, dates and currencies of these languages
    [
        ("1234.5", "number de", "1.234,5"),
        ("1234.5", "number en", "1,234.5"),
        ("12345.5", "money pl PLN", "12\xa0345,50\xa0zł"),
        ("-3", "number en", "-3"),
        ("2026-11-28", "date de", "28.11.26"),
        ("2026-11-28", "long date pl", "28 listopada 2026"),
        (" ", "money de EUR", ""),
    ],
)
def test_values_are_set_as_the_language_does_where_asked(value: str, how: str, set_as: str) -> None:
    assert formatted(value, how, where="x") == set_as


@pytest.mark.parametrize(
    ("value", "how", "message"),
    [("28.11.", "date de", "no date"), ("12,5", "number de", "no number"), ("1", "money de XXX9", "no currency"),
     ("1", "number tlh-xx-yy-z", "no language"), ("1", "shout de", "no way"), ("1", "money de", "no way")],
)  # fmt: skip
def test_values_and_ways_that_are_none_are_refused(value: str, how: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        formatted(value, how, where="x")


def test_a_template_asks_for_forms_and_a_row_with_a_wrong_value_is_refused(tmp_path: Path) -> None:
    template = parse_template("{day, as long date fr}: {sum, as money fr EUR, else rien}")

    assert template.fill({"day": "2026-11-28", "sum": ""}) == "28 novembre 2026: rien"
    with pytest.raises(InputError, match=r"template, line 2.*no way"):
        parse_template("a\n{sum, as shout}")
    table = guests(tmp_path, ["Orla", "Ewa"])
    wrong = replace(table, rows=(table.rows[0], replace(table.rows[1], values={**table.rows[1].values, "day": "soon"})))
    done = run_table(FONT, wrong, template, tmp_path / "out", Run(CARD), check=True, workers=1)
    assert [f.line for f in done.faults] == [3]
