"""The stroke font measured: outliers, built accents, spacing, blends, languages, and what other programs make of it.

    python -m tests.bench font [--handwriting FONT.ttf] [--read HAND] [--seeds 5] [--only outliers,accents,...]

The hands: the sample's (true strokes of its cells), the same as read from its scans, and one inked from an open
handwriting font, traced from its picture and scattered. Reading the scans takes minutes: --read takes a hand folder in
which they were read before. Spacing is compared with that of the open text font in ReportLab (PyPI).
"""

from __future__ import annotations

import argparse
import subprocess
import tempfile
import time
import unicodedata
from collections import Counter
from dataclasses import replace
from itertools import pairwise, product
from pathlib import Path

import numpy as np
import reportlab

from capture.languages import coverage
from fontbuild import spacing
from fontbuild.anchors import anchor_name, base_anchor, mark_anchor
from fontbuild.build import build_font
from fontbuild.font import Font, Metrics, Record
from fontbuild.formats.opentype import save_opentype
from fontbuild.formats.svg_font import save_svg_fonts
from fontbuild.formats.ufo import load_ufo, save_ufo
from fontbuild.geometry import sample_glyph
from fontbuild.glyph import Glyph
from fontbuild.marks import mark_strokes, parts_of
from fontbuild.point_cloud_distance import cloud, distances, normal
from skeleton import trace
from skeleton.attempt import Attempt
from tests.bench.font_hands import HANDWRITING, inked_hand, misread, plant, read_hand, sample_hand, written_odd
from tests.bench.trace_ink import ink
from tests.fontbuild.blending import blend
from tests.fontbuild.text_fonts import load_text_font

RECORD = Record("Lantern", "the lighthouse keeper", "invented", "sample", 2026)
VERA = Path(reportlab.__file__).parent / "fonts" / "Vera.ttf"
TEXT = (
    "When the fog comes in from the sea the keeper rings the bell twice and puts the kettle on "
    "Quick gulls jump over the lazy waves and vanish By evening the boxes are packed AVATAR minimum Tyf To We Va"
)
DPI = 300.0
SHAPED = (
    "eeeeee",
    "Zażółć gęślą jaźń",
    "Việt",
    "minimum",
    "Größe für Straße",
    "Ça coûte très cher à Noël",
    "¿Qué año?",
)


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench font", description=__doc__.split("\n\n")[0])
    parser.add_argument("--handwriting", type=Path, default=HANDWRITING)
    parser.add_argument("--read", type=Path, help="hand folder with the sample's scans read; else they are read now")
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--only", default="outliers,accents,spacing,blends,languages,clients")
    args = parser.parse_args(argv)
    samples = {"sample": sample_hand(), "sample as read": read_hand(args.read)}
    hands = dict(samples)
    if args.handwriting is not None and args.handwriting.exists():
        hands["inked from " + args.handwriting.name] = inked_hand(args.handwriting)
    else:
        print("no second hand: none is installed (Debian: fonts-dkg-handwriting)")
    wanted = args.only.split(",")
    if "outliers" in wanted:
        for name, attempts in hands.items():
            outliers(name, attempts, args.seeds)
    for name, attempts in samples.items():
        began = time.perf_counter()
        font = build_font(attempts, RECORD).font
        glyphs = sum(len(v) for v in font.glyphs.values())
        print(f"\n{name} hand: {len(font.glyphs)} characters, {glyphs} glyphs in {time.perf_counter() - began:.1f} s")
        if "accents" in wanted:
            accents(attempts)
        if "spacing" in wanted:
            white(font)
        if "blends" in wanted:
            blends(font)
        if "languages" in wanted:
            languages(attempts, font)
        if "clients" in wanted:
            clients(font)
    return 0


# ---------------------------------------------------------------------------------------- outliers


def outliers(name: str, attempts: list[Attempt], seeds: int) -> None:
    print(f"\nOutliers planted in 5 % of the attempts, {name} hand, {seeds} draws (aim: found >= 95 %, lost <= 1 %)")
    found, planted, lost, good = Counter[str](), Counter[str](), Counter[str](), 0
    by_size: dict[bool, list[bool]] = {True: [], False: []}
    times = Counter(a.char for a in attempts if a.status == "written")
    chars = {a.id: a.char for a in attempts}
    wrong, wrongly = misread(attempts), Counter[str]()
    odd = written_odd()  # wrong in size without being planted: neither good nor counted
    for seed in range(seeds):
        changed, bad = plant(attempts, seed=seed)
        aside = {s.id: s.reason for s in build_font(changed, RECORD, accents=False).set_aside}
        planted.update(bad.values())
        found.update(kind for id_, kind in bad.items() if id_ in aside)
        for id_ in bad:
            by_size[times[chars[id_]] > 2].append(id_ in aside)
        written = {a.id for a in attempts if a.status == "written" and a.strokes} - set(bad) - odd
        good += len(written)
        wrongly.update(id_ for id_ in aside if id_ in written & wrong)
        lost.update(reason.split("'")[0].strip() for id_, reason in aside.items() if id_ in written)
    print(f"{'kind':18s}{'found':>12s}")
    for kind in planted:
        print(f"{kind:18s}{found[kind]:6d}/{planted[kind]:<5d}")
    total = sum(planted.values())
    print(f"{'all':18s}{sum(found.values()):6d}/{total:<5d} {sum(found.values()) / total:.3f}")
    for many, hits in by_size.items():
        label = "three and more attempts" if many else "of two attempts"
        if hits:
            print(f"  {label}: {np.mean(hits):.3f} of {len(hits)}")
    print(f"good ones lost: {sum(lost.values())}/{good} = {sum(lost.values()) / good:.4f} {dict(lost)}")
    if wrong:
        print(f"  {sum(wrongly.values())} of them had been read with another number of strokes than was written")


# ---------------------------------------------------------------------------------------- accents


def placed(glyph: Glyph, char: str, metrics: Metrics) -> np.ndarray | None:
    """Return the way from the base's anchor to the mark's, in x-heights."""
    parts = parts_of(char)
    drawn = sample_glyph(glyph)
    chosen = mark_strokes(char, drawn, x_height=metrics.x_height)
    if parts is None or not chosen:
        return None
    name = anchor_name(parts[1])
    base = [s for k, s in enumerate(drawn) if k not in chosen]
    sign = [s for k, s in enumerate(drawn) if k in chosen]
    at = base_anchor(base, name, x_height=metrics.x_height, slant_deg=metrics.slant_deg)
    on = mark_anchor(sign, name, slant_deg=metrics.slant_deg)
    return (np.array(on) - np.array(at)) / metrics.x_height


def accents(attempts: list[Attempt]) -> None:
    print("\nBuilt accents beside the same letters as written (each letter left out in turn; x-heights)")
    letters = sorted({a.char for a in attempts if a.status == "written" and parts_of(a.char)})
    full = build_font(attempts, RECORD, accents=False).font
    offs, near, spread = [], 0, []
    rows = []
    for char in letters:
        rest = [a for a in attempts if a.char != char]
        font = build_font([a for a in rest if _useful(a, char)], RECORD, wanted=[char]).font
        if char not in font.glyphs or char not in full.glyphs:
            rows.append(f"{char}: not built")
            continue
        mine = [p for g in font.glyphs[char] if (p := placed(g, char, full.metrics)) is not None]
        theirs = [p for g in full.glyphs[char] if (p := placed(g, char, full.metrics)) is not None]
        if not mine or not theirs:
            continue
        off = np.mean(mine, axis=0) - np.mean(theirs, axis=0)
        offs.append(off)
        spread += [p - np.mean(theirs, axis=0) for p in theirs]
        rows.append(f"{char} {off[0]:+.2f} {off[1]:+.2f}")
    sd = np.sqrt(np.sum(np.square(spread), axis=0) / max(len(spread) - len(offs), 1))
    for off in offs:
        near += bool(np.all(np.abs(off) <= 2 * sd))
    print("  ".join(rows))
    print(f"spread of the writer's own (SD): {sd[0]:.3f} across, {sd[1]:.3f} up")
    means = np.abs(offs).mean(axis=0)
    print(f"built against written: mean {means[0]:.3f} across, {means[1]:.3f} up; within two SD {near}/{len(offs)}")


def _useful(a: Attempt, char: str) -> bool:
    """Return whether an attempt can matter for building `char`: its parts, those that set the metrics, its mark."""
    base, mark = parts_of(char) or ("", "")
    mine = parts_of(a.char)
    return a.char in (base, mark) or a.char in "nxhoHOp" or bool(mine and mine[1] == mark)


# ---------------------------------------------------------------------------------------- spacing


def white_between(a: Glyph, b: Glyph, distance: float, metrics: Metrics) -> float:
    """Return the area between two letters over the x-height, x-heights squared; no bay deeper than 0.6 counts.

    Measured on the inked shapes line by line, without any of the rules that the spacing itself follows.
    """
    at = np.arange(0.02, 0.98, 0.04) * metrics.x_height
    left, right = spacing.sides(a, metrics), spacing.sides(b, metrics)
    band = spacing.bands(metrics)
    gap = np.interp(at, band, np.minimum(left.right, 0.6 * metrics.x_height))
    gap += np.interp(at, band, np.minimum(right.left, 0.6 * metrics.x_height)) + distance
    return float(np.clip(gap, 0, 0.9 * metrics.x_height).mean() / metrics.x_height)


def _pairs() -> list[tuple[str, str]]:
    return [(a, b) for word in TEXT.split() for a, b in pairwise(word)]


def _whites(font: Font, pairs: list[tuple[str, str]], *, fixed: float | None = None) -> np.ndarray:
    out = []
    for a, b in pairs:
        one, two = font.glyphs[a][0], font.glyphs[b][0]
        left, right = spacing.sides(one, font.metrics), spacing.sides(two, font.metrics)
        distance = one.advance + font.kerning.get((a, b), 0.0) - left.x_max + right.x_min
        out.append(white_between(one, two, distance if fixed is None else fixed, font.metrics))
    return np.array(out)


def white(font: Font) -> None:
    print("\nSpacing: white between neighbours over the x-height, in the running text (mean, SD, SD/mean)")
    pairs = [p for p in _pairs() if all(c in font.glyphs for c in p)]
    ours = _whites(font, pairs)
    _row("this font", ours)
    mean_distance = []
    for a, b in pairs:
        one, two = font.glyphs[a][0], font.glyphs[b][0]
        left, right = spacing.sides(one, font.metrics), spacing.sides(two, font.metrics)
        mean_distance.append(one.advance + font.kerning.get((a, b), 0.0) - left.x_max + right.x_min)
    _row("fixed side bearings", _whites(font, pairs, fixed=float(np.mean(mean_distance))))
    vera = load_text_font(VERA)
    theirs = [
        white_between(vera.glyphs[a], vera.glyphs[b], vera.distance(a, b), vera.metrics)
        for a, b in pairs
        if a in vera.glyphs and b in vera.glyphs
    ]
    _row("the text font", np.array(theirs))
    small = "abcdefghijklmnopqrstuvwxyz"
    kinds = {"small": (small, small), "capital, small": (small.upper(), small), "capitals": (small.upper(),) * 2}
    print("Our distances on the text font's shapes against its own (x-heights: SD of the difference, SD of its own)")
    sides = {c: spacing.sides(vera.glyphs[c], vera.metrics) for c in small + small.upper()}
    by = replace(spacing.rule(vera.metrics), white=0.4 * vera.metrics.x_height)
    for name, (first, second) in kinds.items():
        both = list(product(first, second))
        mine = spacing.distances(
            np.array([sides[a].right for a, _ in both]), np.array([sides[b].left for _, b in both]), by
        )
        own = np.array([vera.distance(a, b) for a, b in both])
        x = vera.metrics.x_height
        print(f"  {name:16s}{(mine - own).std() / x:8.3f}{own.std() / x:8.3f}")


def _row(name: str, values: np.ndarray) -> None:
    print(f"  {name:22s}{values.mean():8.3f}{values.std():8.3f}{values.std() / values.mean():8.3f}")


# ---------------------------------------------------------------------------------------- blends


def blends(font: Font) -> None:
    print("\nBlends: distance to the hand's nearest other attempt (units of the letter's spread), median and p90")
    real, mixed, inked_real, inked_mixed = [], [], [], []
    for char, variants in font.glyphs.items():
        groups: dict[str, list[Glyph]] = {}
        for g in variants:
            groups.setdefault(g.ductus, []).append(g)
        for ductus, group in groups.items():
            if not ductus or len(group) < 4 or variants[0].source.startswith("built") or not char.isalnum():
                continue
            x = font.metrics.x_height
            shapes = np.array([_shape([s / x for s in sample_glyph(g)]) for g in group])
            for i in range(len(group) - 1):
                others = np.array([k for k in range(len(group)) if k not in (i, i + 1)])
                real.append(distances(shapes[i : i + 1], shapes[others]).min())
                half = blend([group[i], group[i + 1]], [0.5, 0.5])
                mixed.append(distances(_shape([s / x for s in sample_glyph(half)])[None], shapes[others]).min())
                if i == 0:
                    # Both go the same way, from ink to strokes, so that only the letters differ.
                    for glyph, into in ((group[i], inked_real), (half, inked_mixed)):
                        if lines := inked_again(glyph, font):
                            into.append(distances(_shape(lines)[None], shapes[others]).min())
    table = {"real attempts": real, "blends of two": mixed}
    table |= {"real, inked and traced": inked_real, "blends, inked and traced": inked_mixed}
    for name, values in table.items():
        print(f"  {name:26s}{np.median(values):8.3f}{np.quantile(values, 0.9):8.3f}   ({len(values)})")


def _shape(lines: list[np.ndarray]) -> np.ndarray:
    return normal(cloud(lines))


def inked_again(glyph: Glyph, font: Font) -> list[np.ndarray]:
    """Return the strokes that the tracer finds in a glyph's picture, x-heights, y up."""
    lines = [s * font.mm_per_unit * [1.0, -1.0] for s in sample_glyph(glyph)]
    grey, _ = ink(lines, dpi=DPI, pen_mm=font.metrics.pen_width * font.mm_per_unit)
    traced = trace(grey, DPI, glyph.char)
    return [s.points_mm * [1.0, -1.0] / (font.mm_per_unit * font.metrics.x_height) for s in traced]


# ---------------------------------------------------------------------------------------- languages, clients


def languages(attempts: list[Attempt], font: Font) -> None:
    written = {a.char for a in attempts if a.status == "written"}
    own = {c for c in font.glyphs if not _needs_stand_in(c, font)}
    print("\nLanguages of the database (hyperglot) that share a letter with the font: all letters there, incomplete")
    table = {"as written": written, "with built accents": own, "and marks made of others": set(font.glyphs)}
    for name, chars in table.items():
        found = Counter("complete" if not c.missing and not c.built else "incomplete" for c in coverage(chars))
        print(f"  {name:26s}{found['complete']:6d}{found['incomplete']:6d}   ({len(chars)} characters)")


def _needs_stand_in(char: str, font: Font) -> bool:
    """Return whether a letter bears a mark that was made of another."""
    source = font.glyphs[char][0].source
    if not source.startswith("built"):
        return False
    parts = parts_of(char)
    below = bool(parts) and parts[0] in font.glyphs and _needs_stand_in(parts[0], font)
    return " from " in source or below


def clients(font: Font) -> None:
    print("\nOther programs")
    import ots
    import uharfbuzz as hb
    from fontTools.ufoLib import UFOReader

    with tempfile.TemporaryDirectory() as folder:
        room = Path(folder)
        began = time.perf_counter()
        ufo = save_ufo(font, room / "l.ufo")
        saved = time.perf_counter()
        load_ufo(ufo)
        print(f"  UFO: saved in {saved - began:.1f} s, loaded in {time.perf_counter() - saved:.1f} s")
        with UFOReader(ufo, validate=True) as reader:
            print(f"  fontTools.ufoLib: valid, {len(reader.getGlyphSet(validateRead=True).keys())} glyphs")
        svg = save_svg_fonts(font, room / "l.svg")
        for flavour in ("ttf", "otf"):
            began = time.perf_counter()
            file = save_opentype(font, room / f"l.{flavour}")
            size = file.stat().st_size // 1000
            print(f"  {flavour}: {size} kB in {time.perf_counter() - began:.1f} s")
            code = ots.sanitize(str(file), capture_output=True).returncode
            print(f"  OpenType Sanitizer, {flavour}: {'passes' if code == 0 else 'REFUSES'}")
            shaper = hb.Font(hb.Face(hb.Blob.from_file_path(str(file))))
            for text in SHAPED:
                buffer = hb.Buffer()
                buffer.add_str(unicodedata.normalize("NFC", text))
                buffer.guess_segment_properties()
                hb.shape(shaper, buffer, {"rand": False})
                names = [shaper.glyph_to_string(i.codepoint) for i in buffer.glyph_infos]
                print(f"    {text}: {' '.join(names)}")
        print(f"  a font editor of others: {_font_editor(svg[0])}")


def _font_editor(file: Path) -> str:
    script = (
        "import fontforge,sys\n"
        "f=fontforge.open(sys.argv[1])\n"
        "g=[g for g in f.glyphs() if g.glyphname!='.notdef']\n"
        "c=[c for x in g for c in x.foreground]\n"
        "print(len(g),'glyphs,',len(c),'contours,',sum(not x.closed for x in c),'open')\n"
    )
    python = "/usr/bin/python3"  # Debian's own, which has the font editor's module
    if not Path(python).exists() or subprocess.run([python, "-c", "import fontforge"], capture_output=True).returncode:
        return "not installed (Debian: python3-fontforge)"
    done = subprocess.run([python, "-c", script, str(file)], capture_output=True, text=True, check=False)
    return done.stdout.strip() or "failed: " + done.stderr.strip()[-200:]
