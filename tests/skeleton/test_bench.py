"""The tracer's bench: the reference it compares with, and its rows."""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench import ablate
from tests.bench.trace import main
from tests.bench.trace_data import Case, sample_hand
from tests.bench.trace_reference import reference
from tests.bench.trace_rows import Setting, by_all, by_known, by_reference, by_tracer, groups, picture, row


def test_the_reference_reads_an_image_of_two_levels() -> None:
    """Otsu's threshold (scikit-image) is the darker of two levels: the ink is what is not above it."""
    image = np.full((60, 60), 255, np.uint8)
    image[10:50, 28:33] = 0
    strokes = reference(image, 300)
    assert len(strokes) == 1
    assert np.ptp(strokes[0][:, 1]) == pytest.approx(36 * 25.4 / 300, abs=0.2)


def test_the_sample_hand_lies_on_its_own_ink() -> None:
    for case in sample_hand("lo", 2):
        assert case.grey is not None
        for s in case.strokes:
            x, y = (s[len(s) // 2] * 300 / 25.4 - 0.5).round().astype(int)
            assert case.grey[y, x] < 150


def test_every_reader_answers_for_every_attempt() -> None:
    cases = list(sample_hand("l", 2))
    batches = groups(cases)
    assert [len(b) for b in batches] == [2]
    for reader in (by_reference, by_tracer, by_all, by_known):
        found = row(map, reader, batches, Setting())
        assert len(found) == 2
        assert all(r.score.mean < 0.1 for r in found)


def test_a_case_is_inked_alike_each_time() -> None:
    case = Case("l", "l", [np.array([[0.0, 0.0], [0.0, 5.0]])])
    assert np.array_equal(picture(case, Setting(), 3)[0], picture(case, Setting(), 3)[0])


def test_the_table_has_a_row_of_the_reference_beside_each_of_the_tracer(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--quick", "-n", "2", "--sets", "hershey", "--cores", "1"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split()[:3] == ["data", "n", "pen"]
    assert [row.split()[5] for row in lines[1:]] == ["ownhand", "reference"]


def test_the_ablation_has_a_row_for_all_parts_and_one_for_each_that_is_off(capsys: pytest.CaptureFixture[str]) -> None:
    assert ablate.main(["-n", "2", "--sets", "hershey", "--parts", "necks cut,ductus table"]) == 0
    head, whole, *off = capsys.readouterr().out.splitlines()
    assert head.split() == ["without", "hershey"]
    assert whole.startswith("(nothing: alone)")
    assert [row[:30].strip() for row in off] == ["ductus table", "necks cut"]
