"""The main job on the shipped sample, command by command: scans to a font, a proof and a postcard."""

from __future__ import annotations

import gzip
import io
import json
import re
import xml.etree.ElementTree as ET
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
import resvg_py
from fontTools.ufoLib import UFOReader
from PIL import Image
from svgpathtools import parse_path

from capture.languages import characters_for
from fontbuild.formats.ufo import load_ufo
from fontbuild.geometry import sample_glyph
from fontbuild.joins import IN_TEXT
from ownhand.cli.main import main
from ownhand.hands.captures import load_captures
from ownhand.hands.hand import open_hand
from sample_sheets.truth import read_truth
from skeleton.geometry.arc_length import line_length

LANTERN = Path(__file__).parents[2] / "sample_sheets" / "lantern"
SCANS = sorted((LANTERN / "scans").glob("*.jpg"))
SVG = "{http://www.w3.org/2000/svg}"
CARD = "Dear guest,\nthe lamp is lit – żółta łódka, Grüße, à bientôt, ¡mañana! Every evening eleven letters."


def grey(file: Path | io.BytesIO) -> Image.Image:
    with Image.open(file) as picture:
        return picture.convert("L")


@pytest.fixture(scope="module")
def museum(tmp_path_factory) -> Path:
    """Give the sample's hand, read, built and proofed by the commands of the README."""
    hand = tmp_path_factory.mktemp("main-job") / "museum"
    assert main(["read", str(hand), *map(str, SCANS)]) == 0
    assert main(["build", str(hand)]) == 0
    assert main(["proof", str(hand)]) == 0
    return hand


@pytest.fixture(scope="module")
def card(museum) -> Path:
    out = museum.parent / "card.svg"
    assert main(["write", str(museum), CARD, "-o", str(out), "--paper", "148x105", "--margins", "10"]) == 0
    return out


def test_every_page_is_found_and_every_cell_gets_its_true_state(museum):
    truth = read_truth(LANTERN / "truth.json.gz")
    read = {
        (c.page, *map(int, a.id.rsplit("/", 1)[-1].split("."))): a
        for c in load_captures(open_hand(museum))
        for a in c.attempts
        if a.allograph not in IN_TEXT
    }
    expected = {key: cell.status for key, cell in truth.items()}
    found = {key: a.status for key, a in read.items()}
    filled = [key for key, status in expected.items() if status == "written"]

    assert set(found) == set(expected)
    assert sum(found[k] == "written" for k in filled) >= 0.995 * len(filled)
    assert [k for k, s in expected.items() if s != "written" and found[k] != s] == []
    assert all(read[k].char == truth[k].char for k in truth)


def test_the_sheet_is_rebuilt_from_paper_just_as_it_was_printed(museum):
    shipped = json.loads((LANTERN / "sheet" / "sheet.json").read_text())

    rebuilt = json.loads(next((museum / "sheets").glob("*/sheet.json")).read_text())

    assert rebuilt == shipped


def test_scans_are_copied_and_never_touched(museum):
    copies = {p.read_bytes() for p in (museum / "scans").iterdir()}

    assert copies == {p.read_bytes() for p in SCANS}


def test_a_contact_sheet_shows_every_page(museum):
    for number in range(1, len(SCANS) + 1):
        assert min(grey(next((museum / "captures").glob(f"*/page-{number:02d}-contact.png"))).size) > 2000


@pytest.mark.parametrize("language", ["en", "fr", "de", "pl", "es"])
def test_the_font_is_complete_in_its_languages(museum, language):
    font = load_ufo(open_hand(museum).ufo)

    assert [c for c in characters_for([language]) if not font.glyphs.get(c)] == []


def test_the_ufo_reads_in_fonttools_with_open_contours_and_alternates(museum):
    # UFO 3 (unifiedfontobject.org), read and validated by fontTools' own ufoLib.
    reader = UFOReader(open_hand(museum).ufo, validate=True)
    glyphs = reader.getGlyphSet()
    text = glyphs.getGLIF("e").decode()

    assert reader.formatVersionTuple[0] == 3
    assert text.count('type="move"') == text.count("<contour>") > 0
    assert sum(1 for name in glyphs.contents if re.fullmatch(r"e\.v\d+", name)) >= 3


def test_the_font_draws_its_letters_in_the_size_they_were_written(museum):
    font = load_ufo(open_hand(museum).ufo)

    assert font.metrics.x_height * font.mm_per_unit == pytest.approx(3.5, rel=0.1)


def test_a_centre_line_is_about_half_as_long_as_the_outline_of_its_ink(museum):
    # An outline drawn by a plotter takes about twice as long as its centre line: common practice, no source.
    import pathops

    font = load_ufo(open_hand(museum).ufo)
    ratios = []
    for char in "abcdeghklmnopqrsuvwyz":
        glyph = font.glyphs[char][0]
        path = pathops.Path()
        pen = path.getPen()
        for line in sample_glyph(glyph):
            pen.moveTo(tuple(line[0]))
            for point in line[1:]:
                pen.lineTo(tuple(point))
            pen.endPath()
        path.stroke(font.metrics.pen_width, pathops.LineCap.ROUND_CAP, pathops.LineJoin.ROUND_JOIN, 4)
        path.convertConicsToQuads()
        path.simplify(fix_winding=True, keep_starting_points=False)
        outline = sum(_perimeter(list(c.points)) for c in path.contours)
        ratios.append(outline / sum(map(line_length, sample_glyph(glyph))))

    assert 1.6 < np.median(ratios) < 2.6


def _perimeter(points) -> float:
    p = np.array([*points, points[0]], float)
    return float(np.hypot(*np.diff(p, axis=0).T).sum())


def test_the_svg_font_holds_open_paths_and_the_characters_asked_for(museum):
    # SVG 1.1 (W3C Recommendation, 16 August 2011), chapter 20.
    root = ET.parse(open_hand(museum).ufo.with_suffix(".svg")).getroot()
    glyphs = {g.get("unicode"): g.get("d", "") for g in root.iter(f"{SVG}glyph")}

    assert {"a", "ż", "ß", "¿"} <= set(glyphs)
    assert not any("z" in d.lower() for d in glyphs.values())


def test_the_postcard_is_strokes_only_in_millimetres_inside_its_margins(card):
    root = ET.parse(card).getroot()
    paths = [p for p in root.iter(f"{SVG}path")]
    bounds = np.array([parse_path(p.get("d")).bbox() for p in paths])

    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("148mm", "105mm", "0 0 148 105")
    assert {e.tag for e in root.iter()} <= {f"{SVG}{n}" for n in ("svg", "g", "path", "title")}
    assert not any(e.get("fill") not in (None, "none") for e in root.iter())
    assert bounds[:, 0].min() >= 10 and bounds[:, 1].max() <= 138
    assert bounds[:, 2].min() >= 10 and bounds[:, 3].max() <= 95


def test_the_postcard_looks_alike_drawn_by_a_renderer_we_did_not_write(card):
    # resvg, a general SVG renderer from PyPI.
    drawn = bytes(resvg_py.svg_to_bytes(svg_string=card.read_text(), dpi=150, background="white"))
    theirs = grey(io.BytesIO(drawn))
    ours = grey(card.with_suffix(".png")).resize(theirs.size)

    assert np.corrcoef(np.asarray(theirs, float).ravel(), np.asarray(ours, float).ravel())[0, 1] > 0.95


def test_no_letter_of_the_postcard_repeats_its_shape(card):
    shapes = Counter()
    for path in ET.parse(card).getroot().iter(f"{SVG}path"):
        shape = path.get("d").split("c", 1)[-1]
        if len(shape) > 40:
            shapes[shape] += 1

    assert shapes and max(shapes.values()) == 1


def test_the_same_seed_gives_the_same_page_and_another_seed_another(museum, card, tmp_path):
    again, other = tmp_path / "again.svg", tmp_path / "other.svg"
    common = ["--paper", "148x105", "--margins", "10", "--no-preview"]
    main(["write", str(museum), CARD, "-o", str(again), *common])
    main(["write", str(museum), CARD, "-o", str(other), *common, "--seed", "7"])

    assert again.read_text() == card.read_text() != other.read_text()


def test_what_the_font_lacks_is_named_with_how_to_add_it(museum, tmp_path, capsys):
    code = main(["write", str(museum), "tea Ж tea", "-o", str(tmp_path / "x.svg"), "--no-preview"])

    said = capsys.readouterr().err
    assert code == 5, "done, with what is missing listed"
    assert "'Ж' (U+0416" in said and "once" in said
    assert "ownhand sheet" in said and "--characters 'Ж'" in said


def test_a_file_of_the_user_is_not_replaced_without_being_asked(museum, tmp_path):
    mine = tmp_path / "mine.png"
    mine.write_text("my drawing")

    code = main(["write", str(museum), "tea", "-o", str(tmp_path / "mine.svg")])

    assert code == 4
    assert mine.read_text() == "my drawing"
    assert not (tmp_path / "mine.svg").exists()


def test_a_table_of_guests_becomes_a_card_each(museum, tmp_path):
    table, card, out = LANTERN / "guests.csv", LANTERN / "card.txt", tmp_path / "cards"
    args = ["write", str(museum), "--table", str(table), "--template", str(card), "-o", str(out)]

    assert main([*args, "--check"]) == 0 and not out.exists()
    assert main([*args, "--paper", "148x105", "--margins", "9", "--fit"]) == 0

    cards = list(out.glob("*.svg"))
    assert len(cards) >= 5
    assert len({p.read_bytes() for p in cards}) == len(cards)


def test_reading_a_page_again_changes_nothing(museum, tmp_path):
    before = {p.name: json.loads(p.read_text())["attempts"] for p in (museum / "captures").glob("*/page-01.json")}

    assert main(["read", str(museum), str(SCANS[0])]) == 0

    after = {p.name: json.loads(p.read_text())["attempts"] for p in (museum / "captures").glob("*/page-01.json")}
    assert {k: [a["id"] for a in v] for k, v in after.items()} == {k: [a["id"] for a in v] for k, v in before.items()}
    assert [a["status"] for a in after["page-01.json"]] == [a["status"] for a in before["page-01.json"]]


def test_the_coverage_table_names_the_five_languages_as_complete(museum, capsys):
    assert main(["coverage", str(museum), "--languages", "en,fr,de,pl,es,cs"]) == 0

    rows = {line.split()[0]: line for line in capsys.readouterr().out.splitlines() if line.strip()}
    for name in ("English", "French", "German", "Polish", "Spanish"):
        assert "complete" in rows[name] and "incomplete" not in rows[name]


def test_the_sample_stays_under_fifteen_megabytes():
    assert sum(p.stat().st_size for p in LANTERN.parent.rglob("*") if p.is_file()) < 15_000_000
    with gzip.open(LANTERN / "truth.json.gz") as file:
        assert json.load(file)
