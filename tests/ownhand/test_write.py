"""The write command's settings: layout files, options that win over them, and what is said afterwards."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import numpy as np
import pytest
from svgpathtools import parse_path

from capture.errors import InputError, UsageError
from capture.files import page_file
from fontbuild.formats.svg_font import save_svg_fonts
from fontbuild.formats.ufo import save_ufo
from ownhand.cli.main import main
from ownhand.commands.write import margins, ruling, settings_of
from tests.ownhand.hershey_font import hershey_font

LAYOUT = """
paper = "148x105"
margins_mm = [8, 8, 8, 8]
x_height_mm = 2.0
[[boxes]]
name = "message"
x_mm = 8
y_mm = 8
width_mm = 70
height_mm = 60
[[boxes]]
name = "address"
x_mm = 90
y_mm = 50
width_mm = 50
height_mm = 40
[life]
slant = 0.5
"""


@pytest.fixture(scope="module")
def font(tmp_path_factory):
    return save_ufo(hershey_font(), tmp_path_factory.mktemp("font") / "plain.ufo")


@pytest.fixture
def layout(tmp_path):
    file = tmp_path / "card.toml"
    file.write_text(LAYOUT)
    return file


def test_options_win_over_the_layout_file(layout):
    settings = settings_of(layout, {"paper": "160x110", "margins": "5", "life": 0.4, "align": None, "fit": False})

    assert settings.paper == "160x110"
    assert settings.margins_mm == (5.0, 5.0, 5.0, 5.0)
    assert (settings.life.strength, settings.life.slant) == (0.4, 0.5)
    assert settings.x_height_mm == 2.0


@pytest.mark.parametrize("number", ["x_height_mm", "line_spacing"])
def test_nil_is_refused_where_it_is_impossible(number):
    with pytest.raises(UsageError, match="0 is not between"):
        settings_of(None, {number: 0.0})


def test_a_key_that_stands_twice_in_a_layout_is_told_as_toml_tells_it(tmp_path):
    # RFC 8259, section 4: names should be unique; TOML 1.0 forbids it
    for name, text in (("l.json", '{"paper": "A5", "paper": "A4"}'), ("l.toml", "paper = 'A5'\npaper = 'A4'")):
        (tmp_path / name).write_text(text)
        with pytest.raises(InputError, match=f"{name}: is not TOML or JSON .*(twice|overwrite)"):
            settings_of(tmp_path / name, {})


@pytest.mark.parametrize(
    ("text", "said"),
    [("paper = ", "is not TOML or JSON"), ("papper = 'A4'", "papper"), ("x_height_mm = 'tall'", "x_height_mm")],
)
def test_a_faulty_layout_file_says_where(tmp_path, text, said):
    file = tmp_path / "bad.toml"
    file.write_text(text)

    with pytest.raises((InputError, UsageError), match=said):
        settings_of(file, {})


def test_each_box_gets_its_own_text(font, layout, tmp_path):
    text = tmp_path / "card.txt"
    text.write_text(">> message\nDear Orla, the {lamp} is lit.\n>> address\nOrla\n7 Quarry Lane\n")
    out = tmp_path / "card.svg"

    assert main(["write", str(font), "--file", str(text), "--layout", str(layout), "-o", str(out)]) == 0

    paths = ET.parse(out).getroot().iter("{http://www.w3.org/2000/svg}path")
    boxes = np.array([parse_path(p.get("d")).bbox() for p in paths])
    middle_x, middle_y = boxes[:, :2].mean(axis=1), boxes[:, 2:].mean(axis=1)
    in_message = (middle_x < 78) & (middle_y < 68)
    in_address = (middle_x > 90) & (middle_y > 50)
    assert in_message.sum() > 20 and in_address.sum() > 10
    assert (in_message | in_address).all()


def test_what_a_layouts_drawing_holds_and_is_not_drawn_is_told_once(font, tmp_path, capsys):
    (tmp_path / "lamp.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0L9 9"/><text>lit</text><text>lamp</text></svg>'
    )
    layout = tmp_path / "card.toml"
    layout.write_text('[[drawings]]\nfile = "lamp.svg"\nx_mm = 40\ny_mm = 40\nwidth_mm = 9\n')

    assert main(["write", str(font), "lit", "--layout", str(layout), "-o", str(tmp_path / "card.svg")]) == 0
    assert capsys.readouterr().err.count("lamp.svg: 2 texts left out; only lines are drawn") == 1


@pytest.mark.parametrize("suffix", ["svg", "hpgl", "plt", "gcode", "nc", "png"])
def test_the_suffix_says_what_is_written(font, tmp_path, suffix):
    out = tmp_path / f"page.{suffix}"

    assert main(["write", str(font), "lit", "-o", str(out), "--no-preview"]) == 0

    head = out.read_bytes()[:60]
    signs = {"svg": b"<?xml", "hpgl": b"IN;", "plt": b"IN;", "gcode": b"(", "nc": b"(", "png": b"\x89PNG"}
    assert signs[suffix] in head


def test_a_text_with_letters_that_the_hand_lacks_ends_with_five_and_strict_writes_nothing(font, tmp_path, capsys):
    out = tmp_path / "page.svg"

    assert main(["write", str(font), "ж lit", "-o", str(out), "--no-preview", "--strict"]) == 5
    assert not out.exists()
    assert main(["write", str(font), "ж lit", "-o", str(out), "--no-preview"]) == 5

    assert out.exists()
    assert "'ж' (U+0436, cyrillic small letter zhe): once" in capsys.readouterr().err


def test_a_long_text_goes_on_to_numbered_pages(font, tmp_path):
    out = tmp_path / "letter.svg"
    text = "the lamp was lit at dusk and the fog came in. " * 30

    assert main(["write", str(font), text, "-o", str(out), "--paper", "A6", "--no-preview"]) == 0

    assert sorted(p.name for p in tmp_path.iterdir())[:2] == ["letter-2.svg", "letter-3.svg"]
    assert page_file(out, 1) == out and out.exists()


def test_a_page_beyond_the_bed_is_refused_and_nothing_written(font, tmp_path, capsys):
    machine = tmp_path / "small.toml"
    machine.write_text("bed_mm = [60, 60]")
    out = tmp_path / "page.gcode"

    code = main(["write", str(font), "the lamp " * 60, "-o", str(out), "--machine", str(machine)])

    assert code == 2
    assert "bed" in capsys.readouterr().err
    assert not out.exists()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_a_text_is_read_as_editors_save_it(font, tmp_path, encoding, ending):
    said = []
    for name, data in (
        ("plain", b"lit at dusk\nand out"),
        ("other", f"lit at dusk{ending}and out".encode(encoding)),
    ):
        (tmp_path / f"{name}.txt").write_bytes(data)
        out = tmp_path / f"{name}.svg"
        assert main(["write", str(font), "-f", str(tmp_path / f"{name}.txt"), "-o", str(out), "--no-preview"]) == 0
        said.append(out.read_bytes())

    assert said[0] == said[1]


@pytest.mark.parametrize("encoding", ["utf-32", "cp1250"])
def test_a_text_in_a_code_page_is_refused_not_guessed(font, tmp_path, capsys, encoding):
    (tmp_path / "card.txt").write_bytes("łódź".encode(encoding))

    assert main(["write", str(font), "-f", str(tmp_path / "card.txt"), "-o", str(tmp_path / "card.svg")]) == 3
    assert "is not text in UTF-8. Save it as plain text in UTF-8." in capsys.readouterr().err


@pytest.mark.parametrize("start", ["{\\rtf1\\ansi ", "<?xml version='1.0'?><p>", "\n<!DOCTYPE html><p>", "<HTML><p>"])
def test_a_text_with_a_programs_marks_is_refused_not_written_with_them(font, tmp_path, capsys, start):
    # Rich Text Format begins with {\rtf (specification 1.9.1), XML with <?xml (W3C, 2008, 2.8), HTML with its doctype
    (tmp_path / "card.txt").write_text(start + "lit at dusk")

    assert main(["write", str(font), "-f", str(tmp_path / "card.txt"), "-o", str(tmp_path / "card.svg")]) == 3
    assert "Save it as plain text in UTF-8." in capsys.readouterr().err
    assert not (tmp_path / "card.svg").exists()


def test_a_second_format_goes_beside_the_preview_that_is_there(font, tmp_path):
    for suffix in ("svg", "hpgl"):
        assert main(["write", str(font), "lit", "-o", str(tmp_path / f"card.{suffix}")]) == 0
    assert main(["write", str(font), "fog", "-o", str(tmp_path / "card.gcode")]) == 4

    assert sorted(p.name for p in tmp_path.iterdir()) == ["card.hpgl", "card.png", "card.svg"]


def test_one_page_comes_in_several_formats_at_once(font, tmp_path):
    command = ["write", str(font), "lit", "-o", str(tmp_path / "card.svg"), "--format", "svg,hpgl,gcode"]

    assert main(command) == 0

    assert {p.suffix for p in tmp_path.iterdir()} == {".svg", ".hpgl", ".gcode", ".png"}


@pytest.mark.parametrize(
    "typed",
    [
        ["--align", "center"],
        ["--paper", "US Letter"],
        ["--paper", "DL"],
        ["--x-height", "2,5"],
        ["--paper", "120,5x80"],
    ],
)
def test_options_are_taken_as_people_type_them(font, tmp_path, typed):
    assert (
        main(["write", str(font), "lit", "-o", str(tmp_path / "a.svg"), "--no-preview", "--margins", "5", *typed]) == 0
    )


def test_a_single_line_svg_font_of_others_is_written_with_and_never_stamped(tmp_path):
    (file, *_) = save_svg_fonts(hershey_font(variants=1), tmp_path / "plain.svg")

    assert main(["write", str(file), "eee", "-o", str(tmp_path / "page.svg"), "--no-preview"]) == 0

    root = ET.parse(tmp_path / "page.svg").getroot()
    shapes = {p.get("d").partition("c")[2] for p in root.iter("{http://www.w3.org/2000/svg}path")}
    assert len(shapes) == 3, "the general figures of handwriting make every e another"


def test_time_ink_and_travel_are_told(font, tmp_path, capsys):
    main(["write", str(font), "the lamp was lit", "-o", str(tmp_path / "x.svg"), "--no-preview"])

    said = capsys.readouterr().err
    assert "m of ink" in said and "pen lifts" in said and "on the machine" in said


@pytest.mark.parametrize(("kind", "told"), [("gcode", "Y 0 to 105"), ("hpgl", "Y 115 to 220"), ("svg", "")])
def test_where_the_paper_lies_on_the_machine_is_told_as_the_file_counts(font, tmp_path, capsys, kind, told):
    machine = tmp_path / "table.toml"
    machine.write_text('bed_mm = [310, 220]\norigin = "top left"')
    out = tmp_path / f"x.{kind}"

    main(["write", str(font), "tea", "-o", str(out), "--no-preview", "--paper", "148x105", "--machine", str(machine)])

    said = capsys.readouterr().err
    assert ("paper at X 0 to 148" in said) == (kind != "svg")
    assert told in said


@pytest.mark.parametrize("text", ["", "1,2,3", "a", "1,,2"])
def test_margins_that_are_none(text):
    with pytest.raises(UsageError, match="--margins"):
        margins(text)


def test_printed_lines_have_a_pitch_and_an_offset():
    assert (ruling("8").pitch_mm, ruling("8,12.5").offset_mm) == (8.0, 12.5)
    with pytest.raises(UsageError, match="--ruled"):
        ruling("8,1,2")


def test_a_line_that_begins_a_box_is_told_where_there_is_none(font, tmp_path, capsys):
    code = main(["write", str(font), "tea\n>> address\nOrla", "-o", str(tmp_path / "x.svg")])

    assert code == 0
    assert "the line '>> address': stands on the page as it is: without a layout" in capsys.readouterr().err


def test_what_is_said_of_a_page_without_boxes_names_none(font, tmp_path, capsys):
    code = main(["write", str(font), "the lamp", "-o", str(tmp_path / "x.svg"), "--ruled", "3"])

    assert code == 0
    assert "the page: written with an x-height of" in capsys.readouterr().err
