"""Fitted numbers are data: each table says what it is, what made it and when, and fits the code that uses it."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import numpy as np
import pytest

import skeleton
from skeleton.fitted_values import fitted_values_text, load_fitted_values
from skeleton.hypotheses.labelled import AT_EDITS, AT_FORM_FEATURES, AT_MATCH, AT_PATH_FEATURES, COSTS
from skeleton.hypotheses.stroke_direction import direction_features
from skeleton.hypotheses.unlabelled import AT_BARE, AT_RULE_FEATURES
from skeleton.hypotheses.unlabelled import AT_PATH_FEATURES as AT_TOLD_UNLABELLED
from skeleton.hypotheses.unlabelled import COSTS as UNLABELLED_COSTS
from skeleton.hypotheses.writing_order import DIRECTION, ORDER, pair_features
from tests.bench.trace_weights import refitted

PACKAGE = Path(skeleton.__file__).parent
TABLES = sorted(PACKAGE.glob("*/*.json"))


@pytest.mark.parametrize("file", TABLES, ids=lambda f: f.stem)
def test_every_table_says_where_its_numbers_come_from(file: Path) -> None:
    table = load_fitted_values(file)
    notice = (PACKAGE / "NOTICE").read_text(encoding="utf-8")

    assert table.what and table.unit and table.recipe
    assert date.fromisoformat(table.date)
    assert all(d["name"] and d["part"] and d["licence"] not in ("", "not stated") for d in table.fitted_on)
    assert file.name in notice
    assert all(d["name"].split(" (")[0] in notice for d in table.fitted_on if "simulated" not in d["name"])


@pytest.mark.parametrize("file", TABLES, ids=lambda f: f.stem)
def test_a_table_is_written_as_it_was_read(file: Path) -> None:
    assert fitted_values_text(load_fitted_values(file)) == file.read_text(encoding="utf-8")


def test_the_tables_have_a_number_for_every_feature_that_is_computed() -> None:
    line = np.array([[0.0, 0.0], [3.0, 4.0], [5.0, 4.0]])

    assert sorted([*AT_PATH_FEATURES, *AT_FORM_FEATURES, *AT_EDITS, *AT_MATCH]) == list(range(len(COSTS.names)))
    assert sorted([*AT_TOLD_UNLABELLED, AT_BARE, *AT_RULE_FEATURES]) == list(range(len(UNLABELLED_COSTS.names)))
    assert len(DIRECTION) == len(direction_features(line, 5.0))
    assert len(ORDER) == len(pair_features(line, line + 1, 5.0, line[0]))


def test_a_refit_keeps_the_names_and_is_dated() -> None:
    new = refitted(COSTS, COSTS.end_to_end() + 0.25, [{"name": "n", "part": "p", "licence": "l"}], date(2026, 12, 1))

    assert new.names == COSTS.names
    np.testing.assert_allclose(new.end_to_end(), COSTS.end_to_end() + 0.25, atol=0.0051)
    assert new.date == "2026-12-01"
    assert new.fitted_on[0]["name"] == "n"


def test_a_table_with_a_number_missing_is_refused_with_its_name(tmp_path: Path) -> None:
    data = json.loads(TABLES[0].read_text(encoding="utf-8"))
    name = next(iter(data["values"]))
    data["values"][name].append(1.0)
    file = tmp_path / "odd.json"
    file.write_text(json.dumps(data), encoding="utf-8")

    with pytest.raises(ValueError, match=r"odd\.json.*numbers, expected"):
        load_fitted_values(file)
