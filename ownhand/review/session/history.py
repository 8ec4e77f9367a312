"""The steps that can be undone and done again, without limit, one small file a step: `HAND/steps/000012.json`.

| place              | what it is                                                                |
| ------------------ | ------------------------------------------------------------------------- |
| `format`           | 1                                                                         |
| `words`            | what was done, to a person                                                |
| `before`, `after`  | `attempts` and `characters` as in decisions.json; null: nothing was decided |

`step` in decisions.json says which one is the last in effect; files beyond it can be done again. A file is written
before decisions.json: when the machine stops in between, it is written over by the next step.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from capture.errors import HandFolderError
from capture.files import write_text
from ownhand import validation
from ownhand.hands.decisions import Decision, KnownWay
from ownhand.hands.decisions_file import decision_from, decision_to_json, readable, way_from, way_to_json

FORMAT = 1


@dataclass(frozen=True, eq=False)
class Entries:
    """Some of the decisions; None: nothing was decided there."""

    attempts: Mapping[str, Decision | None] = field(default_factory=dict)
    characters: Mapping[str, KnownWay | None] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Step:
    """One thing that was done, and can be undone."""

    words: str
    before: Entries
    after: Entries


def step_file(folder: Path, number: int) -> Path:
    """Return where step `number` (from 1) is kept."""
    return folder / f"{number:06d}.json"


def _to_json(entries: Entries) -> dict[str, Any]:
    return {
        "attempts": {key: d and decision_to_json(d) for key, d in entries.attempts.items()},
        "characters": {char: w and way_to_json(w) for char, w in entries.characters.items()},
    }


def save_step(folder: Path, number: int, step: Step) -> None:
    """Write step `number`, and forget those after it: they were undone, and something else was done since."""
    data = {"format": FORMAT, "words": step.words, "before": _to_json(step.before), "after": _to_json(step.after)}
    write_text(step_file(folder, number), readable(data))
    later = number + 1
    while step_file(folder, later).exists():
        step_file(folder, later).unlink()
        later += 1


def _entries(place: validation.Place) -> Entries:
    return Entries(
        {key: None if item.value is None else decision_from(item) for key, item in place.of("attempts").entries()},
        {key: None if item.value is None else way_from(item) for key, item in place.of("characters").entries()},
    )


def load_step(folder: Path, number: int) -> Step | None:
    """Return step `number`, None where there is none.

    Raises
    ------
    HandFolderError
        If its file does not hold together.
    """
    path = step_file(folder, number)
    if number < 1 or not path.exists():
        return None
    faults: list[str] = []
    try:
        root = validation.Place(validation.read_json(path), "", faults)
        if root.of("format").whole(-1) != FORMAT:
            root.of("format").fault(f"expected {FORMAT}")
        step = Step(root.of("words").text("", 400), _entries(root.of("before")), _entries(root.of("after")))
        validation.raise_faults(faults)
    except validation.FaultsError as error:
        remedy = "Move it away; what it did cannot be undone then, the decisions stay."
        raise HandFolderError(str(path), str(error), remedy) from None
    return step


def step_words(folder: Path, number: int) -> str:
    """Return the words of step `number`; '' where there is none, or one that cannot be read and so cannot be undone."""
    try:
        step = load_step(folder, number)
    except HandFolderError:
        return ""
    return step.words if step else ""
