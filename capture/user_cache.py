"""The folder in which this user's programs keep what they can make again, and what it says of files elsewhere."""

from __future__ import annotations

import contextlib
import hmac
import os
import secrets
import sys
from pathlib import Path

FOLDER_VARIABLE = "OWNHAND_CACHE_DIR"
"""Environment variable that names another cache folder."""

KEY = "key"
SEAL_BYTES = 32


def cache_folder() -> Path | None:
    """Return the user's cache folder of this program, None where there is no such place; it need not exist yet."""
    named = os.environ.get(FOLDER_VARIABLE)
    if named:
        return Path(named)
    try:
        if sys.platform == "win32":
            base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData/Local")
        elif sys.platform == "darwin":
            base = Path.home() / "Library/Caches"
        else:
            base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    except RuntimeError:
        return None
    return base / "ownhand"


def sealed(data: bytes) -> bytes | None:
    """Return `data` with a seal that only this user's programs can make; None where no key can be kept.

    The seal is an HMAC (RFC 2104) with SHA-256 and a key that lies in the cache folder.
    """
    key = _key()
    return None if key is None else hmac.digest(key, data, "sha256") + data


def unsealed(data: bytes) -> bytes | None:
    """Return what was sealed by this user's programs on this machine; None for anything else."""
    key = _key()
    if key is None or not hmac.compare_digest(hmac.digest(key, data[SEAL_BYTES:], "sha256"), data[:SEAL_BYTES]):
        return None
    return data[SEAL_BYTES:]


def _key() -> bytes | None:
    folder = cache_folder()
    if folder is None:
        return None
    file = folder / KEY
    try:
        if not file.exists():
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            _make_key(file)
        if hasattr(os, "getuid") and file.stat().st_uid != os.getuid():
            return None
        key = file.read_bytes()
    except OSError:
        return None
    return key if len(key) == SEAL_BYTES else None


def _make_key(file: Path) -> None:
    """Write a new key; where another program has done so at the same time, its key stays."""
    beside = file.with_name(f".{KEY}.{secrets.token_hex(8)}")
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(secrets.token_bytes(SEAL_BYTES))
        with contextlib.suppress(FileExistsError):
            os.link(beside, file)  # whole at once, and never over another
    finally:
        beside.unlink()
