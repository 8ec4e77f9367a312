"""The composer: a font loaded once, and text set in it as often as wanted."""

from __future__ import annotations

import shlex
import unicodedata
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from capture.blas import limited_threads
from capture.errors import FontFileError, UsageError
from fontbuild.font import Font
from fontbuild.joins import JOINS
from ownhand.composer.composition import Composition, texts_by_box
from ownhand.composer.glyphs.joined_words import JoinedWords
from ownhand.composer.glyphs.variant_bank import VariantBank
from ownhand.composer.glyphs.variant_selector import VariantSelector
from ownhand.composer.layout.letters import Letters, make_letters
from ownhand.composer.layout.line_layout import SetText, Wobble, fitted, set_text
from ownhand.composer.layout.page_geometry import Hand, write_page
from ownhand.composer.layout.tabs import with_columns, with_tabs
from ownhand.composer.plot.delayed_strokes import OVER, delayed_strokes, joins
from ownhand.composer.plot.plot_page import PlotPage, merged
from ownhand.composer.plot.travel import least_travel
from ownhand.composer.settings.settings import Settings
from ownhand.composer.settings.text_box import TextBox
from ownhand.composer.text.fitter import Fitter, Notice
from ownhand.composer.text.prepared_text import PreparedText, count_missing, prepare_text, tables_of
from ownhand.composer.variation.handwriting_statistics import Scatter, scatter_of
from ownhand.composer.variation.noise import ar1_noise, draw

if TYPE_CHECKING:
    from fontbuild.accents import Habits

MOST_PAGES = 10_000
"""Pages of one text."""


MOST_ADDED = 300
"""Letters put together for texts that are kept for the next ones; where there are more, all are made anew."""

FAR, JOIN = 2.0, 0.3
"""Where it is known between which letters the pen stays down, they are joined over so many times `OVER`, and so many
x-heights of both are drawn anew for it."""

TOUCH = 0.35
"""Ends of one letter's strokes that lie within so many pen widths meet."""


class Composer:
    """Sets text in one hand.

    Parameters
    ----------
    font
        The hand. Its shapes are prepared as they are first needed.
    scatter
        How much the hand varies; None: its own rhythm where measured, else the documented defaults.

    Raises
    ------
    FontFileError
        If the font holds no letter or no usable size.
    """

    def __init__(self, font: Font, *, scatter: Scatter | None = None) -> None:
        if not any(g.strokes for variants in font.glyphs.values() for g in variants):
            raise FontFileError(font.record.family or "font", "it holds no letter", "Read a filled-in sheet first.")
        if not (font.metrics.x_height > 0 and font.mm_per_unit > 0):
            raise FontFileError(font.record.family or "font", "it has no x-height or no size in mm", "Build it again.")
        self.scatter = scatter or scatter_of(font)
        self._written = font
        self._begin_anew()
        self._joins = joins(font)
        self._knows_joins = any(name.startswith(JOINS) for name in font.rhythm)
        self._has = {c for c, variants in font.glyphs.items() if c and any(g.strokes for g in variants)}
        self._habits: Habits | None = None
        self.most_pages = MOST_PAGES
        """A text that fills more is refused."""

    def _forget_many(self) -> None:
        """Forget the letters that were put together where there are many: texts of strangers ask for ever others."""
        if len(self._added) > MOST_ADDED:
            self._begin_anew()

    def _begin_anew(self) -> None:
        # letters with marks that Unicode has no character for are added as texts ask for them
        self._glyphs = dict(self._written.glyphs)
        self.font = replace(self._written, glyphs=self._glyphs)
        self._bank = VariantBank(self.font)
        self._added: set[str] = set()

    @property
    def written_x_height_mm(self) -> float:
        """The size in which the hand was written."""
        return self.font.metrics.x_height * self.font.mm_per_unit

    def missing(self, text: str | Mapping[str, str], *, lists: bool = True) -> Counter[str]:
        """Return what a text needs and the hand lacks, and how often; nothing is set, so that it is quick."""
        self._forget_many()
        fitter = Fitter(self._has, self._made)
        for body in [text] if isinstance(text, str) else text.values():
            count_missing(body, fitter, self._has, lists=lists)
        return fitter.missing

    def _made(self, char: str) -> bool:
        """Make a letter and its marks of the hand's own parts; return whether it could be made."""
        if char in self._added:
            return True
        # here, because hardly any text asks for it
        from fontbuild.accents import build_sequence
        from fontbuild.habits import habits_of

        if self._habits is None:
            self._habits = habits_of(self.font.glyphs, self.font.metrics)
        made = build_sequence(char, self._glyphs, self.font.metrics, habits=self._habits)
        if not made:
            return False
        self._glyphs[char] = made
        base = unicodedata.normalize("NFD", char)[0]
        kerning = dict(self.font.kerning)
        kerning |= {(char, b): k for (a, b), k in kerning.items() if a == base}
        kerning |= {(a, char): k for (a, b), k in kerning.items() if b == base}
        self.font = replace(self.font, kerning=kerning)
        self._added.add(char)
        return True

    @limited_threads()
    def compose(
        self,
        text: str | Mapping[str, str],
        settings: Settings | None = None,
        seed: int = 0,
        *,
        after: Mapping[str, tuple[int, float]] | None = None,
    ) -> Composition:
        """Return the pages of a text. The same font, text, settings and seed give the same pages.

        Parameters
        ----------
        text
            For the first box that is not blank; or by name of the box.
        after
            By box: where other writing in it ends (`Composition.ends`), which this goes on from.

        Raises
        ------
        UsageError
            If a box is not there, or a text does not fit a box that may not flow.
        """
        settings = settings or Settings()
        texts = texts_by_box(text, settings)
        self._forget_many()
        rng = np.random.default_rng([seed & 0xFFFFFFFF, seed >> 32 & 0xFFFFFFFF])
        life = settings.life
        chooser = VariantSelector(self._bank, rng, variants=life.of("variants"), blends=life.of("blends"))
        words = None
        if self._joins and self._knows_joins and settings.joins:
            mixing = life.of("variants") > 0 and life.of("blends") > 0
            x_height = self.font.metrics.x_height
            words = JoinedWords(self._bank, rng, self.font.rhythm, x_height=x_height, mixing=mixing)
        fitter = Fitter(self._has, self._made)
        notices: list[Notice] = []
        ready: list[tuple[SetText, Letters]] = []
        for box, body in texts:
            manuscript = prepare_text(body, fitter, self._has, lists=settings.lists, divides=bool(settings.hyphenate))
            asked = self.asked_x_height(box, settings)
            pen = self._pen_mm(settings, box.pen) * self.font.metrics.x_height / asked
            letters = make_letters(
                manuscript.chars, manuscript.gaps, font=self.font, bank=self._bank, chooser=chooser,
                scatter=self.scatter, life=life, rng=rng, pen=pen, goes_on=self._joins and settings.joins, joined=words,
            )  # fmt: skip
            done = self._set(manuscript, letters, box, settings, rng, (after or {}).get(box.name))
            notices += self._box_notices(done, box, settings)
            ready.append((done, letters))
        if fitter.missing and not any(letters.inked.any() for _, letters in ready):
            some = sorted(fitter.missing)[:20]
            lacking = ", ".join(f"'{char}'" for char in some)
            what = f"nothing of it can be written, the hand lacks every character of it ({lacking})"
            if fitter.from_right:
                raise UsageError("text", what, "Scripts that are written from right to left are not set.")
            raise UsageError("text", what, f"Add them: ownhand sheet HAND --characters {shlex.quote(''.join(some))}.")
        widths = tuple(self._pen_mm(settings, n + 1) for n in range(len(settings.pens)))
        hand = Hand(self.font, self._bank, self.scatter, settings, self._measured_pen_mm, widths)
        count = max([1, *(t.pages for t, _ in ready)])
        if count > self.most_pages:
            raise UsageError("text", f"it fills {count} pages, at most {self.most_pages} are made", "Split the text.")
        written = [write_page(number, ready, hand, rng) for number in range(count)]
        pages = [self._finished(w.page, ready, settings) for w in written]
        if squeezed := sum(w.squeezed for w in written):
            notices.append(Notice("squeezed", "margins", "line narrowed to stay inside them", squeezed))
        for told, times in sum((w.meeting for w in written), Counter()).items():
            why = "ink of a line runs into the next, there is no room to keep them apart"
            notices.append(Notice("meeting", told, why, times))
        sizes = {t.box.name: t.mm_per_unit * self.font.metrics.x_height for t, _ in ready}
        ends = {t.box.name: t.end for t, _ in ready}
        return Composition(tuple(pages), (*fitter.notices(), *notices), Counter(fitter.missing), sizes, seed, ends)

    def _set(
        self,
        manuscript: PreparedText,
        letters: Letters,
        box: TextBox,
        settings: Settings,
        rng: np.random.Generator,
        after: tuple[int, float] | None,
    ) -> SetText:
        life, x, n = settings.life, self.font.metrics.x_height, 256
        width = np.exp(self.scatter.line_width * life.of("width") * draw(rng, n))
        # lines begin to the right of the edge, never to its left
        margin = self.scatter.margin * life.of("margin") * np.maximum(0.0, 1.0 + ar1_noise(draw(rng, n), 0.6))
        wobble = Wobble(width, margin)
        asked = self.asked_x_height(box, settings)
        line_mm = (box.width_mm - (box.columns - 1) * box.column_gap_mm) / box.columns
        if settings.tab_mm:
            for part in manuscript.parts:
                with_tabs(letters, part.start, part.end, settings.tab_mm * x / asked)
        else:
            for table in tables_of(manuscript):
                with_columns(letters, table, line_mm * x / asked, x)

        def at(x_height_mm: float) -> SetText:
            return set_text(
                manuscript, letters, box, font=self.font, settings=settings, mm_per_unit=x_height_mm / x,
                wobble=wobble, pen_mm=self._pen_mm(settings, box.pen), after=after,
            )  # fmt: skip

        done = fitted(at, asked, asked * settings.smallest) if box.fit else at(asked)
        if done.left_over:
            size = done.mm_per_unit * x
            raise UsageError(
                box.told,
                f"the text needs {len(done.lines) + done.left_over} lines, at an x-height of {size:.1f} mm there is "
                f"room for {len(done.lines)}",
                "Shorten the text, enlarge the box, or write smaller.",
            )
        return done

    def asked_x_height(self, box: TextBox, settings: Settings) -> float:
        """Return the size asked for; else the written one, or the largest that printed lines leave room for."""
        given = box.x_height_mm or settings.x_height_mm
        if given:
            return given
        ruling = box.ruling or settings.ruling
        m = self.font.metrics
        tall = (max(m.ascender, m.cap_height) - m.descender) / m.x_height
        return min(self.written_x_height_mm, ruling.pitch_mm / tall) if ruling else self.written_x_height_mm

    @property
    def _measured_pen_mm(self) -> float:
        return max(0.1, self.font.metrics.pen_width * self.font.mm_per_unit)

    def _pen_mm(self, settings: Settings, pen: int) -> float:
        """Return the width of the line of a pen, counted from 1."""
        return settings.pens[pen - 1].width_mm or self._measured_pen_mm

    def _box_notices(self, done: SetText, box: TextBox, settings: Settings) -> list[Notice]:
        out = []
        asked = box.x_height_mm or settings.x_height_mm or self.written_x_height_mm
        size = done.mm_per_unit * self.font.metrics.x_height
        if size < 0.995 * asked:
            why = f"written with an x-height of {size:.2f} mm instead of {asked:.2f} to fit"
            out.append(Notice("smaller", box.told, why, size_mm=size))
        if done.broken_words:
            out.append(Notice("broken word", box.told, "word longer than a line, broken", done.broken_words))
        return out

    def _finished(self, page: PlotPage, ready: list[tuple[SetText, Letters]], settings: Settings) -> PlotPage:
        """Return the page with strokes that meet merged, in the order asked for."""
        size = min((t.mm_per_unit for t, _ in ready), default=self.font.mm_per_unit) * self.font.metrics.x_height
        touch = TOUCH * self._pen_mm(settings, 1)
        between = 0.0
        if settings.joins:
            between = OVER * size if self._joins else touch
            between *= FAR if page.held is not None else 1.0
            page = delayed_strokes(page, within_mm=between) if self._joins else page
        page = merged(page, within_letter_mm=touch, between_letters_mm=between, join_mm=JOIN * size)
        return least_travel(page) if settings.order == "least travel" else page
