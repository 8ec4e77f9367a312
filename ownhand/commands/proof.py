"""The proof: picture pages of a font, a paragraph set in it and every character with all its variants."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from capture.errors import UsageError
from capture.files import check_writable, page_file
from capture.label_font import font_path, label_font, printed_form
from capture.labels import name_of
from capture.languages import characters_for
from capture.paper import SIZES_MM
from capture.units import MM_PER_INCH, Points, cell_from_em, image_from_cell
from fontbuild.font import Font
from fontbuild.geometry import glyph_bounds, sample_glyph, sample_stroke
from fontbuild.glyph import Glyph
from ownhand.composer import Composer, Settings
from ownhand.hands.font_of_hand import font_of
from ownhand.hands.hand import load_sheets, open_hand
from ownhand.pictures.canvas import INK, QUIET, RULE, WARN, Canvas

PX_PER_MM = 8.0
WIDTH_MM, HEIGHT_MM = SIZES_MM["A4"]
MARGIN_MM = 12.0
GAP_MM = 3.2
HEAD_MM = 11.0
LABEL_MM = 4.0
LABEL_SIZE_MM = 2.6
ROW_GAP_MM = 3.0

SAMPLE_LINES = (
    "The keeper lit the lamp at dusk and counted sixteen ships on the grey horizon, just as every evening.",
    "Le gardien vous embrasse : où êtes-vous cet été ? Nous gardons la clé du vieux phare pour votre arrivée.",
    "Der Wärter grüßt übers Meer: Schöne Tage auf dem Leuchtturm wünschen Ihnen die Möwen und wir!",
    "Latarnik życzy państwu dużo słońca, spokojnej łódki i żeby ścieżka na wieżę była zawsze sucha.",
    "El farero enciende la luz: ¡qué mañana tan pequeña y azul! ¿Volverá usted en otoño, señora?",
)
"""Set as far as the font can show them; invented for this page."""

BUILT_SCALE = 0.62
"""Letters built from base and mark are shown so much smaller: there are many, and the writer wrote none of them."""

SECTIONS: tuple[tuple[str, Callable[[str], bool]], ...] = (
    ("Small letters", lambda c: _plain(c) and c.islower()),
    ("Capitals", lambda c: _plain(c) and c.isupper()),
    ("Figures", str.isdigit),
    ("Accented and other letters", lambda c: c[0].isalpha()),
    ("Signs", lambda c: True),
)
BUILT = "Built from letters and marks"
UNASKED = "Built as well, asked for by none of the sheets"


def _plain(char: str) -> bool:
    return len(char) == 1 and char.isascii()


@dataclass(frozen=True, eq=False)
class _Block:
    """A character and its variants, as many as stand beside each other; mm, from the block's left end, y up."""

    char: str
    glyphs: Sequence[Glyph]
    places: tuple[float, ...]
    """x of each glyph's origin."""

    width_mm: float
    up_mm: float
    """Ink above the baseline."""

    down_mm: float
    """Ink below the baseline."""


def write_proof(
    path: Path, output: Path | None = None, *, languages: Sequence[str] = (), force: bool = False
) -> tuple[Path, ...]:
    """Draw the proof of the hand in `path` (or of a UFO) and write its pages as PNG; return where.

    The pages after the first bear a number: proof.png, proof-2.png. Characters that `languages`, or else the hand's own
    sheets, ask for and the font lacks are shown as missing. A proof at its usual place is replaced, one at `output`
    only with `force`.

    Raises
    ------
    UsageError
        If `output` is no PNG file by its name.
    OutputError
        If one of its pages exists and `force` was not given, or cannot be written.
    """
    if output is not None and output.suffix.lower() != ".png":
        raise UsageError(str(output), "a proof is a PNG picture", f"Call it {output.stem}.png.")
    is_hand = path.is_dir() and (path / "hand.json").is_file()
    target = output or (path / "font" / "proof.png" if is_hand else path.with_suffix(".proof.png"))
    check_writable(target, force=force or output is None)
    font = font_of(path)
    wanted: set[str] = set(characters_for(languages)) if languages else set()
    if is_hand and not languages:
        wanted = {c.char for s in load_sheets(open_hand(path)).values() for p in s.pages for c in p.cells}
    pages = draw_proof(font, wanted)
    for number in range(2, len(pages) + 1) if output is not None else ():
        check_writable(page_file(target, number), force=force)
    written = tuple(page.save_png(page_file(target, n)) for n, page in enumerate(pages, 1))
    n = len(pages) + 1
    while output is None and (left := page_file(target, n)).exists():
        left.unlink()  # of a longer proof before
        n += 1
    return written


def draw_proof(font: Font, wanted: Iterable[str] = ()) -> tuple[Canvas, ...]:
    """Return the proof pages of `font`, of A4; of the characters `wanted`, those it lacks are shown as missing.

    The paragraph comes first, then what was written, then built letters: those that were asked for before the others,
    which have pages of their own.
    """
    pages = [_page()]
    y = _heading(pages[-1], font)
    paragraph, paragraph_mm = _paragraph(font)
    for path in paragraph:
        pages[-1].line(path + np.array([0.0, y]), width_mm=font.metrics.pen_width * font.mm_per_unit)
    y += paragraph_mm
    for title, scale, blocks in _sections(font, set(wanted) - {" "}):
        if not blocks:
            continue
        rows = _rows(blocks)
        if title == UNASKED or y + HEAD_MM + _row_height(rows[0]) > HEIGHT_MM - MARGIN_MM:
            pages.append(_page())
            y = MARGIN_MM
        canvas = pages[-1]
        canvas.text(MARGIN_MM, y + 5, title, font=font_path(), size_mm=3.6, colour=QUIET)
        canvas.line([(MARGIN_MM, y + 7), (WIDTH_MM - MARGIN_MM, y + 7)], width_mm=0.15, colour=RULE)
        y += HEAD_MM
        for row in rows:
            if y + _row_height(row) > HEIGHT_MM - MARGIN_MM and y > 2 * MARGIN_MM:
                pages.append(_page())
                y = MARGIN_MM
            x, baseline = MARGIN_MM, y + LABEL_MM + max(b.up_mm for b in row)
            for block in row:
                _draw_block(pages[-1], font, block, x, y, baseline, scale)
                x += block.width_mm + GAP_MM * 1.6
            y += _row_height(row)
    return tuple(pages)


def _page() -> Canvas:
    return Canvas(WIDTH_MM, HEIGHT_MM, px_per_mm=PX_PER_MM)


def _sections(font: Font, wanted: set[str]) -> list[tuple[str, float, list[_Block]]]:
    chars = sorted((set(font.glyphs) | wanted) - {" ", ""}, key=lambda c: (unicodedata.normalize("NFD", c), c))
    built = [c for c in chars if font.glyphs.get(c) and all(g.source.startswith("built") for g in font.glyphs[c])]
    left = [c for c in chars if c not in built]
    out = []
    for title, belongs in SECTIONS:
        mine = [c for c in left if belongs(c)]
        left = [c for c in left if c not in mine]
        out.append((title, 1.0, [b for c in mine for b in _blocks(font, c, 1.0)]))
    for title, asked in ((BUILT, True), (UNASKED, False)):
        mine = [c for c in built if (c in wanted or not wanted) == asked]
        out.append((title, BUILT_SCALE, [b for c in mine for b in _blocks(font, c, BUILT_SCALE)]))
    return out


def _blocks(font: Font, char: str, scale: float) -> list[_Block]:
    """Return a character's block; several where its variants do not fit the page's width."""
    glyphs = font.glyphs.get(char, ())
    unit, gap = font.mm_per_unit * scale, GAP_MM * scale
    parts: list[list[Glyph]] = [[]]
    x = 0.0
    for glyph in glyphs:
        x0, _, x1, _ = glyph_bounds(glyph)
        if parts[-1] and x + (x1 - x0) * unit > WIDTH_MM - 2 * MARGIN_MM:
            parts.append([])
            x = 0.0
        parts[-1].append(glyph)
        x += (x1 - x0) * unit + gap
    return [_block(font, char, part, scale) for part in parts]


def _block(font: Font, char: str, glyphs: Sequence[Glyph], scale: float) -> _Block:
    unit, gap = font.mm_per_unit * scale, GAP_MM * scale
    x, up, down, places = 0.0, font.metrics.x_height * unit, 0.0, []
    for glyph in glyphs:
        x0, y0, x1, y1 = glyph_bounds(glyph)
        places.append(x - x0 * unit)
        x += (x1 - x0) * unit + gap
        up, down = max(up, y1 * unit), max(down, -y0 * unit)
    label_mm = label_font().width_mm(printed_form(char), LABEL_SIZE_MM)
    least = label_mm + (9.0 if not glyphs else 0.5)
    return _Block(char, glyphs, tuple(places), max(x - gap, least, 4.0), up, down)


def _row_height(row: Sequence[_Block]) -> float:
    return LABEL_MM + max(b.up_mm for b in row) + max(b.down_mm for b in row) + ROW_GAP_MM


def _rows(blocks: Sequence[_Block]) -> list[list[_Block]]:
    rows: list[list[_Block]] = [[]]
    x = 0.0
    for block in blocks:
        if rows[-1] and x + block.width_mm > WIDTH_MM - 2 * MARGIN_MM:
            rows.append([])
            x = 0.0
        rows[-1].append(block)
        x += block.width_mm + GAP_MM * 1.6
    return rows


def _heading(canvas: Canvas, font: Font) -> float:
    r, m, unit = font.record, font.metrics, font.mm_per_unit
    canvas.text(MARGIN_MM, 15, r.family, font=font_path(), size_mm=7.5)
    glyphs = sum(len(v) for v in font.glyphs.values())
    facts = [
        *([f"written by {r.writer}"] if r.writer else []),
        f"{len(font.glyphs)} characters, {glyphs} glyphs",
        f"x-height {m.x_height * unit:.1f} mm, shown at {PX_PER_MM * MM_PER_INCH:.0f} dpi",
        f"pen {m.pen_width * unit:.2f} mm",
        f"slant {m.slant_deg:.0f}°",
    ]
    canvas.text(MARGIN_MM, 21.5, "   ·   ".join(facts), font=font_path(), size_mm=3.2, colour=QUIET)
    return 26.0


def _draw_block(
    canvas: Canvas, font: Font, block: _Block, x_mm: float, top_mm: float, baseline_mm: float, scale: float
) -> None:
    missing = not block.glyphs
    named = name_of(block.char) if not block.char[0].isalnum() else ""
    shown = printed_form(block.char)
    label = f"{shown}  missing" if missing else shown
    if named and 0.5 * LABEL_SIZE_MM * len(named) + 4 < block.width_mm:
        label += f"  {named}"
    canvas.text(x_mm, top_mm + 2.4, label, font=font_path(), size_mm=LABEL_SIZE_MM, colour=WARN if missing else QUIET)
    canvas.line([(x_mm, baseline_mm), (x_mm + block.width_mm, baseline_mm)], width_mm=0.12, colour=RULE)
    if missing:
        height = block.up_mm + 1.0
        canvas.box(x_mm, baseline_mm - height, block.width_mm, height, colour=WARN)
    unit = font.mm_per_unit * scale
    for glyph, place in zip(block.glyphs, block.places, strict=True):
        for stroke in sample_glyph(glyph):
            points = cell_from_em(stroke, mm_per_unit=unit)
            at = image_from_cell(points, left_mm=x_mm + place, baseline_mm=baseline_mm)
            canvas.line(at, width_mm=font.metrics.pen_width * unit, colour=INK)


def _paragraph(font: Font) -> tuple[list[Points], float]:
    """Return the paths of the sample lines that the font can show, and how high they stand, mm."""
    lines = [s for s in SAMPLE_LINES if all(c in font.glyphs for c in s.replace("’", "'") if not c.isspace())]
    if not lines:
        return [], 0.0
    settings = Settings(paper=(WIDTH_MM, 400.0), margins_mm=(6.0, MARGIN_MM, 6.0, MARGIN_MM))
    page = Composer(font).compose("\n".join(lines), settings, seed=1).pages[0]
    paths = [sample_stroke(p) for p in page.paths()]
    return paths, max(float(p[:, 1].max()) for p in paths) + 6.0
