"""SVG documents read as drawings: what is drawn of them, and what strangers put into them (SVG 1.1, W3C 2011)."""

from __future__ import annotations

import numpy as np
import pytest

from capture.errors import InputError, UsageError
from ownhand.composer.plot.drawings import strokes_of_path, strokes_of_svg
from ownhand.composer.plot.svg_documents import looked_through

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="90" height="90">'


def document(inside: str) -> bytes:
    return f'{HEAD}{inside}<path d="M0 0L9 9"/></svg>'.encode()


def test_svg_files_are_read_with_groups_units_and_hidden_parts() -> None:
    svg = (
        b'<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="20mm" viewBox="0 0 80 40">'
        b'<g transform="translate(10 0)"><rect x="0" y="0" width="20" height="10"/></g>'
        b'<path display="none" d="M0 0L80 40"/><text x="3" y="9">lamp</text></svg>'
    )
    strokes, left_out = strokes_of_svg(svg, where="lamp.svg")
    points = np.concatenate(strokes)

    np.testing.assert_allclose([points.min(axis=0), points.max(axis=0)], [[5, 0], [15, 5]], atol=1e-3)
    assert left_out == {"text": 1}


@pytest.mark.parametrize("data", [b"", b"<svg", b'<!DOCTYPE a [<!ENTITY b "c">]><svg>&b;</svg>', b"<svg/>"])
def test_a_file_that_is_no_drawing_is_refused_in_one_line(data: bytes) -> None:
    with pytest.raises(InputError, match=r"x\.svg"):
        strokes_of_svg(data, where="x.svg")


def reused(layers: int, each: int = 10) -> bytes:
    """Return an SVG document whose last group draws a line `each` ** `layers` times (SVG 1.1, 5.6, the use element)."""
    groups = ['<g id="a0"><path d="M0 0L1 1"/></g>']
    groups += [f'<g id="a{n}">{f"""<use href="#a{n - 1}"/>""" * each}</g>' for n in range(1, layers + 1)]
    head = '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9">'
    return f'{head}<defs>{"".join(groups)}</defs><use href="#a{layers}"/></svg>'.encode()


def test_a_few_lines_that_ask_for_a_thousand_million_are_refused():
    assert len(strokes_of_svg(reused(2), where="lamp.svg")[0]) >= 100
    with pytest.raises(InputError, match="elements, at most 20000 are drawn"):
        strokes_of_svg(reused(9), where="lamp.svg")
    with pytest.raises(InputError, match="uses itself"):
        strokes_of_svg(reused(0).replace(b"<path", b'<use href="#a0"/><path'), where="lamp.svg")
    with pytest.raises(InputError, match="layers"):
        strokes_of_svg(reused(1).replace(b"<defs>", b"<g>" * 900 + b"</g>" * 900 + b"<defs>"), where="lamp.svg")


@pytest.mark.parametrize(
    ("inside", "told"),
    [
        ('<polyline points="' + "1" * 9000 + '"/>', "more than 40 digits"),
        ('<path stroke="rgb(' + "1" * 1000 + '" d="M0 0h1"/>', "more than 40 digits"),
        ('<g style="stroke:' + "x" * 9000 + '"/>', "9007 characters"),
        ("<style>.a{stroke:" + "x" * 9000 + "}</style>", "style sheet"),
        ("<style>" + "".join(f".a{n}{{fill:none}}" for n in range(9000)) + "</style>", "style sheet"),
        (('<g transform="' + "rotate(1) " * 150 + '">') * 9 + "</g>" * 9, "transforms"),
        ("<g>" * 9 + '<rect width="1e999" height="5"/>' + "</g>" * 9, "cannot be drawn"),
    ],
)
def test_what_would_take_a_drawings_reader_for_ever_is_refused(inside: str, told: str) -> None:
    with pytest.raises(InputError, match=rf"lamp\.svg: .*{told}"):
        strokes_of_svg(document(inside), where="lamp.svg")


def test_a_long_style_sheet_without_rules_is_passed_over() -> None:
    # read by a pattern, each of these takes time by the square of its length or worse
    for sheet in ("a" * 300_000, "/*" * 100_000, "a{" + " " * 100_000 + "b", "@font-face{src:" + "A" * 300_000 + "}"):
        strokes, _ = strokes_of_svg(document(f"<style>{sheet}</style>"), where="lamp.svg")

        assert len(strokes) == 1


def test_style_sheets_hide_what_they_hid_before() -> None:
    sheet = "/* of the lamp */ .dark, #post { display : none }\n@media print{.b{x:y}}"
    hidden = '<path class="dark dark" d="M0 0h5"/><path id="post" d="M0 0h5"/><path class="lit" d="M0 0h5"/>'
    strokes, _ = strokes_of_svg(document(f"<style>{sheet}</style>{hidden}"), where="lamp.svg")

    assert len(strokes) == 2


def test_a_file_larger_than_any_drawing_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ownhand.composer.plot.svg_documents.MOST_BYTES", 1000)
    with pytest.raises(InputError, match="more than 0 MB"):
        looked_through(b" " * 1001, where="lamp.svg")


def test_a_path_that_is_closed_again_and_again_is_read_once() -> None:
    (line,) = strokes_of_path("M0 0L1 1" + "z" * 200_000)
    strokes, _ = strokes_of_svg(document('<path d="M0 0L1 1' + "z, " * 200_000 + '"/>'), where="lamp.svg")
    goes_on = "M0 0" + "L1 1z" * 20_000

    assert len(line) == 7 and len(strokes) == 2
    with pytest.raises(UsageError, match="no SVG path data"):
        strokes_of_path(goes_on)
    with pytest.raises(InputError, match="closes more than"):
        strokes_of_svg(document(f'<path d="{goes_on}"/>'), where="lamp.svg")


def test_a_path_to_infinity_is_no_path_data() -> None:
    with pytest.raises(UsageError, match="no SVG path data"):
        strokes_of_path("M0 0L1e999 5")
