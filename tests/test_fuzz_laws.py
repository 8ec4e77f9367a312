"""What strangers send, and what must hold of it: it is refused in one line, or what is made of it is whole.

`HYPOTHESIS_PROFILE=thorough` tries a thousand of each.
"""

from __future__ import annotations

import csv
import io
import json
import shutil
import zlib
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from xml.sax.saxutils import quoteattr

import networkx
import pytest
import ufoLib2
from hypothesis import assume, example, given
from hypothesis import strategies as st
from ufoLib2.objects import Component, Contour, Point

from capture import code
from capture.code import MAGIC, page_from_payload, sheet_from_coded
from capture.errors import FontFileError, InputError, OwnhandError, WrongSheetError
from capture.files import write_bytes
from capture.layout import LAYOUT
from capture.safe_paths import path_inside
from capture.scan import count_scans, load_scans
from capture.sheet_file import sheet_from_json, sheet_to_json
from fontbuild.formats.svg_font_reader import load_svg_font
from fontbuild.formats.ufo import load_ufo, save_ufo
from ownhand.commands.write import settings_of
from ownhand.composer import Composer
from ownhand.composer.ensemble import Ensemble
from ownhand.composer.merge.table import read_table
from ownhand.composer.merge.template import parse_template
from ownhand.composer.plot.machine import load_machine
from ownhand.hands.decisions_file import load_decisions
from ownhand.hands.hand import Hand
from ownhand.review.edits.operations import OperationError
from ownhand.review.session.review_session import ReviewSession
from ownhand.serve.request import Limits, RefusalError, order_from, parsed
from ownhand.serve.worker import made_check, made_page
from ownhand.validation import FaultsError, Place
from tests import strategies as hostile
from tests.capture.test_scan_bounds import CATALOG, pdf
from tests.ownhand.hershey_font import hershey_font
from tests.ownhand.stand_in import write_hand

FONT = hershey_font(variants=2)


def in_one_line(error: Exception) -> None:
    said = str(error)
    assert said and "\n" not in said and "\x1b" not in said and len(said) < 2500
    said.encode()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("laws")


@pytest.fixture(scope="module")
def hand(folder: Path) -> Hand:
    return write_hand(folder / "hand", "te", attempts=2)


# --- paper -----------------------------------------------------------------------------------------------------------

FIELDS: dict[str, tuple[Any, st.SearchStrategy[Any]]] = {
    "id": ("s1-abcdef", hostile.names()),
    "page": (1, st.sampled_from([0, 2, 401, 2**28])),
    "pages": (1, st.sampled_from([0, 2, 400, 401, 2**28])),
    "paper": (
        "A5",
        st.one_of(st.sampled_from(["a5", "A4", "899.9x899.9", "1x1", "9e9x1", "nanxnan"]), hostile.texts(3)),
    ),
    "x_height": (350, st.sampled_from([0, 1, 149, 150, 1200, 1201, 2**28])),
    "languages": ("en", hostile.texts()),
    "runs": ([("a", 1), ("b", 1)], st.lists(st.tuples(hostile.texts(2), st.integers(0, 1200)), max_size=4)),
    "lines": ("", hostile.texts()),
}


@st.composite
def codes(draw: st.DrawFn) -> bytes:
    """Draw a code that says all that a code can say, a field or two of it nonsense, with the right check sum."""
    wrong = draw(st.sets(st.sampled_from(sorted(FIELDS)), max_size=2))
    said = {name: draw(values) if name in wrong else usual for name, (usual, values) in FIELDS.items()}
    body = bytearray()

    def put(text: str) -> None:
        raw = text.encode("utf-8", "surrogatepass")
        code._put(body, len(raw))
        body.extend(raw)

    put(said["id"])
    code._put(body, said["page"])
    code._put(body, said["pages"])
    put(said["paper"])
    code._put(body, said["x_height"])
    put(said["languages"])
    code._put_runs(body, [(char, attempt) for char, attempt in said["runs"] if char])
    put(said["lines"])
    packer = zlib.compressobj(level=9, wbits=-15)
    packed = packer.compress(bytes(body)) + packer.flush()
    return MAGIC + bytes([LAYOUT]) + zlib.crc32(body).to_bytes(4, "big") + packed


@given(codes())
def test_what_a_code_says_is_a_sheet_that_is_read_again_or_it_is_refused(payload: bytes) -> None:
    try:
        coded = page_from_payload(payload)
    except WrongSheetError as error:
        in_one_line(error)
        return
    sheet = sheet_from_coded([coded])

    assert sheet_from_json(json.loads(json.dumps(sheet_to_json(sheet)))) == sheet
    assert path_inside(Path("sheets"), sheet.id) == Path("sheets") / sheet.id


@given(hostile.names(), hostile.names())
def test_a_name_is_a_file_in_its_folder_or_refused(folder: Path, first: str, second: str) -> None:
    inside = folder / "names" / "inside"
    inside.mkdir(parents=True, exist_ok=True)
    try:
        path = path_inside(inside, first, second)
    except InputError as error:
        in_one_line(error)
        return

    assert path.resolve().is_relative_to(inside)
    if len(second.encode()) < 150:  # longer ones have no room for the scrap's ending
        write_bytes(path, b"x")
        assert path.read_bytes() == b"x"
    assert [p.name for p in inside.parent.iterdir()] == ["inside"]
    shutil.rmtree(inside)


# --- pictures --------------------------------------------------------------------------------------------------------

PDF_NUMBERS = st.sampled_from(
    [b"0", b"-1", b"0.001", b"420", b"595", b"14400", b"1e9", b"1" * 40, b"null", b"[]", b"(x)"]
)


@given(st.lists(PDF_NUMBERS, min_size=4, max_size=4), PDF_NUMBERS, PDF_NUMBERS, PDF_NUMBERS)
def test_a_pdf_of_any_numbers_is_read_or_refused(
    folder: Path, box: list[bytes], count: bytes, turned: bytes, wide: bytes
) -> None:
    page = b"<< /Type /Page /Parent 2 0 R /MediaBox [%b] /Rotate %b /UserUnit %b /Contents 5 0 R /Resources %b >>" % (
        b" ".join(box), turned, wide, b"<< /XObject << /I 4 0 R >> >>",
    )  # fmt: skip
    image = (
        b"<< /Type /XObject /Subtype /Image /Width %b /Height 3 /ImageMask true /BitsPerComponent 1 /Length 3 >>" % wide
    )
    draw = b"q 420 0 0 595 0 0 cm /I Do Q"
    tree = b"<< /Type /Pages /Kids [3 0 R] /Count %b >>" % count
    content = b"<< /Length %d >>\nstream\n%b\nendstream" % (len(draw), draw)
    file = folder / "numbers.pdf"
    file.write_bytes(pdf([CATALOG, tree, page, image + b"\nstream\nabc\nendstream", content]))
    try:
        assert count_scans(file) <= 2000
        for scan in load_scans(file, only=1):
            assert 0 < scan.pixels.size < 200_000_000
    except OwnhandError as error:
        in_one_line(error)


# --- fonts -----------------------------------------------------------------------------------------------------------

GLYPHS = [f"g{n}" for n in range(6)]


@given(st.dictionaries(st.sampled_from(GLYPHS), st.lists(st.sampled_from(GLYPHS), max_size=3), min_size=1))
@example({"g0": ["g0"]})
@example({"g0": ["g1"], "g1": ["g2"], "g2": ["g0"]})
def test_a_font_is_read_where_no_letter_is_a_part_of_itself(folder: Path, parts: dict[str, list[str]]) -> None:
    font = ufoLib2.Font()
    for number, name in enumerate(GLYPHS):
        glyph = font.newGlyph(name)
        glyph.unicodes = [97 + number]
        glyph.width = 500
        glyph.contours.append(Contour([Point(0, 0, "move"), Point(100, 100, "line")]))
        glyph.components = [Component(base) for base in parts.get(name, ())]
    font.save(folder / "parts.ufo", overwrite=True)
    graph = networkx.DiGraph([(name, base) for name, bases in parts.items() for base in bases])
    try:
        read = load_ufo(folder / "parts.ufo")
    except FontFileError as error:
        in_one_line(error)
        assert not networkx.is_directed_acyclic_graph(graph)
        return

    assert networkx.is_directed_acyclic_graph(graph)
    assert len(read.glyphs) == len(GLYPHS)


@given(
    hostile.texts(4), hostile.texts(2), st.sampled_from(["M0 0L90 90", "M0 0A9 9 0 0 1 1e9 9", "M0 0L1e400 1", "z", ""])
)
def test_the_names_of_glyphs_lead_nowhere(folder: Path, name: str, char: str, path: str) -> None:
    place = folder / "fonts"
    place.mkdir(exist_ok=True)
    glyphs = f"<glyph glyph-name={quoteattr(name)} unicode={quoteattr(char)} horiz-adv-x='500' d='{path}'/>"
    good = "<glyph glyph-name='o' unicode='o' horiz-adv-x='500' d='M0 0L90 90'/>"
    text = f"<svg><font><font-face font-family={quoteattr(name)} units-per-em='1000'/>{glyphs}{good}</font></svg>"
    (place / "font.svg").write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        save_ufo(load_svg_font(place / "font.svg").font, place / "font.ufo")
        load_ufo(place / "font.ufo")
    except OwnhandError as error:
        in_one_line(error)

    assert {p.name for p in place.iterdir()} <= {"font.svg", "font.ufo"}
    shutil.rmtree(place)


# --- tables, templates, layouts, machines ----------------------------------------------------------------------------


@given(
    st.lists(st.tuples(hostile.texts(6, halves=False), hostile.texts(6, halves=False)), min_size=1, max_size=5),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    st.sampled_from([",", ";", "\t"]),
)
def test_a_table_comes_back_as_it_was_written(
    folder: Path, rows: list[tuple[str, str]], encoding: str, delimiter: str
) -> None:
    rows = [(a.replace("\0", ""), b.replace("\0", "")) for a, b in rows]  # many zeros are taken for UTF-16
    assume(any(field.strip() for row in rows for field in row))  # a table without rows is refused
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter).writerows([("name", "town"), *rows])
    (folder / "guests.csv").write_bytes(out.getvalue().encode(encoding))

    read = read_table(folder / "guests.csv")

    assert [(r.values["name"], r.values["town"]) for r in read.rows] == [r for r in rows if any(f.strip() for f in r)]
    assert read.encoding == encoding


@given(hostile.texts(20), st.fixed_dictionaries({"name": hostile.texts(), "sum": hostile.texts()}))
@example("{sum, as number de}", {"name": "", "sum": "1e-999999"})
@example("{sum, as money pl PLN}", {"name": "", "sum": "9" * 15 + "." + "9" * 400})
@example("{sum, as long date fr}", {"name": "", "sum": "9999-12-31"})
def test_a_template_is_filled_or_refused(text: str, row: dict[str, str]) -> None:
    try:
        filled = parse_template(text).fill(row)
    except InputError as error:
        in_one_line(error)
        return

    assert isinstance(filled, (str, dict))


BOX = {"name": "a", "x_mm": 20, "y_mm": 20, "width_mm": 60, "height_mm": 60, "fit": True}
SETTINGS: dict[str, Any] = {
    "paper": "A6", "margins_mm": [9, 9, 9, 9], "x_height_mm": 2.5, "line_spacing": 1, "align": "left", "columns": 1,
    "ruling": {"pitch_mm": 9, "offset_mm": 3}, "life": {"strength": 1, "slant": 1}, "order": "writing", "fit": False,
    "boxes": [BOX], "pens": [{"name": "blue", "colour": "#1f2a56", "width_mm": 0.5}],
    "curves": [{"name": "arc", "path": "M20 60C40 20 60 20 80 60"}],
    "drawings": [{"path": "M0 0L9 9", "x_mm": 5, "y_mm": 5, "width_mm": 9}],
}  # fmt: skip
MACHINE: dict[str, Any] = {
    "name": "Drawing table", "bed_mm": [310, 220], "origin": "top left", "paper_mm": [0, 0], "draw_mm_s": 40,
    "travel_mm_s": 120, "acceleration_mm_s2": 1200, "lift_s": 0.15, "lower_s": 0.15, "pen": "servo",
    "pen_up": ["M3 S30", "G4 P0.15"], "pen_down": ["M3 S60"], "begin": ["G28"], "end": ["M5"],
}  # fmt: skip


@given(hostile.changed(SETTINGS))
def test_a_layout_is_refused_or_a_page_is_set_in_it(folder: Path, layout: dict[str, Any]) -> None:
    (folder / "layout.json").write_text(json.dumps(layout))
    try:
        settings = settings_of(folder / "layout.json", {})
        Composer(FONT).compose("The lamp", settings, seed=1)
    except OwnhandError as error:
        in_one_line(error)


@given(hostile.changed(MACHINE))
def test_a_profile_of_a_machine_is_read_or_refused(folder: Path, machine: dict[str, Any]) -> None:
    (folder / "machine.json").write_text(json.dumps(machine))
    try:
        load_machine(folder / "machine.json")
    except OwnhandError as error:
        in_one_line(error)


# --- orders ----------------------------------------------------------------------------------------------------------

ORDER: dict[str, Any] = {"text": "The lamp", "seed": 7, "page": 1, "dpi": 40, "settings": SETTINGS, "machine": MACHINE}


@st.composite
def orders(draw: st.DrawFn) -> bytes:
    """Draw the body of an order: of texts nobody writes, in settings nobody has."""
    order = draw(hostile.changed({**ORDER, "format": draw(st.sampled_from(["svg", "hpgl", "gcode", "html"]))}))
    if isinstance(order, dict) and draw(st.booleans()):
        order["text"] = draw(
            st.one_of(hostile.texts(20), st.dictionaries(st.sampled_from(["a", "arc"]), hostile.texts()))
        )
    if isinstance(order, dict) and isinstance(order.get("settings"), dict) and draw(st.integers(0, 3)) == 0:
        order["settings"] = {**order["settings"], "boxes": [BOX] * draw(st.sampled_from([0, 2, 200, 5000]))}
    return json.dumps(order).encode()


@given(orders())
def test_an_order_is_refused_or_its_page_can_be_read(body: bytes) -> None:
    try:
        order = order_from("keeper", parsed(body), Limits())
    except RefusalError as refusal:
        in_one_line(refusal)
        return
    try:
        data, headers = made_page({"keeper": Ensemble(FONT, {})}, order)
        json.dumps(made_check({"keeper": Ensemble(FONT, {})}, order), allow_nan=False)
    except OwnhandError as error:
        in_one_line(error)
        return

    assert all(value.isascii() and value.isprintable() for value in headers.values())
    if order.format == "svg":
        ElementTree.fromstring(data)
    elif order.format in ("hpgl", "gcode"):
        assert data.decode("ascii").replace("\n", "").isprintable()
    else:
        assert data.count(b"<script>") == data.count(b"</script>") == 1


# --- review ----------------------------------------------------------------------------------------------------------


@st.composite
def acts(draw: st.DrawFn) -> dict[str, Any]:
    """Draw an act of review, many of them too far."""
    number = st.one_of(st.sampled_from(hostile.NUMBERS), st.integers(0, 3), st.floats(-60, 60), hostile.texts(2))
    pair = st.one_of(st.tuples(st.floats(-9, 9), st.floats(-9, 9)), st.tuples(number, number)).map(list)
    stroke = st.one_of(st.integers(0, 2), number)
    do: dict[str, dict[str, st.SearchStrategy[Any]]] = {
        "turn": {"stroke": stroke}, "place": {"stroke": stroke, "to": stroke}, "delete": {"stroke": stroke},
        "split": {"stroke": stroke, "at": pair}, "move": {"stroke": stroke, "by": pair},
        "carry": {"from": hostile.names()},
        "join": {"stroke": stroke, "other": stroke}, "bend": {"stroke": stroke, "point": number, "to": pair},
        "baseline": {"mm": number}, "redraw": {"samples": st.lists(pair, max_size=4)},
        "label": {"char": hostile.texts(3)},
        "bearings": {"left_mm": number, "right_mm": number}, "set aside": {"reason": hostile.texts()}, "keep": {},
        "undecide": {}, "as read": {}, "learn": {},
    }  # fmt: skip
    name = draw(st.sampled_from(sorted(do)))
    key = draw(st.sampled_from(["LAMP1/1/1.1", "LAMP1/1/1.2", "LAMP1/1/2.1", "", "../x"]))
    return {"attempt": key, "do": name, **{field: draw(values) for field, values in do[name].items()}}


@given(st.lists(acts(), min_size=1, max_size=8))
def test_after_any_acts_of_review_the_hand_is_read_again(hand: Hand, taken: list[dict[str, Any]]) -> None:
    hand.decisions_file.unlink(missing_ok=True)
    shutil.rmtree(hand.path / "steps", ignore_errors=True)
    session = ReviewSession(hand)
    for act in taken:
        try:
            session.take(session.decisions.version, Place([act], "mends", []))
        except (FaultsError, OperationError, OwnhandError, KeyError) as error:
            assert isinstance(error, KeyError) or "\n" not in str(error)

        assert load_decisions(hand.decisions_file).faults == ()
    again = ReviewSession(hand)

    assert [a.id for a in again.decided()] == [a.id for a in session.decided()]
    assert again.decisions.version == session.decisions.version
    while again.undo(again.decisions.version):
        assert load_decisions(hand.decisions_file).faults == ()
    assert all(d.strokes is None for d in again.decisions.attempts.values())
