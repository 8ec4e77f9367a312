"""Whatever bytes a reader is given, it reads them or says in one line what is wrong: no traceback, no hang.

Valid files are damaged at random: bytes changed, cut, doubled; numbers, names and types in JSON exchanged.
`OWNHAND_FUZZ` sets how many inputs each reader gets, `OWNHAND_FUZZ_SEED` where to begin.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from capture.code import page_from_payload, page_payload
from capture.errors import OwnhandError
from capture.layout import lay_out
from capture.print_sheet import sheet_pdf
from capture.scan import load_scans
from capture.sheet_file import load_sheet, save_sheet
from fontbuild.extend import extend_font
from fontbuild.formats.svg_font import svg_font
from fontbuild.formats.ufo import load_ufo, save_ufo
from ownhand.composer.merge.table import read_table
from ownhand.composer.merge.template import parse_template
from ownhand.composer.plot.machine import load_machine
from ownhand.hands.captures import load_captures, save_capture
from ownhand.hands.decisions_file import load_decisions
from ownhand.hands.hand import HandRecord, create_hand, open_hand
from tests.ownhand.hershey_font import hershey_font
from tests.ownhand.test_hand import a_capture
from tests.ownhand.test_workbooks import ods, xlsx

INPUTS = int(os.environ.get("OWNHAND_FUZZ", "60"))
SEED = int(os.environ.get("OWNHAND_FUZZ_SEED", "1"))
SECONDS = 30
"""No reader may take longer over one small file, even on a machine with other things to do."""

JUNK = (
    None, True, -1, 0, 1e308, float("nan"), "", "x" * 3000, "\u0000", "\u001b[2J", "\ud800", "../../x", "/tmp/x", [],
    {}, [[]], {"a": {}}, {"\udfff": 1}, 10**30, 10**400, -(10**400), ["e" + "\u0301" * 500],
)  # fmt: skip
XML_TRICKS = (
    b'<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/passwd">]>',
    b'<!DOCTYPE a [<!ENTITY b "' + b"c" * 999 + b'">]>',
    b"&b;&b;&b;",
    b"<" * 500,
)


@contextmanager
def in_time() -> Iterator[None]:
    def late(*_: object) -> None:
        raise AssertionError(f"still reading after {SECONDS} s")

    old = signal.signal(signal.SIGALRM, late)
    signal.alarm(SECONDS)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, old)


def damaged(data: bytes, rng: random.Random) -> bytes:
    """Return bytes with a few changes, as bad copies and bad will make them."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 4, 16))):
        at = rng.randrange(len(out) + 1)
        kind = rng.randrange(6)
        if kind == 0 and out:
            out[min(at, len(out) - 1)] = rng.randrange(256)
        elif kind == 1:
            del out[at:]
        elif kind == 2:
            del out[at : at + rng.randrange(1, 40)]
        elif kind == 3:
            out[at:at] = out[at : at + rng.randrange(1, 200)]
        elif kind == 4:
            out[at:at] = rng.randbytes(rng.randrange(1, 20))
        else:
            out[at:at] = rng.choice(XML_TRICKS)
    return bytes(out)


def mangled(data: object, rng: random.Random) -> object:
    """Return JSON data with one value, somewhere, exchanged for junk or left out."""
    if isinstance(data, dict) and data and rng.random() < 0.92:
        key = rng.choice(list(data))
        if rng.random() < 0.08:
            return {k: v for k, v in data.items() if k != key}
        return {**data, key: mangled(data[key], rng)}
    if isinstance(data, list) and data and rng.random() < 0.92:
        at = rng.randrange(len(data))
        return [*data[:at], mangled(data[at], rng), *data[at + 1 :]]
    return rng.choice(JUNK)


def damaged_json(data: bytes, rng: random.Random) -> bytes:
    if rng.random() < 0.3:
        return damaged(data, rng)
    return json.dumps(mangled(json.loads(data), rng)).encode()


def survives(read: Callable[[bytes], object], data: bytes, harm: Callable[[bytes, random.Random], bytes]) -> None:
    rng = random.Random(SEED)
    read(data)
    for number in range(INPUTS):
        bad = harm(data, rng)
        with in_time():
            try:
                read(bad)
            except OwnhandError as error:
                assert "\n" not in str(error), (number, str(error))
                assert len(str(error)) < 2000, number


def picture(kind: str, mode: str = "L") -> bytes:
    out = BytesIO()
    grey = np.random.default_rng(3).integers(0, 255, (40, 30), np.uint8)
    Image.fromarray(grey).convert(mode).save(out, kind)
    return out.getvalue()


@pytest.mark.parametrize(
    ("kind", "mode"),
    [
        ("PNG", "L"), ("PNG", "1"), ("PNG", "P"), ("PNG", "LA"), ("PNG", "I;16"), ("JPEG", "L"), ("JPEG", "CMYK"),
        ("TIFF", "L"), ("TIFF", "1"), ("TIFF", "RGBA"), ("PDF", "L"), ("PDF", "1"),
    ],
)  # fmt: skip
def test_pictures(tmp_path, kind, mode):
    path = tmp_path / f"scan.{kind.lower()}"

    def read(data: bytes) -> None:
        path.write_bytes(data)
        for scan in load_scans(path):
            assert scan.pixels.size

    survives(read, picture(kind, mode), damaged)


def test_drawn_pdfs(tmp_path):
    path = tmp_path / "sheet.pdf"

    def read(data: bytes) -> None:
        path.write_bytes(data)
        for _ in load_scans(path):
            pass

    survives(read, sheet_pdf(lay_out({"a": 2}, sheet_id="f", paper="A5")), damaged)


def test_page_codes():
    sheet = lay_out({"a": 3, "ß": 2}, sheet_id="fuzz", paper="A5")

    survives(lambda data: page_from_payload(data), page_payload(sheet, sheet.pages[0]), damaged)


def test_sheet_files(tmp_path):
    path = tmp_path / "sheet.json"
    save_sheet(lay_out({"a": 2}, sheet_id="f", paper="A5"), path)

    def read(data: bytes) -> None:
        path.write_bytes(data)
        load_sheet(path)

    survives(read, path.read_bytes(), damaged_json)


def test_hand_records_and_captures(tmp_path):
    hand = create_hand(tmp_path / "hand", HandRecord("Keeper", "k", "own", "cards"))
    save_capture(hand, a_capture())
    for file in (hand.path / "hand.json", next(hand.captures_folder.glob("*/*.json"))):
        whole = file.read_bytes()

        def read(data: bytes, file: Path = file) -> None:
            file.write_bytes(data)
            load_captures(open_hand(hand.path))

        survives(read, whole, damaged_json)
        file.write_bytes(whole)


def test_decisions(tmp_path):
    path = tmp_path / "decisions.json"
    stroke = {"points_mm": [[0, 1], [2, 3]], "width_mm": 0.4, "widths_mm": None, "closed": False}
    decision = {"verdict": "kept", "char": "a", "strokes": [stroke], "baseline_mm": 0.2}
    data = {"format": 1, "version": 1, "step": 1, "attempts": {"s/1/1.1": decision}, "characters": {}}

    def read(bad: bytes) -> None:
        path.write_bytes(bad)
        load_decisions(path)

    survives(read, json.dumps(data).encode(), damaged_json)


def test_ufos(tmp_path):
    whole = save_ufo(hershey_font(variants=2), tmp_path / "whole.ufo")
    load_ufo(whole)
    files = sorted(p for p in whole.rglob("*") if p.is_file())
    rng = random.Random(SEED)
    for number in range(INPUTS):
        path = tmp_path / "bad.ufo"
        shutil.copytree(whole, path)
        victim = path / rng.choice([*files[:1], *files[-4:], *rng.sample(files, 3)]).relative_to(whole)
        if rng.random() < 0.1:
            victim.unlink()
        else:
            victim.write_bytes(damaged(victim.read_bytes(), rng))
        with in_time():
            try:
                load_ufo(path)
            except OwnhandError as error:
                assert "\n" not in str(error), (number, str(error))
        shutil.rmtree(path)


def test_zipped_ufos_cannot_reach_out_of_their_archive(tmp_path):
    path = tmp_path / "bad.ufoz"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("../../escaped.txt", "x")
        archive.writestr("x.ufo/metainfo.plist", "<plist/>")

    with pytest.raises(OwnhandError):
        load_ufo(path)

    assert not list(tmp_path.parent.glob("**/escaped.txt"))


def test_svg_fonts_of_others(tmp_path):
    path = tmp_path / "font.svg"

    def read(data: bytes) -> None:
        path.write_bytes(data)
        extend_font(path, ["fr"], out=tmp_path / "out.svg")

    survives(read, svg_font(hershey_font()).encode(), damaged)


def test_tables_and_templates(tmp_path):
    path = tmp_path / "guests.csv"

    def read(data: bytes) -> None:
        path.write_bytes(data)
        read_table(path)

    survives(read, 'name;town\nOrla;„Grün“\n"a;b";c\n'.encode(), damaged)
    survives(
        lambda d: parse_template(d.decode("utf-8", "replace")),
        b"Dear {name},\n>> address\n{town, else here}\n",
        damaged,
    )


@pytest.mark.parametrize("write", [xlsx, ods])
def test_workbooks(tmp_path, write):
    path = tmp_path / "guests"

    def read(data: bytes) -> None:
        path.write_bytes(data)
        read_table(path)

    with zipfile.ZipFile(write(tmp_path / "good")) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    inside = [name for name in parts if name == "content.xml" or (name.startswith("xl/") and name.endswith(".xml"))]

    def packed(name: str, content: bytes) -> bytes:
        data = BytesIO()
        with zipfile.ZipFile(data, "w") as archive:
            for other, own in parts.items():
                archive.writestr(other, content if other == name else own)
        return data.getvalue()

    survives(read, packed("", b""), damaged)
    for name in inside:
        survives(lambda content, name=name: read(packed(name, content)), parts[name], damaged)


def test_machine_profiles(tmp_path):
    path = tmp_path / "machine.toml"

    def read(data: bytes) -> None:
        path.write_bytes(data)
        load_machine(path)

    survives(read, b'name = "desk"\nbed_mm = [300, 200]\norigin = "top left"\ndraw_mm_s = 40.0\n', damaged)
