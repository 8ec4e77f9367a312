"""Files sent to the page: scans that wait to be read, and tables. Size, kind and name are judged here."""

from __future__ import annotations

import os
from collections.abc import AsyncIterator
from pathlib import Path

from starlette.concurrency import run_in_threadpool

from capture.errors import InputError, OutputError, TableError
from capture.files import make_folder, new_scrap
from capture.scan import kind_of
from ownhand.composer.merge.run_plan import safe_name
from ownhand.composer.merge.table import read_table
from ownhand.composer.merge.workbook import is_workbook
from ownhand.composer.plot.drawings import strokes_of_svg
from ownhand.hands.hand import Hand
from ownhand.workroom.drawings import layouts_folder
from ownhand.workroom.tables import TABLES, tables_folder

SUFFIXES = {"PNG": (".png",), "JPEG": (".jpg", ".jpeg"), "TIFF": (".tif", ".tiff"), "PDF": (".pdf",)}
SUFFIXES |= {"HEIC": (".heic", ".heif")}

LARGEST_SCAN = 300 * 1024 * 1024
"""Bytes: an A4 page at 1200 dpi in colour, uncompressed, has 420 MB, as PNG or JPEG a tenth of it."""

LARGEST_TABLE = 20 * 1024 * 1024
LARGEST_DRAWING = 30 * 1024 * 1024
MOST_WAITING = 200
"""Scans that wait to be read; a sheet has some ten pages."""


class TooLargeError(InputError):
    """A file has more bytes than are taken."""


def waiting_folder(hand: Hand) -> Path:
    """Return where scans wait until they are read; what was read is in `scans/`, what was refused is not kept."""
    return hand.path / "waiting"


def waiting(hand: Hand) -> list[Path]:
    """Return the scans that wait to be read, by name."""
    folder = waiting_folder(hand)
    return sorted(p for p in folder.iterdir() if not p.name.startswith(".")) if folder.is_dir() else []


async def keep_scan_to_read(hand: Hand, name: str, parts: AsyncIterator[bytes], most: int) -> Path:
    """Write a scan among those that wait, as it comes; return where.

    Raises
    ------
    InputError
        If it is no picture that can be read, too large, or too many wait.
    """
    if len(waiting(hand)) >= MOST_WAITING:
        raise InputError(name, f"{MOST_WAITING} scans wait already", "Let them be read first.")
    scrap, head = await _received(waiting_folder(hand), name, parts, most)
    try:
        kind = kind_of(head)
        if kind is None:
            raise InputError(name, "is not a PNG, JPEG, TIFF, PDF or HEIC file", "Save the scan as one of these.")
        stem, suffix = safe_name(Path(name).stem) or "scan", Path(name).suffix.lower()
        if suffix not in SUFFIXES[kind]:
            suffix = SUFFIXES[kind][0]
        return _placed(scrap, waiting_folder(hand), stem, suffix)
    except BaseException:
        scrap.unlink(missing_ok=True)
        raise


async def keep_table(hand: Hand, name: str, parts: AsyncIterator[bytes], most: int) -> Path:
    """Write a table into the hand's folder, in place of an earlier one of the same name; return where.

    Raises
    ------
    InputError
        If it cannot be read as one; the earlier one stays.
    """
    scrap, head = await _received(tables_folder(hand), name, parts, most)
    try:
        await run_in_threadpool(read_table, scrap)
    except TableError as error:
        scrap.unlink(missing_ok=True)
        raise TableError(name, error.what, error.remedy) from None
    except BaseException:
        scrap.unlink(missing_ok=True)
        raise
    suffix = Path(name).suffix.lower()
    if not is_workbook(head):
        suffix = ".csv"
    elif suffix not in TABLES - {".csv"}:
        suffix = ".xlsx"
    target = tables_folder(hand) / f"{safe_name(Path(name).stem) or 'table'}{suffix}"
    scrap.replace(target)
    return target


async def keep_drawing(hand: Hand, name: str, parts: AsyncIterator[bytes], most: int) -> Path:
    """Write a drawing beside the layouts, under a name that no other has; return where.

    Raises
    ------
    InputError
        If it is neither a picture that can be traced nor an SVG file with a line in it.
    """
    folder = layouts_folder(hand)
    scrap, head = await _received(folder, name, parts, most)
    kind = kind_of(head)
    if kind in ("PDF", "HEIC") or (kind is None and b"\0" in head):
        scrap.unlink(missing_ok=True)
        raise InputError(name, "is no drawing", "Use SVG with paths, or a picture: PNG, JPEG or TIFF.")
    try:
        if kind is None:
            await run_in_threadpool(strokes_of_svg, scrap.read_bytes(), where=name)
    except BaseException:
        scrap.unlink(missing_ok=True)
        raise
    return _placed(
        scrap, folder, safe_name(Path(name).stem) or "drawing", ".svg" if kind is None else SUFFIXES[kind][0]
    )


async def _received(folder: Path, name: str, parts: AsyncIterator[bytes], most: int) -> tuple[Path, bytes]:
    """Return a scrap beside its later place with all that came, and how it begins."""
    make_folder(folder)
    try:
        handle, scrap = new_scrap(folder, "drop")
    except OSError as error:
        raise OutputError(str(folder), f"cannot be written ({error.strerror})", "Make room on the disk.") from None
    size, head = 0, b""
    try:
        with os.fdopen(handle, "wb") as file:
            async for part in parts:
                size += len(part)
                if size > most:
                    raise TooLargeError(name, f"is larger than {most // 1024**2} MB", "Save it smaller, or split it.")
                head = (head + part)[:4096] if len(head) < 4096 else head
                file.write(part)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        scrap.unlink(missing_ok=True)
        raise OutputError(str(folder), f"cannot be written ({error.strerror})", "Make room on the disk.") from None
    except BaseException:
        scrap.unlink(missing_ok=True)
        raise
    if not size:
        scrap.unlink(missing_ok=True)
        raise InputError(name, "is empty", "Choose another file.")
    return scrap, head


def _placed(scrap: Path, folder: Path, stem: str, suffix: str) -> Path:
    """Rename the scrap to a name that no other file has."""
    number = 1
    while True:
        target = folder / (f"{stem}{suffix}" if number == 1 else f"{stem}-{number}{suffix}")
        try:
            _named(scrap, target)
        except FileExistsError:
            if target.stat().st_size == scrap.stat().st_size and target.read_bytes() == scrap.read_bytes():
                scrap.unlink(missing_ok=True)  # the same scan once more
                return target
            number += 1
            continue
        return target


def _named(scrap: Path, target: Path) -> None:
    """Give the scrap its name, or raise FileExistsError where another file has it."""
    try:
        os.link(scrap, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without links: the name is taken first, and what has it is not replaced
        target.touch(exist_ok=False)
        scrap.replace(target)
    else:
        scrap.unlink(missing_ok=True)
