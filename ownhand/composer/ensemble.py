"""Pages with more than one hand's boxes of text: other hands, lettering along curves, drawings, ruled lines drawn."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from capture.errors import UsageError
from capture.units import Points
from fontbuild.font import Font
from ownhand.composer.composer import MOST_PAGES, Composer
from ownhand.composer.composition import Composition, named_texts
from ownhand.composer.curve_lettering import check_margins, curve_baseline, lettering
from ownhand.composer.plot.combine import combined, page_of_strokes
from ownhand.composer.plot.drawings import placed
from ownhand.composer.plot.travel import least_travel
from ownhand.composer.settings.settings import Settings
from ownhand.composer.settings.text_box import TextBox
from ownhand.composer.text.paragraph_hands import by_hand, changes_hand

FITTING = 7
"""Sizes tried between the largest and the smallest, where paragraphs of several hands are to fit a box."""


class Ensemble:
    """Sets text in one hand or several, with drawings.

    Parameters
    ----------
    font
        The page's own hand.
    others
        Further hands by the names that boxes and curves call them.
    """

    def __init__(self, font: Font, others: Mapping[str, Font] | None = None) -> None:
        self._fonts = {"": font, **(others or {})}
        self._composers: dict[str, Composer] = {"": Composer(font)}
        self._most_pages = MOST_PAGES

    def of(self, hand: str, *, what: str = "the page") -> Composer:
        """Return the composer of a hand; '' is the page's own.

        Raises
        ------
        UsageError
            If no hand of that name was given; `what` is named as wanting it.
        """
        if hand not in self._fonts:
            remedy = f"Add --hand {hand}=FOLDER."
            raise UsageError(what, f"it is to be written in the hand '{hand}', which was not given", remedy)
        if hand not in self._composers:
            self._composers[hand] = Composer(self._fonts[hand])
            self._composers[hand].most_pages = self._most_pages
        return self._composers[hand]

    def compose(self, text: str | Mapping[str, str], settings: Settings | None = None, seed: int = 0) -> Composition:
        """Return the pages of a text; see `Composer.compose`. Page 1 also bears curves and drawings.

        Raises
        ------
        UsageError
            As `Composer.compose`; and if a hand was not given, a text is longer than its curve, or a drawing leaves
            the margins.
        """
        settings = settings or Settings()
        drawn = settings.ruling is not None and settings.ruling.drawn
        mixed = any(map(changes_hand, [text] if isinstance(text, str) else text.values()))
        if not (mixed or settings.curves or settings.drawings or drawn or any(b.hand for b in settings.boxes)):
            return self._composers[""].compose(text, settings, seed)
        texts = self._by_name(text, settings)
        plain = replace(settings, curves=(), drawings=(), order="writing", impose=None)
        several = {b: texts.pop(b.name) for b in plain.all_boxes if changes_hand(texts.get(b.name, ""))}
        by_hand = [
            (hand, self._boxes(hand, {n: t for n, t in texts.items() if n in names}, plain, seed))
            for hand, names in self._names_by_hand(settings).items()
            if hand == "" or any(n in texts for n in names)
        ]
        by_hand += [part for box, body in several.items() for part in self._in_turn(box, body, plain, seed)]
        made = [m for _, m in by_hand]
        # of all curves, those included that this text leaves out: the next row of a table may use them
        curves = [(c, self.of(c.hand, what=f"curve '{c.name}'"), curve_baseline(c)) for c in settings.curves]
        lettered = [
            (c.hand, lettering(c, composer, baseline, texts[c.name], plain, _seed_of(seed, f"curve {c.name}")))
            for c, composer, baseline in curves
            if texts.get(c.name, "").strip()
        ]
        pages = []
        for number in range(max(len(m.pages) for m in made)):
            layers = [m.pages[number] for m in made if number < len(m.pages)]
            first = layers[0]
            if drawn:
                layers.append(
                    page_of_strokes(_rules(settings), first, pen=settings.ruling.pen if settings.ruling else 1)
                )
            if number == 0:
                layers += [m.pages[0] for _, m in lettered]
            for k, drawing in enumerate(settings.drawings, 1):
                if number == 0 or drawing.every_page:
                    layers.append(page_of_strokes(placed(drawing, number=k), first, pen=drawing.pen))
                    check_margins(layers[-1], settings, f"drawing {k}")
            page = combined([replace(p, pens=settings.pens) for p in layers])
            pages.append(least_travel(page) if settings.order == "least travel" else page)
        every = [*made, *(m for _, m in lettered)]
        lacks = _by_hand((hand, m.missing) for hand, m in (*by_hand, *lettered))
        missing = sum(lacks.values(), Counter[str]())
        sizes = {name: size for m in every for name, size in m.x_height_mm.items()}
        notices = tuple(notice for m in every for notice in m.notices)
        return replace(
            made[0], pages=tuple(pages), notices=notices, missing=missing, x_height_mm=sizes, seed=seed,
            missing_elsewhere={hand: lacked for hand, lacked in lacks.items() if hand and lacked},
        )  # fmt: skip

    def limit_pages(self, most: int) -> None:
        """Refuse texts that fill more than `most` pages, in whichever hand."""
        self._most_pages = most
        for composer in self._composers.values():
            composer.most_pages = most

    def missing(self, text: str | Mapping[str, str], settings: Settings) -> dict[str, Counter[str]]:
        """Return what a text needs and its hands lack, and how often, by hand: '' is the page's own.

        Nothing is set, so that it is quick.
        """
        mixed = any(map(changes_hand, [text] if isinstance(text, str) else text.values()))
        if not (mixed or settings.curves or any(b.hand for b in settings.boxes)):
            return {"": self._composers[""].missing(text, lists=settings.lists)}
        hands = {b.name: b.hand for b in settings.all_boxes} | {c.name: c.hand for c in settings.curves}
        parts = [
            (hand or hands[name], name, part)
            for name, body in self._by_name(text, settings).items()
            for hand, part in by_hand(body)
        ]
        return _by_hand(
            (hand, self.of(hand, what=f"'{name}'").missing(part, lists=settings.lists)) for hand, name, part in parts
        )

    def _by_name(self, text: str | Mapping[str, str], settings: Settings) -> dict[str, str]:
        """Return the text of each box and curve by its name."""
        boxes = [b.name for b in settings.all_boxes if not b.blank]
        curves = [c.name for c in settings.curves]
        if isinstance(text, str):
            if not (boxes or curves):
                raise UsageError("boxes", "all are blank", "Leave one for the text.")
            return {(boxes or curves)[0]: text}
        named = named_texts(text, boxes or curves)
        for name in named:
            if name not in (*boxes, *curves):
                listed = ", ".join((*boxes, *curves))
                raise UsageError("text", f"there is no box '{name}' to write in", f"The boxes are: {listed}.")
        return named

    def _names_by_hand(self, settings: Settings) -> dict[str, set[str]]:
        out: dict[str, set[str]] = {"": set()}
        for box in settings.all_boxes:
            self.of(box.hand, what=f"box '{box.name}'")
            out.setdefault(box.hand, set()).add(box.name)
        return out

    def _boxes(self, hand: str, texts: dict[str, str], settings: Settings, seed: int) -> Composition:
        own = tuple(replace(box, hand="") for box in settings.boxes)
        return self.of(hand).compose(texts, replace(settings, boxes=own), _seed_of(seed, hand))

    def _in_turn(self, box: TextBox, text: str, settings: Settings, seed: int) -> list[tuple[str, Composition]]:
        """Return a box's paragraphs with their hands, written by one after the other, each below the last."""
        if box.down != "top":
            what = f"its text is to stand at its {box.down}, and has paragraphs in several hands"
            raise UsageError(box.told, what, 'Leave down = "top".')
        parts = [(hand or box.hand, part) for hand, part in by_hand(text)]
        if not box.fit:
            return self._one_below_another(box, parts, settings, seed, 1.0)
        low, high = settings.smallest, 1.0
        best: list[tuple[str, Composition]] | None = None
        for share in (high, low):
            try:
                best = self._one_below_another(box, parts, settings, seed, share)
                break
            except UsageError:
                if share == low:
                    raise
        for _ in range(FITTING if best and share == low else 0):
            middle = (low + high) / 2
            try:
                best, low = self._one_below_another(box, parts, settings, seed, middle), middle
            except UsageError:
                high = middle
        assert best is not None
        return best

    def _one_below_another(
        self, box: TextBox, parts: Sequence[tuple[str, str]], settings: Settings, seed: int, share: float
    ) -> list[tuple[str, Composition]]:
        """Return the paragraphs with their hands at a share of the size asked for."""
        made: list[tuple[str, Composition]] = []
        end: tuple[int, float] | None = None
        for k, (hand, part) in enumerate(parts):
            composer = self.of(hand, what=f"a paragraph of '{box.name}'")
            size = composer.asked_x_height(box, settings) * share
            own = replace(box, hand="", fit=False, x_height_mm=size)
            every = replace(settings, boxes=(own, *(replace(b, hand="") for b in settings.boxes if b.name != box.name)))
            after = {} if end is None else {box.name: end}
            done = composer.compose({box.name: part}, every, _seed_of(seed, f"{hand} {k}" if k else hand), after=after)
            made.append((hand, done))
            end = done.ends[box.name]
        return made


def _by_hand(lacks: Iterable[tuple[str, Mapping[str, int]]]) -> dict[str, Counter[str]]:
    """Return what parts of a page lack, those of each hand together."""
    out: dict[str, Counter[str]] = {}
    for hand, lacked in lacks:
        out.setdefault(hand, Counter()).update(lacked)
    return out


def _seed_of(seed: int, name: str) -> int:
    """Return a seed of its own for each hand and curve; the page's own hand keeps the page's."""
    if not name:
        return seed
    return int.from_bytes(hashlib.sha256(f"{seed} {name}".encode()).digest()[:7], "big")


def _rules(settings: Settings) -> list[Points]:
    """Return the ruled lines of the page, from margin to margin, mm."""
    assert settings.ruling is not None
    width, height = settings.size_mm
    top, right, bottom, left = settings.margins_mm
    pitch, offset = settings.ruling.pitch_mm, settings.ruling.offset_mm
    first = int(np.ceil((top - offset) / pitch - 1e-9))
    last = int(np.floor((height - bottom - offset) / pitch + 1e-9))
    out = []
    for k in range(first, last + 1):
        x = np.linspace(left, width - right, 4)
        out.append(np.column_stack([x, np.full(4, offset + k * pitch)]))
    return out
