"""The machine-readable code of a page: all that is needed to lay the same page out again from paper.

The bytes of a page's code (the payload), which goes into a QR code (ISO/IEC 18004) in byte mode:

| bytes | what |
| ----- | ---- |
| 2     | `oh` |
| 1     | version of the layout rules |
| 4     | CRC-32 (as in ISO/IEC 3309) of the body, most significant byte first |
| 1, n  | from layout 3 on: how many bytes follow, and the languages whose words the body needs not spell, with commas |
| rest  | the body, compressed by raw DEFLATE (RFC 1951), with those words as its preset dictionary |

The body is a row of whole numbers in the variable-length form of seven bits a byte, low bits first, high bit set when
more follow. Texts are their length in bytes and their UTF-8. In order: sheet id, page, number of pages, paper, x-height
in 1/100 mm, languages (joined by commas), number of runs; then for each run what it holds, and then for each run its
first code point as the difference from the one before (zigzag), further code points, and the number of its first
attempt where that is not the next one on this page. A page without runs ends with its ruled lines, joined by newlines.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from capture.errors import OwnhandError, WrongSheetError
from capture.known_words import TABLES, known_tags, known_words
from capture.layout import LAYOUTS, page_of_cells
from capture.limits import (
    MOST_ATTEMPTS,
    MOST_CELLS,
    MOST_LANGUAGES,
    MOST_PAGES,
    X_HEIGHT_MM,
    is_character,
    is_plain,
    is_sheet_id,
)
from capture.paper import paper_name, paper_size
from capture.ruled_lines import page_of_lines
from capture.sheet import Page, Sheet
from capture.writing_order import Attempt

MAGIC = b"oh"
MOST_BODY = 20_000
"""Bytes of a body; more is not a code of ours."""

_LONGEST_RUN = 4


@dataclass(frozen=True)
class CodedPage:
    """What one page's code says: the page itself, and the sheet that it belongs to."""

    sheet_id: str
    layout: int
    paper: str
    x_height_mm: float
    languages: tuple[str, ...]
    pages: int
    """How many pages the sheet has."""

    page: Page


def page_payload(sheet: Sheet, page: Page) -> bytes:
    """Return the bytes of the code of `page`."""
    body = bytearray()
    _put_text(body, sheet.id)
    _put(body, page.page)
    _put(body, len(sheet.pages))
    _put_text(body, sheet.paper)
    _put(body, round(sheet.x_height_mm * 100))
    _put_text(body, ",".join(sheet.languages))
    _put_runs(body, [(cell.char, cell.attempt) for cell in page.cells])
    if not page.cells:
        _put_text(body, "\n".join(line.text for line in page.ruled))
    tags = () if page.cells else known_tags(sheet.languages, sheet.layout)
    packer = zlib.compressobj(level=9, wbits=-15, zdict=known_words(tags, sheet.layout).encode())
    packed = packer.compress(bytes(body)) + packer.flush()
    named = ",".join(tags).encode()
    known = bytes([len(named)]) + named if sheet.layout in TABLES else b""
    return MAGIC + bytes([sheet.layout]) + zlib.crc32(body).to_bytes(4, "big") + known + packed


def page_from_payload(payload: bytes) -> CodedPage:
    """Return what the code of a page says, with the page laid out again.

    Raises
    ------
    WrongSheetError
        If the bytes are not a code of ours, are damaged, or belong to layout rules that this version does not know.
    """
    if payload[:2] != MAGIC or len(payload) < 8:
        raise WrongSheetError("page code", "not the code of one of our sheets", "Scan a sheet made by `ownhand sheet`.")
    if payload[2] not in LAYOUTS:
        raise WrongSheetError(
            "page code",
            f"the sheet has layout {payload[2]}, this version knows up to {max(LAYOUTS)}",
            "Read it with the version of ownhand that printed it, or put its sheet.json into the hand's folder.",
        )
    try:
        body = _unpacked(payload[7:], payload[2])
        if zlib.crc32(body).to_bytes(4, "big") != payload[3:7]:
            raise ValueError("the check sum differs")
        return _coded_page(_Reader(body), payload[2])
    except (ValueError, IndexError, OverflowError, zlib.error, OwnhandError):
        raise WrongSheetError(
            "page code", "it is damaged", "Scan the page again, the code in the corner sharp."
        ) from None


def sheet_from_coded(coded: Iterable[CodedPage]) -> Sheet:
    """Return a sheet with the pages whose codes were read; pages that were not read are left out.

    Raises
    ------
    WrongSheetError
        If the pages belong to different sheets.
    """
    pages = sorted(coded, key=lambda c: c.page.page)
    first = pages[0]
    for other in pages:
        if (other.sheet_id, other.paper, other.x_height_mm, other.pages) != (
            first.sheet_id,
            first.paper,
            first.x_height_mm,
            first.pages,
        ):
            raise WrongSheetError(
                "page code",
                f"pages of sheet '{other.sheet_id}' among those of sheet '{first.sheet_id}'",
                "Read the sheets one by one.",
            )
    unique = {c.page.page: c.page for c in pages}
    return Sheet(
        id=first.sheet_id,
        layout=first.layout,
        paper=first.paper,
        x_height_mm=first.x_height_mm,
        pages=tuple(unique.values()),
        languages=first.languages,
    )


def _coded_page(body: _Reader, layout: int) -> CodedPage:
    sheet_id, number, pages, paper = body.text(), body.number(), body.number(), body.text()
    x_height_mm = body.number() / 100
    languages = tuple(code for code in body.text().split(",") if code)
    _check(sheet_id, paper, x_height_mm, languages, pages)
    attempts = body.attempts()
    size_mm = paper_size(paper)
    if attempts:
        page = page_of_cells(attempts, number=number, size_mm=size_mm, x_height_mm=x_height_mm, layout=layout)
        whole = len(page.cells) == len(attempts)
    else:
        lines = body.text().split("\n")
        if not all(is_plain(line, MOST_BODY) for line in lines):
            raise ValueError("a line to copy holds control characters")
        page = page_of_lines(lines, number=number, size_mm=size_mm, x_height_mm=x_height_mm, layout=layout)
        whole = len(page.ruled) == len(lines)
    if not whole or not 1 <= number <= pages:
        raise ValueError("the page does not hold together")
    return CodedPage(
        sheet_id=sheet_id,
        layout=layout,
        paper=paper,
        x_height_mm=x_height_mm,
        languages=languages,
        pages=pages,
        page=page,
    )


def _check(sheet_id: str, paper: str, x_height_mm: float, languages: tuple[str, ...], pages: int) -> None:
    """Refuse what no sheet of ours says: anybody can print a code, and its id becomes a folder's name."""
    least, most = X_HEIGHT_MM
    if not is_sheet_id(sheet_id):
        raise ValueError("the sheet's id is none")
    if paper_name(paper) != paper:
        raise ValueError("the paper is not written as we write it")
    if not least <= x_height_mm <= most or not 1 <= pages <= MOST_PAGES:
        raise ValueError("the writing size or the number of pages is none of ours")
    if len(languages) > MOST_LANGUAGES or not all(is_plain(language, 100) for language in languages):
        raise ValueError("the languages are none")


def _unpacked(packed: bytes, layout: int) -> bytes:
    known = ""
    if layout in TABLES:
        length = packed[0]
        known = known_words([tag for tag in packed[1 : 1 + length].decode("ascii").split(",") if tag], layout)
        packed = packed[1 + length :]
    unpacker = zlib.decompressobj(wbits=-15, zdict=known.encode())
    body = unpacker.decompress(packed, MOST_BODY)
    if not unpacker.eof:
        raise ValueError("the body has no end, or is too long")
    return body


def _put(body: bytearray, number: int) -> None:
    while number > 0x7F:
        body.append(number & 0x7F | 0x80)
        number >>= 7
    body.append(number)


def _put_text(body: bytearray, text: str) -> None:
    raw = text.encode()
    _put(body, len(raw))
    body.extend(raw)


def _put_runs(body: bytearray, attempts: Sequence[Attempt]) -> None:
    runs = _runs(attempts)
    seen: dict[str, int] = {}
    shapes, places = bytearray(), bytearray()
    before = 0
    for char, first, count in runs:
        code_points = [ord(c) for c in char]
        jumps = first != seen.get(char, 0) + 1
        _put(shapes, count - 1 | jumps << 2 | (len(code_points) - 1) << 3)
        step = code_points[0] - before
        _put(places, step << 1 if step >= 0 else -step << 1 | 1)
        for number in [*code_points[1:], *([first] if jumps else [])]:
            _put(places, number)
        before = code_points[0]
        seen[char] = first + count - 1
    _put(body, len(runs))
    body.extend(shapes + places)


def _runs(attempts: Sequence[Attempt]) -> list[tuple[str, int, int]]:
    """Return (character, first attempt, how many) for neighbours that count on."""
    runs: list[tuple[str, int, int]] = []
    for char, attempt in attempts:
        if runs:
            last, first, count = runs[-1]
            if char == last and attempt == first + count and count < _LONGEST_RUN:
                runs[-1] = (char, first, count + 1)
                continue
        runs.append((char, attempt, 1))
    return runs


class _Reader:
    """Reads numbers and texts off a body, from its first byte on."""

    def __init__(self, body: bytes) -> None:
        self._body, self._at = body, 0

    def number(self) -> int:
        number = shift = 0
        while True:
            byte = self._body[self._at]
            self._at += 1
            number |= (byte & 0x7F) << shift
            shift += 7
            if byte < 0x80:
                return number
            if shift > 28:
                raise ValueError("the number is too long")

    def text(self) -> str:
        length = self.number()
        raw = self._body[self._at : self._at + length]
        if len(raw) != length:
            raise ValueError("the text is cut off")
        self._at += length
        return raw.decode()

    def attempts(self) -> list[Attempt]:
        runs = self.number()
        if runs > len(self._body):
            raise ValueError("more runs than bytes")
        shapes = [self.number() for _ in range(runs)]
        seen: dict[str, int] = {}
        attempts: list[Attempt] = []
        before = 0
        for shape in shapes:
            count, jumps, more = (shape & 3) + 1, shape >> 2 & 1, shape >> 3
            step = self.number()
            before += -(step >> 1) if step & 1 else step >> 1
            char = chr(before) + "".join(chr(self.number()) for _ in range(min(more, len(self._body))))
            first = self.number() if jumps else seen.get(char, 0) + 1
            if not is_character(char) or not 1 <= first <= MOST_ATTEMPTS - count + 1:
                raise ValueError("no character, or no number of an attempt")
            if len(attempts) + count > MOST_CELLS:
                raise ValueError("more cells than a page has")
            attempts += [(char, first + i) for i in range(count)]
            seen[char] = first + count - 1
        return attempts
