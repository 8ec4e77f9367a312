"""How fast text becomes plotter files, how its figures compare with a plain font's, and how lively it is.

    python -m tests.bench compose [--font hershey|FONT.ufo] [--pages 1,10,100,1000] [--workers 2]

Speed is measured on one-page letters of 1,000 characters, written as SVG files by a run over a table, as
`ownhand write --table` does. Beside it, in the same run and on one core: the same text shaped by HarfBuzz (uharfbuzz)
from an ordinary outline font (DejaVu Sans, which comes with matplotlib's or PIL's test data where installed; any font
by --outline) and drawn by fontTools' SVGPathPen.
"""

from __future__ import annotations

import argparse
import gzip
import json
import resource
import tempfile
import time
from dataclasses import asdict
from pathlib import Path

import numpy as np

from capture.sheet import Page
from capture.sheet_file import load_sheet
from fontbuild.font import Font
from ownhand.composer import Composer, Life, Ruling, Settings
from ownhand.composer.formats.svg import svg_text
from ownhand.composer.merge.mail_merge import run_table
from ownhand.composer.merge.table import Row, Table
from ownhand.composer.merge.template import parse_template
from ownhand.composer.merge.workers import Run
from ownhand.composer.variation.handwriting_statistics import own_scatter, scatter_of
from tests.ownhand.composing import LETTER
from tests.ownhand.hershey_font import hershey_font
from tests.ownhand.measuring import Measured, in_columns, measured, measured_letters, returns, seen

SAMPLE = Path(__file__).parents[2] / "sample_sheets" / "lantern"
LETTERS = (LETTER + " " + LETTER + " " + LETTER)[:1000]


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench compose", description=__doc__)
    parser.add_argument(
        "--font", default="hershey", help="a UFO, or 'hershey': PyPI's Hershey-Fonts with five variants"
    )
    parser.add_argument("--outline", type=Path, help="an ordinary font to compare with")
    parser.add_argument("--pages", default="1,10,100,1000", help="sizes of the runs")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--skip", default="", help="speed,life: parts to leave out")
    parser.add_argument("--copied", action="store_true", help="beside the font: the lines the sample's writer copied")
    options = parser.parse_args(argv)
    font = load_font(options.font)
    if "speed" not in options.skip:
        first_page(font)
        plain_font(options.outline)
        growth(font, [int(n) for n in options.pages.split(",")], options.workers)
    if "life" not in options.skip:
        repetition(font)
        variation(font, copied=options.copied)
        settings_follow(font)
    return 0


def load_font(name: str) -> Font:
    if name == "hershey":
        return hershey_font()
    from fontbuild.formats.ufo import load_ufo

    return load_ufo(Path(name))


def first_page(font: Font) -> None:
    start = time.perf_counter()
    composer = Composer(font)
    svg_text(composer.compose(LETTERS, seed=1).pages[0])
    first = time.perf_counter() - start
    start = time.perf_counter()
    for seed in range(20):
        made = composer.compose(LETTERS, seed=seed)
        text = svg_text(made.pages[0])
    each = (time.perf_counter() - start) / 20
    print(f"first page, font in memory: {first:.2f} s; in a loop on one core: {_rates(each, text)}")


def _rates(each: float, text: str) -> str:
    pages, letters = 1 / each, len(LETTERS) / each
    return f"{each * 1000:.0f} ms, {pages:.1f} pages/s, {letters:,.0f} letters/s; {len(text) / 1000:.0f} kB of SVG"


def plain_font(path: Path | None) -> None:
    """The same text by HarfBuzz and fontTools from an outline font: one shape a letter, no life."""
    import uharfbuzz as hb
    from fontTools.pens.svgPathPen import SVGPathPen
    from fontTools.pens.transformPen import TransformPen
    from fontTools.ttLib import TTFont

    path = path or _any_outline_font()
    if path is None:
        print("HarfBuzz + fontTools: no outline font found; give one by --outline")
        return
    font = TTFont(path)
    shaper = hb.Font(hb.Face(hb.Blob.from_file_path(str(path))))
    glyphs, names = font.getGlyphSet(), font.getGlyphOrder()
    start = time.perf_counter()
    rounds = 5
    for _ in range(rounds):
        y, parts = 0, []
        for line in (LETTERS[i : i + 60] for i in range(0, len(LETTERS), 60)):
            buffer = hb.Buffer()
            buffer.add_str(line)
            buffer.guess_segment_properties()
            hb.shape(shaper, buffer)
            x = 0
            for info, place in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
                pen = SVGPathPen(glyphs)
                glyphs[names[info.codepoint]].draw(TransformPen(pen, (0.01, 0, 0, -0.01, 0.01 * x, y)))
                parts.append(f'<path d="{pen.getCommands()}"/>')
                x += place.x_advance
            y += 10
        text = "".join(parts)
    each = (time.perf_counter() - start) / rounds
    print(f"HarfBuzz + fontTools pens, {path.name}, on one core: {_rates(each, text)}")


def _any_outline_font() -> Path | None:
    try:
        import matplotlib

        return Path(matplotlib.get_data_path()) / "fonts/ttf/DejaVuSans.ttf"
    except ImportError:
        return next(iter(sorted(Path("/usr/share/fonts").rglob("*.ttf"))), None)


def growth(font: Font, sizes: list[int], workers: int) -> None:
    print(f"\nruns over a table, SVG files, {workers} processes, 1,000 characters a page")
    print(f"{'pages':>8} {'seconds':>9} {'CPU s':>8} {'pages/s':>9} {'letters/s':>11} {'peak MB: parent, worker':>25}")
    template = parse_template("{text}")
    for size in sizes:
        rows = tuple(Row(k, k + 1, {"text": LETTERS}) for k in range(1, size + 1))
        with tempfile.TemporaryDirectory() as folder:
            start, busy = time.perf_counter(), _cpu_seconds()
            report = run_table(font, Table(("text",), rows, "utf-8", ","), template, Path(folder) / "out",
                               Run(Settings()), workers=workers)  # fmt: skip
            seconds = time.perf_counter() - start
        assert report.written == size and not report.faults
        cpu = _cpu_seconds() - busy
        who = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
        peaks = ", ".join(f"{resource.getrusage(w).ru_maxrss / 1024:.0f}" for w in who)
        print(
            f"{size:>8} {seconds:>9.2f} {cpu:>8.2f} {size / seconds:>9.1f} {size * 1000 / seconds:>11,.0f} {peaks:>25}"
        )


def _cpu_seconds() -> float:
    use = [resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in use)


def repetition(font: Font) -> None:
    composer = Composer(font)
    x = composer.written_x_height_mm
    text = LETTER * 22
    print(f"\nshapes that come back within 3 lines, {len(text):,} characters (within 0.005 x-heights)")
    print(f"{'':28} {'pairs':>8} {'same shape':>11} {'same but for height, width, slant':>35}")
    for name, life in (
        ("as composed", Life()),
        ("variants, no blends", Life(blends=0)),
        ("one shape, with life", Life(variants=0)),
        ("one shape, a plain font", Life(strength=0)),
    ):
        found = returns(composer.compose(text, Settings(joins=False, life=life), seed=3).pages, x_height_mm=x)
        print(f"{name:28} {found.pairs:>8} {found.same:>11} {found.same_but_for_pose:>35}")


STANDS, STEMS = "abcdehiklmnorstuvwxz", "bdhiklmnprtu"
LIVELY = (
    ("foot", "foot_sd"), ("height", "height_sd"), ("width", "width_sd"), ("slant", "slant_sd_deg"),
    ("letter_gap", "gap_sd"), ("word_gap", "word_gap_sd"), ("level", "level_sd"), ("slope", "slope_sd_deg"),
)  # fmt: skip


def composed(font: Font, life: Life, seeds: int) -> Measured:
    """Return the figures of pages composed on ruled paper."""
    composer = Composer(font)
    x = composer.written_x_height_mm
    pitch = round(3.7 * x, 1)
    settings = Settings(ruling=Ruling(pitch, 15.0), joins=False, life=life)
    pages = [p for s in range(seeds) for p in composer.compose(LETTER * 4, settings, seed=s)]
    return measured(pages, x_height_mm=x, pitch_mm=pitch, offset_mm=15.0, stands=STANDS, stems=STEMS)


def composed_lines(font: Font, seeds: int) -> dict[str, float]:
    """Return the figures of the sample's copied lines as they are composed: the mean of many times.

    The same text in the same lines: means of lines and of characters that few letters tell are off alike in both.
    """
    composer = Composer(font)
    x = composer.written_x_height_mm
    pitch = round(3.7 * x, 1)
    text = "\n".join(line.text for line in _ruled_page().ruled)
    settings = Settings(paper=(420.0, 297.0), ruling=Ruling(pitch, 15.0), joins=False, lists=False)
    found = [
        asdict(
            measured(
                composer.compose(text, settings, seed=s).pages, x_height_mm=x, pitch_mm=pitch, offset_mm=15.0,
                stands=STANDS, stems=STEMS,
            )
        )
        for s in range(seeds)
    ]  # fmt: skip
    return {key: float(np.mean([f[key] for f in found])) for key in found[0]}


def _ruled_page() -> Page:
    sheet = load_sheet(SAMPLE / "sheet" / "sheet.json")
    (page,) = [p for p in sheet.pages if p.ruled]
    return page


def copied_lines() -> Measured:
    """Return the figures of the lines that the sample's writer copied, from their true strokes."""
    sheet = load_sheet(SAMPLE / "sheet" / "sheet.json")
    (page,) = [p for p in sheet.pages if p.ruled]
    data = json.loads(gzip.decompress((SAMPLE / "truth.json.gz").read_bytes()))
    letters = iter(data["lines"])
    rows: list[tuple] = []
    word = 0
    for number, line in enumerate(page.ruled):
        for part in line.text.split():
            word += 1
            for char, true in zip(part, letters, strict=False):
                assert char == true["char"]
                paths = [np.array(s) * [1, -1] for s in true["strokes"] if s]
                path = np.repeat(np.arange(len(paths)), [len(p) for p in paths])
                rows.append((1, number, word, char, *seen(np.vstack(paths), path)))
    lines = [line.baseline_mm for line in page.ruled]
    return measured_letters(
        in_columns(rows), x_height_mm=sheet.x_height_mm, pitch_mm=lines[1] - lines[0], offset_mm=lines[0],
        stands=STANDS, stems=STEMS,
    )  # fmt: skip


def variation(font: Font, *, copied: bool) -> None:
    found = asdict(composed(font, Life(), 12))
    asked = scatter_of(font)
    x, pen = font.metrics.x_height, font.metrics.pen_width
    squares, freedom = own_scatter(font)
    own = np.sqrt(squares / np.maximum(freedom, 1)) / [x, 1, 1, 1]
    attempts = dict(zip(("foot_sd", "height_sd", "width_sd", "slant_sd_deg"), own.tolist(), strict=True))
    lines = asdict(copied_lines()) if copied else {}
    again = composed_lines(font, 24) if copied else {}
    gap = (font.rhythm["letter_gap"] + pen) / x if "letter_gap" in font.rhythm else None
    # UNIPEN train_r01_v07, writers art03 and art08 (Guyon et al., ICPR 1994)
    table: list[tuple[str, str, float | None, str]] = [
        ("slope of a line, SD, deg", "slope_sd_deg", asked.line_slope_deg, "0.4, 0.5"),
        ("foot about the line", "foot_sd", asked.foot, "0.12, 0.105"),
        ("... correlation, lag 1", "foot_lag1", asked.foot_memory, "+0.2, +0.4"),
        ("... correlation, lag 4", "foot_lag4", 0.0, "0.0, 0.0"),
        ("a line about its place", "level_sd", asked.line_level, "0.07, 0.14"),
        ("height, within a line", "height_sd", asked.height, "0.13, 0.10"),
        ("... of lines", "height_of_lines_sd", asked.line_height, "0.10, 0.05"),
        ("width, within a line", "width_sd", asked.width, "0.19, 0.14"),
        ("... of lines", "width_of_lines_sd", asked.line_width, "0.07, 0.06"),
        ("slant of stems, deg", "slant_sd_deg", asked.slant_deg, "6, 8"),
        ("... of lines", "slant_of_lines_sd_deg", asked.line_slant_deg, "4, 5"),
        ("gap in words, mean", "gap_mean", gap, "0.25, 0.17"),
        ("... SD", "gap_sd", asked.letter_gap, "0.25, 0.24"),
        ("gap between words, mean", "word_gap_mean", asked.word_gap, "2.6, 1.2"),
        ("... SD", "word_gap_sd", asked.word_gap_share * found["word_gap_mean"], "0.7, 0.4"),
    ]
    print("\nvariation on ruled pages, in x-heights (heights and widths: as shares)")
    print(f"{'':26} {'asked':>8} {'found':>8} {'attempts':>9} {'lines':>8} {'again':>8}   two writers")

    def cell(value: float | None) -> str:
        return "" if value is None else f"{value:.3f}"

    for label, key, want, writers in table:
        here = f"{cell(want):>8} {found[key]:>8.3f} {cell(attempts.get(key)):>9}"
        here += f" {cell(lines.get(key)):>8} {cell(again.get(key)):>8}"
        print(f"{label:26} {here}   {writers}")


def settings_follow(font: Font) -> None:
    """Each setting by itself at nil, half, natural and strong, the others natural."""
    print("\nmeasured at 0, 0.5, 1 and 2 of each setting, the others at 1; then all of them together")
    strengths = (0.0, 0.5, 1.0, 2.0)
    for name, key in LIVELY:
        values = [getattr(composed(font, Life(**{name: s}), 4), key) for s in strengths]
        print(f"{name:12}" + "".join(f"{v:>9.3f}" for v in values))
    whole = [composed(font, Life(strength=s), 4) for s in strengths]
    for name, key in LIVELY:
        print(f"all: {name:12}" + "".join(f"{getattr(f, key):>9.3f}" for f in whole))
