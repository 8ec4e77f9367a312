"""The names of files that a UFO of others holds: each must lie in the font's own folder."""

from __future__ import annotations

import os
import plistlib
from collections.abc import Iterator
from pathlib import Path
from xml.parsers.expat import ExpatError

from capture.errors import FontFileError, InputError
from capture.safe_paths import path_inside

_REMEDY = "Restore the font, or have its maker mend it."


def check_names(ufo: Path) -> None:
    """Refuse a UFO folder that names files, or holds links to files, outside itself.

    Raises
    ------
    FontFileError
        With the name.
    """
    try:
        for folder, below, names in os.walk(ufo):
            for name in (*below, *names):
                entry = Path(folder) / name
                if entry.is_symlink():
                    path_inside(ufo, str(entry.relative_to(ufo)))
        for layer in _layers(ufo):
            glyphs = path_inside(ufo, layer)
            for name in _values(glyphs / "contents.plist"):
                path_inside(glyphs, name)
    except InputError as error:
        raise FontFileError(str(ufo), error.what, _REMEDY) from None


def _layers(ufo: Path) -> list[str]:
    """Return the folders of its layers; 'glyphs' alone where it names none (UFO 3, layercontents.plist)."""
    pairs = _plist(ufo / "layercontents.plist")
    if not isinstance(pairs, list):
        return ["glyphs"]
    return [str(pair[1]) for pair in pairs if isinstance(pair, list) and len(pair) == 2]


def _values(path: Path) -> Iterator[str]:
    named = _plist(path)
    yield from (str(value) for value in named.values()) if isinstance(named, dict) else ()


def _plist(path: Path) -> object:
    """Return a property list; None where there is none that can be read, of which the font's reader speaks."""
    try:
        return plistlib.loads(path.read_bytes())
    except (OSError, ValueError, ExpatError, plistlib.InvalidFileException, LookupError, TypeError, AttributeError):
        return None
