"""Text set in the hand as it stands now: the font is built in memory, from what was read and decided."""

from __future__ import annotations

import dataclasses
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from fontbuild.build import BuildResult
from fontbuild.font import Font
from ownhand.commands.build import font_record, rhythm_of
from ownhand.composer import Composer, Life, Settings
from ownhand.composer.formats.svg import svg_text
from ownhand.composer.settings.life import STRONGEST
from ownhand.composer.settings.text_box import ALIGNMENTS
from ownhand.hands.decisions import building_rules, with_bearings
from ownhand.hands.kept_letters import FILE as KEPT_FILE
from ownhand.review.session.builder import BUILDER, Order
from ownhand.review.session.review_session import ReviewSession
from ownhand.validation import Place, raise_faults

LONGEST_TEXT = 5000
MOST_PAGES = 4
"""Pages shown; the whole text is the business of `ownhand write`."""

LIFE = tuple(f.name for f in dataclasses.fields(Life))


@dataclass(frozen=True, eq=False)
class Built:
    """A font, and the state of the book it was built from."""

    state: tuple[int, int]
    font: Font
    result: BuildResult
    composer: Composer


class Tryout:
    """Builds the font when it is first needed, and again when something was decided since."""

    def __init__(self, book: ReviewSession) -> None:
        self.book = book
        self._lock = threading.Lock()
        self._built: Built | None = None

    def build(self) -> Built:
        """Return the font of the hand as it stands.

        Raises
        ------
        InputError
            If no attempt can be used.
        """
        with self._lock:
            self.book.refresh()
            with self.book.lock:
                state = self.book.state
                attempts, decisions = self.book.decided(), self.book.decisions
                captures = self.book.captures
            if self._built is None or self._built.state != state:
                hand = self.book.hand
                order = Order(
                    attempts,
                    font_record(hand.record),
                    building_rules(decisions),
                    rhythm_of(captures, attempts) if attempts else {},
                    [w for c in captures for w in c.copied],
                    hand.font_folder / KEPT_FILE,
                )
                result = BUILDER.build(order)
                font = with_bearings(result.font, decisions)
                self._built = Built(state, font, result, Composer(font))
            return self._built

    def outliers(self) -> Mapping[str, str]:
        """Return by attempt id why the builder left it aside when it was last asked; nothing is built for this."""
        built = self._built
        return {} if built is None else {s.id: s.reason for s in built.result.set_aside}

    def spaced(self) -> Mapping[str, tuple[float, float]]:
        """Return by attempt id the side bearings in mm that the builder gave it when it was last asked."""
        built = self._built
        if built is None:
            return {}
        out = {}
        for variants in built.font.glyphs.values():
            for glyph in variants:
                if glyph.strokes:
                    x = np.concatenate([s[:, 0] for s in glyph.strokes]) * built.font.mm_per_unit
                    out[glyph.source] = (float(x.min()), glyph.advance * built.font.mm_per_unit - float(x.max()))
        return out

    def set_text(self, place: Place) -> dict[str, Any]:
        """Return the pages of a text as SVG, and what should be known about them.

        The request: `text`, `seed`, `x_height_mm`, `align`, `paper` ('WxH' in mm or a name), `life` (an object with the
        names of `Life`, each from 0 to 2).
        """
        text = place.of("text").text("", LONGEST_TEXT)
        seed = place.of("seed").whole(0, 2**31)
        x_height = place.of("x_height_mm").number(None, 0.5, 50.0)
        align = place.of("align").choice("left", ALIGNMENTS)
        width = place.of("width_mm").number(148.0, 30.0, 1000.0) or 148.0
        height = place.of("height_mm").number(105.0, 30.0, 1000.0) or 105.0
        wanted = place.of("life")
        life = {name: wanted.of(name).number(1.0, 0.0, STRONGEST) for name in LIFE}
        raise_faults(place.faults)
        built = self.build()
        margin = min(12.0, 0.08 * min(width, height))
        settings = Settings(
            paper=(width, height),
            margins_mm=(margin, margin, margin, margin),
            x_height_mm=x_height,
            align=align,  # type: ignore[arg-type]  # checked against ALIGNMENTS
            life=Life(**{name: 1.0 if value is None else value for name, value in life.items()}),
        )
        done = built.composer.compose(text, settings, seed)
        notices = [str(n) for n in done.notices if n.kind != "missing"]
        if len(done.pages) > MOST_PAGES:
            notices.append(f"{len(done.pages)} pages; the first {MOST_PAGES} are shown")
        return {
            "pages": [svg_text(page) for page in done.pages[:MOST_PAGES]],
            "notices": notices,
            "missing": dict(done.missing),
            "x_height_mm": round(next(iter(done.x_height_mm.values()), 0.0), 2),
            "family": built.font.record.family,
        }

    def font(self) -> Font:
        """Return the font as it stands; see `build`."""
        return self.build().font
