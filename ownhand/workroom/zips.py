"""ZIP files of what was made; the same files give the same bytes."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable
from pathlib import Path

from capture.errors import UsageError

EPOCH = (1980, 1, 1, 0, 0, 0)
"""The time of every file in a ZIP (its earliest): the same files give the same ZIP."""


def zipped(files: Iterable[tuple[str, bytes]]) -> bytes:
    """Return a ZIP of the files; the same files give the same bytes.

    Names are single ones, without folders: whoever unpacks it gets files beside each other and nowhere else.

    Raises
    ------
    UsageError
        If a name is no plain file name.
    """
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files:
            if Path(name).name != name or name in ("", ".", ".."):
                raise UsageError("ZIP", f"'{name[:60]}' is no plain file name", "")
            entry = zipfile.ZipInfo(name, EPOCH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, data)
    return out.getvalue()


def zipped_tree(folder: Path) -> bytes:
    """Return a ZIP of a folder of ours (a UFO), its own name first in every path; the same folder, the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in sorted(p for p in folder.rglob("*") if p.is_file() and not p.is_symlink()):
            entry = zipfile.ZipInfo(f"{folder.name}/{file.relative_to(folder).as_posix()}", EPOCH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, file.read_bytes())
    return out.getvalue()
