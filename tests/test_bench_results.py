"""What a benchmark prints is put into its own file of results, and the page before them leads to all of them."""

from __future__ import annotations

import re
import sys
import types
from pathlib import Path

import pytest

from tests.bench import __main__ as bench
from tests.bench.__main__ import recorded

PAGE = Path(bench.__file__).with_name("RESULTS.md")
FONT = "# font\n\nA note.\n\n## Before\n\nAnother.\n"
LINK = re.compile(r"\]\(([^)#\s]*)(?:#([^)\s]+))?\)")


def test_a_first_record_comes_before_what_is_older_and_a_second_replaces_it() -> None:
    once = recorded(FONT, "font", "python -m tests.bench font", "a 1\n", "2026-01-01")
    twice = recorded(once, "font", "python -m tests.bench font", "a 2\n", "2026-01-02")

    assert once.index("A note.") < once.index("a 1") < once.index("## Before") < once.index("Another.")
    assert twice == once.replace("a 1", "a 2").replace("2026-01-01", "2026-01-02")


def test_what_was_never_measured_gets_a_file_of_its_own() -> None:
    made = recorded("", "words", "x", "w", "2026-01-01")

    assert made.startswith("# words\n\n<!-- words -->\n")
    assert made.endswith("<!-- /words -->\n")


def test_a_recorded_run_is_kept_in_the_file_of_its_name_and_names_nobodys_folders(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def measured(_: list[str]) -> int:
        sys.stdout.write("a 1\n")
        return 0

    monkeypatch.setattr(bench, "RESULTS", tmp_path)
    monkeypatch.setattr(bench.importlib, "import_module", lambda _: types.SimpleNamespace(main=measured))
    code = bench.main(["font", "--record", "--data", "/somebody/data"])

    assert code == 0
    assert "a 1" in capsys.readouterr().out
    kept = (tmp_path / "font.md").read_text(encoding="utf-8")
    assert "`python -m tests.bench font --data FOLDER`" in kept
    assert "a 1" in kept


def test_links_between_results_lead_somewhere_and_every_file_is_reached() -> None:
    reached = set()
    for page in (PAGE, *sorted((PAGE.parent / "results").glob("*.md"))):
        for place, heading in LINK.findall(page.read_text(encoding="utf-8")):
            target = (page.parent / place).resolve() if place else page
            assert target.is_file(), f"{page.name}: {place}"
            reached.add(target)
            # a heading's address, as web pages of Markdown build it: small letters, hyphens, no signs (common practice)
            lines = re.findall(r"^#+ (.+)$", target.read_text(encoding="utf-8"), re.MULTILINE)
            headings = {re.sub(r"[^\w -]", "", h.lower()).replace(" ", "-") for h in lines}
            assert not heading or heading in headings, f"{page.name}: {place}#{heading}"

    assert {p.resolve() for p in (PAGE.parent / "results").glob("*.md")} <= reached


def test_blocks_stand_in_the_file_of_their_name() -> None:
    for page in (PAGE.parent / "results").glob("*.md"):
        assert set(re.findall(r"<!-- /?(\w+) -->", page.read_text(encoding="utf-8"))) <= {page.stem}
