"""What a hand's folder holds for a person to take: sheets, contact sheets, fonts, proof, layouts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

from starlette.responses import Response

from capture.errors import InputError
from ownhand.hands.hand import Hand
from ownhand.workroom.drawings import drawing_names, layouts_folder
from ownhand.workroom.tables import tables
from ownhand.workroom.times import newest
from ownhand.workroom.zips import zipped_tree

KINDS = {
    ".pdf": "application/pdf",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".ttf": "font/ttf",
    ".toml": "application/toml",
    ".csv": "text/csv; charset=utf-8",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".ods": "application/vnd.oasis.opendocument.spreadsheet",
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".tif": "image/tiff",
    ".tiff": "image/tiff",
    ".heic": "image/heic",
    ".heif": "image/heif",
}
"""Media types as registered with IANA; what is none of these is not given."""


def download(name: str, kind: str, data: bytes) -> Response:
    """Return an answer that the browser saves under `name` (RFC 6266)."""
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "._-") else "_" for c in name)
    disposition = f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(name, safe='')}"
    # No page may run in our name: whatever a file holds, the browser saves it.
    headers = {"content-disposition": disposition, "cache-control": "no-store"}
    return Response(data, media_type=kind, headers=headers)


def _by_number(files: Iterable[Path]) -> list[Path]:
    """Return files in the order of the numbers that the pages after the first bear."""
    return sorted(files, key=lambda file: (len(file.stem), file.stem))


def _offered(hand: Hand) -> Iterator[tuple[str, Path, str]]:
    """Yield what is offered: under which heading, where it is, what to call it."""
    for file in sorted(hand.sheets_folder.glob("*/sheet.pdf")):
        yield "Sheets to print", file, f"{file.parent.name}.pdf"
    for file in sorted(hand.captures_folder.glob("*/page-*-contact.png")):
        yield "What was read, page by page", file, f"{file.parent.name}-{file.name}"
    if hand.ufo.is_dir():
        yield "The font", hand.ufo, f"{hand.ufo.stem}.ufo.zip"
    for suffix in (".svg", ".ttf"):
        for file in _by_number(hand.font_folder.glob(f"[!.]*{suffix}")):
            yield "The font", file, file.name
    for file in _by_number(hand.font_folder.glob("proof*.png")):
        yield "The font", file, file.name
    for file in sorted((hand.path / "layouts").glob("[!.]*.toml")):
        yield "Layouts and plotter", file, file.name
    for name in drawing_names(hand):
        yield "Layouts and plotter", layouts_folder(hand) / name, name
    if (hand.path / "plotter.toml").is_file():
        yield "Layouts and plotter", hand.path / "plotter.toml", "plotter.toml"
    for file in tables(hand):
        yield "Tables", file, file.name
    for file in sorted(hand.scans_folder.glob("[!.]*")):
        if file.suffix.lower() in KINDS:
            yield "Scans", file, file.name


def kept_view(hand: Hand) -> dict[str, Any]:
    """Return what is offered, by heading, and whether the proof is older than the font."""
    groups: dict[str, list[dict[str, Any]]] = {}
    for heading, file, name in _offered(hand):
        size = sum(p.stat().st_size for p in file.rglob("*") if p.is_file()) if file.is_dir() else file.stat().st_size
        place = file.relative_to(hand.path).as_posix()
        groups.setdefault(heading, []).append({"name": name, "file": place, "bytes": size})
    proof, built = newest([hand.font_folder / "proof.png"]), newest([hand.ufo / "metainfo.plist"])
    groups_view = [{"title": title, "files": files} for title, files in groups.items()]
    return {"groups": groups_view, "built": bool(built), "proof_stale": bool(built) and proof < built}


def kept_file(hand: Hand, place: str) -> Response:
    """Return one of the files that are offered; a UFO as a ZIP of its folder.

    Raises
    ------
    InputError
        If it is not one of these.
    """
    for _, file, name in _offered(hand):
        if file.relative_to(hand.path).as_posix() == place:
            if file.is_dir():
                return download(name, "application/zip", zipped_tree(file))
            return download(name, KINDS[file.suffix.lower()], file.read_bytes())
    raise InputError(place[:80], "is not one of the hand's files", "Load the page again.")
