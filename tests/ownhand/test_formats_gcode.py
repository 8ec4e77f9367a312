from __future__ import annotations

import numpy as np
import pygcode
import pytest

from capture.errors import UsageError
from ownhand.composer import PlotPage
from ownhand.composer.formats.gcode import gcode_job, gcode_text
from ownhand.composer.plot.machine import Machine
from ownhand.composer.plot.plot_page import flatten
from tests.ownhand.composing import CARD, composer, in_two_pens


@pytest.fixture(scope="module")
def page() -> PlotPage:
    return composer().compose("The lamp, at 9!", CARD, seed=2).pages[0]


def run(text: str, servo_down: float | None = None) -> tuple[list[np.ndarray], list[np.ndarray], pygcode.Machine]:
    """Return the lines drawn and the lifted moves, as pygcode's machine (RS274NGC) makes them."""
    machine = pygcode.Machine()
    drawn: list[list[tuple[float, float]]] = []
    lifted: list[list[tuple[float, float]]] = []
    was_down, spindle = False, 0.0
    before = (machine.pos.X, machine.pos.Y)
    for raw in text.splitlines():
        line = pygcode.Line(raw)
        machine.process_block(line.block)
        at = machine.pos  # reckoned anew each time it is asked for
        after = (at.X, at.Y)
        for code in line.block.gcodes:
            if code.word_letter == "S":
                spindle = float(code.word.value)
        down = spindle == servo_down if servo_down is not None else at.Z <= 0
        if raw.startswith("G21"):
            down = False
        if down and not was_down:
            drawn.append([after])
        elif down:
            if after != before:
                drawn[-1].append(after)
        elif after != before:
            lifted.append([before, after])
        was_down, before = down, after
    return [np.array(d) for d in drawn], [np.array(m) for m in lifted], machine


def body(text: str) -> str:
    """Return the G-code from its first lifting on."""
    return text[text.index("G94") + 4 :]


def test_an_independent_interpreter_draws_the_same_lines(page: PlotPage) -> None:
    drawn, _, machine = run("G21\nG90\nG94\nG0 Z3\n" + body(gcode_text(page)))

    points, starts = flatten(page.points_mm, page.starts, within_mm=0.01)
    drawn = [d for d in drawn if len(d)][-len(page) :]
    assert len(drawn) == len(page)
    for k, line in enumerate(drawn):
        want = points[starts[k] : starts[k + 1]] * [1, -1] + [0, 105]
        assert np.abs(line[0] - want[0]).max() < 0.00051
        assert np.abs(line[-1] - want[-1]).max() < 0.00051
        length = np.hypot(*np.diff(line, axis=0).T).sum() if len(line) > 1 else 0.0
        assert length == pytest.approx(np.hypot(*np.diff(want, axis=0).T).sum(), abs=0.01)
    assert machine.pos.Z == 3


def test_a_servo_lifts_by_its_angle_and_z_never_moves(page: PlotPage) -> None:
    profile = Machine(bed_mm=(148, 105), pen="servo", pen_up=("M3 S30", "G4 P0.2"), pen_down=("M3 S70", "G4 P0.2"))
    text = gcode_text(page, profile)

    drawn, _, _ = run(text, servo_down=70.0)

    assert len(drawn) == len(page)
    assert "Z" not in body(text).replace("Ziel", "")
    assert text.count("M3 S70") == len(page)
    assert text.count("M3 S30") == len(page) + 1


def test_the_head_sets_millimetres_and_absolute_places(page: PlotPage) -> None:
    lines = gcode_text(page).splitlines()

    assert lines[0].startswith("(") and lines[0].endswith(")")
    assert lines[1:4] == ["G21", "G90", "G94"]
    assert lines[-1] == "M2"


def test_the_pen_is_out_of_the_way_where_the_plotter_waits_and_at_the_end(page: PlotPage) -> None:
    job = "G21\nG90\nG94\nG0 Z3\n" + body(gcode_job([("one", in_two_pens()), ("two", page)]))
    waits = [k for k, line in enumerate(job.splitlines()) if line == "M0"]

    assert len(waits) == 3, "for a pen, for the next sheet, and for the first pen again"
    for upto in (*waits, len(job.splitlines())):
        machine = run("\n".join(job.splitlines()[:upto]))[2]
        assert (machine.pos.X, machine.pos.Y, machine.pos.Z) == (0, 0, 3)


def test_the_file_says_where_the_paper_lies(page: PlotPage) -> None:
    down = gcode_text(page, Machine(bed_mm=(300, 200), paper_mm=(10, 5), origin="top left"))
    up = gcode_text(page, Machine(bed_mm=(300, 200), paper_mm=(10, 5), origin="bottom left"))

    # a postcard, 148 x 105 mm, at 10 and 5 mm from the bed's top left corner
    assert "paper at X 10 to 158, Y 5 to 110 mm)" in down.splitlines()[0]
    assert "paper at X 10 to 158, Y 90 to 195 mm)" in up.splitlines()[0]


def test_speed_is_said_in_millimetres_a_minute(page: PlotPage) -> None:
    text = gcode_text(page, Machine(bed_mm=(148, 105), draw_mm_s=35))

    assert " F2100\n" in text


def test_nothing_leaves_the_bed_not_even_lifted(page: PlotPage) -> None:
    drawn, lifted, _ = run("G21\nG90\nG94\nG0 Z3\n" + body(gcode_text(page)))

    for line in (*drawn, *lifted):
        assert line.min() >= 0
        assert (line <= [148, 105]).all()


def test_a_page_beyond_the_bed_is_refused(page: PlotPage) -> None:
    with pytest.raises(UsageError, match="the bed of 'plotter'"):
        gcode_text(page, Machine(bed_mm=(20, 20)))


def test_the_plotter_stops_for_another_pen() -> None:
    text = gcode_text(in_two_pens())

    assert text.count("M0\n") == text.count("(pen 2)\nM0\n") == 1


def test_own_lines_come_first_and_last(page: PlotPage) -> None:
    text = gcode_text(page, Machine(bed_mm=(148, 105), begin=("G28",), end=("G0 X0 Y0",)))

    assert "G94\nG0 Z3\nG28\nG0 Z3\n" in text, "the pen is lifted before anything moves"
    assert text.endswith("G0 X0 Y0\nM2\n")
