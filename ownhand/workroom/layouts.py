"""Layouts, the plotter and the page as it was left, kept in the hand's folder; in the TOML that the command reads."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import tomli_w

from capture.errors import HandFolderError, InputError, UsageError
from capture.files import write_json, write_text
from ownhand.composer.merge.run_plan import safe_name
from ownhand.composer.plot.machine import machine_from
from ownhand.composer.settings.settings_data import settings_from
from ownhand.hands.hand import Hand
from ownhand.validation import FaultsError, read_json
from ownhand.workroom.drawings import with_drawings_read

LONGEST = 200_000
DRAFT = "page.json"


def layout_file(hand: Hand, name: str) -> Path:
    """Return where the layout of that name is kept.

    Raises
    ------
    UsageError
        If the name has no letter or figure.
    """
    stem = safe_name(name)
    if not stem:
        raise UsageError("the layout's name", "has no letter or figure in it", "Choose another.")
    return hand.path / "layouts" / f"{stem}.toml"


def machine_file(hand: Hand) -> Path:
    """Return where the plotter's profile is kept."""
    return hand.path / "plotter.toml"


def layout_names(hand: Hand) -> list[str]:
    """Return the names of the layouts that are kept."""
    return sorted(p.stem for p in (hand.path / "layouts").glob("[!.]*.toml"))


def toml_of(data: dict[str, Any]) -> str:
    """Return plain data as TOML; what is None is left out, as TOML has no word for it."""
    return tomli_w.dumps(_said(data))


def _said(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _said(v) for k, v in value.items() if v is not None}
    if isinstance(value, (list, tuple)):
        return [_said(v) for v in value]
    # Whole numbers are written as such: 8, not 8.0.
    return int(value) if isinstance(value, float) and value.is_integer() else value


def save_layout(hand: Hand, name: str, data: dict[str, Any]) -> Path:
    """Write a layout, once it is known to hold together; data: as its TOML file gives them."""
    _check(data, hand, "the layout")
    return write_text(layout_file(hand, name), toml_of(data))


def load_layout(hand: Hand, name: str) -> dict[str, Any]:
    """Return a layout that is kept.

    Raises
    ------
    InputError
        If there is none, or it cannot be read.
    """
    file = layout_file(hand, name)
    return layout_from(_text_in(file), hand, where=file.name)


def load_machine_data(hand: Hand) -> dict[str, Any] | None:
    """Return the plotter's profile that is kept, as its TOML file gives it; None where there is none.

    Raises
    ------
    InputError
        If it cannot be read, or has a fault.
    """
    file = machine_file(hand)
    return machine_text(_text_in(file), where=file.name) if file.is_file() else None


def _text_in(file: Path) -> str:
    try:
        return file.read_text("utf-8-sig")
    except OSError as error:
        raise InputError(file.name, f"cannot be read ({error.strerror})", "Save it again.") from None
    except UnicodeDecodeError:
        raise InputError(file.name, "is not text in UTF-8", "Save it as plain text in UTF-8.") from None


def layout_from(text: str, hand: Hand, *, where: str) -> dict[str, Any]:
    """Return the layout in a TOML text, checked."""
    data = _toml(text, where)
    _check(data, hand, where)
    return data


def _check(data: dict[str, Any], hand: Hand, where: str) -> None:
    drawn, _ = with_drawings_read(dict(data), hand)
    settings_from(drawn, where=where)


def save_machine(hand: Hand, data: dict[str, Any]) -> Path:
    """Write the plotter's profile, once it is known to hold together; data: as its TOML file gives them."""
    machine_from(data, where="the plotter")
    return write_text(machine_file(hand), toml_of(data))


def machine_text(text: str, *, where: str) -> dict[str, Any]:
    """Return the plotter's profile in a TOML text, checked."""
    data = _toml(text, where)
    machine_from(data, where=where)
    return data


def _toml(text: str, where: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        said = " ".join(str(error).split())
        raise InputError(where, f"is not TOML ({said})", "Mend it where it says.") from None


def save_draft(hand: Hand, draft: dict[str, Any]) -> None:
    """Keep the page as it is, for the next time; draft: what `load_draft` gives back."""
    write_json(hand.path / DRAFT, {"format": 1, **draft})


def load_draft(hand: Hand) -> dict[str, Any]:
    """Return the page as it was left; {} where none was.

    Raises
    ------
    HandFolderError
        If the file does not hold together.
    """
    file = hand.path / DRAFT
    if not file.exists():
        return {}
    try:
        data = read_json(file)
        if not isinstance(data, dict) or data.pop("format", None) != 1:
            raise FaultsError(["format: expected 1"])
    except FaultsError as error:
        raise HandFolderError(str(file), str(error), "Move the file away to begin a new page.") from None
    return data
