"""How lively the writing is."""

from __future__ import annotations

from dataclasses import dataclass, fields

from capture.errors import UsageError

STRONGEST = 2.0
"""Upper end of every `Life` setting: twice what people do."""


@dataclass(frozen=True)
class Life:
    """How much the writing lives: 0 is nil, 1 as people write, 2 twice as much.

    Every figure multiplies what `ownhand.composer.variation.handwriting_statistics` says a hand does.
    """

    strength: float = 1.0
    """Multiplies all the others."""

    variants: float = 1.0
    """0: always the best variant of a character; 1: all of them."""

    blends: float = 1.0
    """0: only the variants as they were written; above: also means between those with the same ductus."""

    foot: float = 1.0
    """The letter's foot about the line."""

    height: float = 1.0
    width: float = 1.0
    slant: float = 1.0
    letter_gap: float = 1.0
    word_gap: float = 1.0
    level: float = 1.0
    """A whole line about its place."""

    slope: float = 1.0
    """A whole line about the horizontal."""

    drift: float = 1.0
    """Slow wander of the line, on unruled paper only."""

    margin: float = 1.0
    """Where lines begin."""

    def __post_init__(self) -> None:
        for f in fields(self):
            value = getattr(self, f.name)
            if not 0 <= value <= STRONGEST:
                raise UsageError(
                    f"life {f.name}", f"{value:g} is not between 0 and {STRONGEST:g}", "0 is nil, 1 is natural."
                )

    def of(self, name: str) -> float:
        """Return the multiplier of one setting with the overall strength in it."""
        return min(STRONGEST, float(getattr(self, name)) * self.strength)
