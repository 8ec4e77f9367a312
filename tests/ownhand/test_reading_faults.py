"""A fault of the program is never a page without letters: what reading does where loops cannot be kept, or go wrong."""

from __future__ import annotations

import dataclasses
from concurrent.futures import Future

import numpy as np
import pytest

from capture.errors import NEEDS_REVIEW, OwnhandError
from ownhand.cli import main as cli
from ownhand.commands import read as reading
from ownhand.commands.read_report import ReadReport, Taken, page_rows
from ownhand.hands.captures import PageCapture
from skeleton.attempt import Attempt
from skeleton.geometry.stroke import Stroke
from skeleton.precompile import Prepared

IMAGES = [np.full((20, 20), 255, np.uint8)] * 2


def attempt(number: int, *, strokes: bool, status: str = "written") -> Attempt:
    line = Stroke(np.array([[0.0, 0.0], [1.0, 1.0]]), 0.4)
    return Attempt(
        id=f"s/1/1.{number}", char="a", attempt=number, status=status, strokes=(line,) if strokes else (),
        x_height_mm=3.5, ascender_mm=6.0, descender_mm=-2.0, width_mm=5.0, pen_mm=0.4,
    )  # fmt: skip


def taken(tmp_path, *attempts: Attempt) -> Taken:
    capture = PageCapture("s", 1, "page-1.jpg", {}, attempts, {}, {})
    verdict = dataclasses.make_dataclass("Verdict", ["dpi", "local_error_mm", "print_scale"])(300.0, 0.01, 1.0)
    return Taken(capture, tmp_path / "page-01-contact.png", verdict, 0.4, 0)


def test_a_fault_of_the_program_is_not_taken_for_ink_that_cannot_be_traced(monkeypatch):
    def broken(*args, **options):
        raise RuntimeError("cannot cache function: no locator available")

    monkeypatch.setattr(reading.skeleton, "read_together", broken)

    with pytest.raises(RuntimeError):
        reading._trace_group(IMAGES, 300.0, "a", (), "right")


def test_a_fault_in_a_worker_ends_the_command_in_one_line():
    job: Future = Future()
    job.set_exception(RuntimeError("cannot cache function"))

    with pytest.raises(OwnhandError, match=r"tracing failed: RuntimeError: cannot cache function") as caught:
        reading._result(job)
    assert caught.value.exit_code == 1 and "\n" not in str(caught.value)


def test_ink_that_defeats_the_tracer_costs_only_itself_and_says_why(monkeypatch):
    good, asked = [object()], []

    def odd(images, *args, **options):
        asked.append(len(images))
        if len(images) > 1 or len(asked) == 3:
            raise ZeroDivisionError("float division by zero")
        return good

    monkeypatch.setattr(reading.skeleton, "read_together", odd)

    first, second = reading._trace_group(IMAGES, 300.0, "a", (), "right")

    assert first is good[0]
    assert second.strokes == () and second.findings[0].kind == "could not be traced"
    assert "float division by zero" in second.findings[0].detail


@pytest.mark.parametrize(
    ("strokes", "status", "code"),
    [((False, False), "written", NEEDS_REVIEW), ((False, True), "written", 0), ((False, False), "blank", 0)],
)
def test_a_page_of_which_nothing_could_be_traced_is_never_a_success(tmp_path, monkeypatch, strokes, status, code):
    page = taken(tmp_path, *(attempt(k, strokes=s, status=status) for k, s in enumerate(strokes, 1)))
    monkeypatch.setattr(reading, "read_scans", lambda *args, **options: ReadReport((page,), (), ()))

    assert cli.main(["read", str(tmp_path), "scan.png"]) == code
    assert len(page_rows(ReadReport((page,), (), ()))) == 1


def test_where_loops_cannot_be_kept_one_line_says_so_and_how_to_mend_it():
    lines = reading.unkept_lines(Prepared(167, "/home/keeper/.cache/ownhand/loops cannot be written (Read-only)"))

    assert len(lines) == 1 and "OWNHAND_CACHE_DIR" in lines[0] and "Read-only" in lines[0]
    assert reading.unkept_lines(Prepared(167)) == reading.unkept_lines(Prepared(0)) == []
