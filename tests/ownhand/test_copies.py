"""A second filled copy of a sheet adds its attempts; the same paper scanned again replaces nothing with them."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from ownhand.cli.main import main
from ownhand.commands import read as reading
from ownhand.hands.captures import load_captures
from ownhand.hands.hand import open_hand
from tests.bench.capture_pages import Degrade, write_cells
from tests.capture.simulated import picture, sheet, written


@pytest.fixture(scope="module")
def scans(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """One copy scanned twice, at other resolutions, and a second copy by the same writer."""
    folder = tmp_path_factory.mktemp("scans")
    other = write_cells(sheet().pages[0], seed=11, blank=0.15, ticked=0.15)
    pictures = {
        "first": picture(Degrade(dpi=200)),
        "again": picture(Degrade(dpi=240)),
        "second": picture(Degrade(dpi=200), other),
    }
    out = {}
    for name, made in pictures.items():
        out[name] = folder / f"{name}.png"
        Image.fromarray(made.scan.pixels).save(out[name], dpi=(made.scan.dpi,) * 2 if made.scan.dpi else (200, 200))
    return out


def attempts(hand: Path) -> dict[str, int]:
    """Return how many attempts were written, by sheet."""
    return {c.sheet: sum(a.status == "written" for a in c.attempts) for c in load_captures(open_hand(hand))}


@pytest.fixture(autouse=True)
def without_tracing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Which paper it is, the ink tells; strokes are not needed."""
    monkeypatch.setattr(reading, "_trace_all", lambda *_: {})


def test_a_second_copy_adds_its_attempts_and_the_same_paper_again_adds_none(
    tmp_path: Path, scans: dict[str, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    hand = tmp_path / "hand"
    command = ["read", str(hand), "--adopt", "--jobs", "1", "--same-writer"]

    assert main([*command, str(scans["first"]), str(scans["second"])]) == 5, "told that no letter was traced"
    once = attempts(hand)
    main([*command, str(scans["again"])])

    assert set(once) == {"test-1", "test-1_2"}
    assert once["test-1"] == sum(bool(w.strokes) and not w.ticked for w in written())
    assert once["test-1_2"] > 10
    assert set(attempts(hand)) == set(once)
    assert capsys.readouterr().err.count("further copy") == 1
