"""What a benchmark prints is put into its own section of the results."""

from __future__ import annotations

from tests.bench.__main__ import recorded

RESULTS = "# Results\n\n## font\n\nA note.\n\n## trace\n\nAnother.\n"


def test_a_first_record_comes_under_its_heading_and_a_second_replaces_it() -> None:
    once = recorded(RESULTS, "font", "python -m tests.bench font", "a 1\n", "2026-01-01")
    twice = recorded(once, "font", "python -m tests.bench font", "a 2\n", "2026-01-02")

    assert once.index("A note.") < once.index("a 1") < once.index("## trace")
    assert "a 1" not in twice
    assert twice.index("A note.") < twice.index("a 2") < twice.index("## trace")


def test_a_benchmark_without_a_section_gets_one_at_the_end() -> None:
    assert recorded(RESULTS, "words", "x", "w", "2026-01-01").rstrip().endswith("<!-- /words -->")
