"""What a text becomes, and which box each part of it is for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from capture.errors import UsageError
from ownhand.composer.plot.plot_page import PlotPage
from ownhand.composer.settings.settings import Settings
from ownhand.composer.settings.text_box import TextBox
from ownhand.composer.text.fitter import Notice

LONGEST = 2_000_000
"""Characters of one text."""


@dataclass(frozen=True, eq=False)
class Composition:
    """What a text became."""

    pages: tuple[PlotPage, ...]
    notices: tuple[Notice, ...]
    missing: Mapping[str, int]
    """Characters that the hand lacks, and how often each was wanted; on a page of several hands, of all of them."""

    x_height_mm: Mapping[str, float]
    """By box: the writing size."""

    seed: int
    ends: Mapping[str, tuple[int, float]] = field(default_factory=dict)
    """By box: column, counted through all pages, and baseline (page mm) of its last line."""

    missing_elsewhere: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    """What of `missing` further hands lack, by their names."""

    def __iter__(self) -> Iterator[PlotPage]:
        return iter(self.pages)

    def __len__(self) -> int:
        return len(self.pages)


def named_texts(text: Mapping[str, str], names: Sequence[str]) -> dict[str, str]:
    """Return texts by name: what stands before the first named one, under '', is for the first of `names`.

    Raises
    ------
    UsageError
        If that one has a text of its own as well.
    """
    first = names[0] if names else ""
    if text.get("") and text.get(first) and first:
        remedy = f"Begin each with its own line: >> {first}."
        raise UsageError("text", f"both what comes before the first '>>' and '>> {first}' are for '{first}'", remedy)
    return {name or first: body for name, body in text.items() if name or first not in text or not first}


def texts_by_box(text: str | Mapping[str, str], settings: Settings) -> list[tuple[TextBox, str]]:
    """Return the boxes that have a text, with it.

    Raises
    ------
    UsageError
        If all boxes are blank, a text names a box that is not there, or is longer than `LONGEST`.
    """
    boxes = [box for box in settings.all_boxes if not box.blank]
    if isinstance(text, str):
        if not boxes:
            raise UsageError("boxes", "all are blank", "Leave one for the text.")
        text = {boxes[0].name: text}
    text = named_texts(text, [box.name for box in boxes])
    known = {box.name for box in boxes}
    unknown = [name for name in text if name not in known]
    if unknown:
        names = ", ".join(box.name for box in boxes)
        raise UsageError("text", f"there is no box '{unknown[0]}' to write in", f"The boxes are: {names}.")
    for name, body in text.items():
        if len(body) > LONGEST:
            raise UsageError(f"box '{name}'", f"{len(body)} characters are more than {LONGEST}", "Split the text.")
    return [(replace(box), text[box.name]) for box in boxes if box.name in text]
