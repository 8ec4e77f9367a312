"""Numbers that were fitted on data: files beside the code that uses them, with what made them."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class FittedValues:
    """A table of fitted numbers, one row for each named feature, and where they come from.

    The file is JSON with the keys of this class.
    """

    what: str
    """What the numbers are, in one sentence."""

    unit: str
    """Unit of every number."""

    columns: tuple[str, ...]
    """Name of each column."""

    values: Mapping[str, tuple[float, ...]]
    """For each feature, in the order of the features: one number a column."""

    recipe: str
    """The method and the command that fits them."""

    fitted_on: tuple[Mapping[str, str], ...]
    """The data sets: `name`, `part`, `licence`."""

    date: str
    """When they were fitted, YYYY-MM-DD."""

    @property
    def names(self) -> list[str]:
        """The features, in order."""
        return list(self.values)

    def column(self, name: str) -> NDArray[np.float64]:
        """Return a fresh array of one column, shape (features,)."""
        k = self.columns.index(name)
        return np.array([row[k] for row in self.values.values()])

    def end_to_end(self) -> NDArray[np.float64]:
        """Return a fresh array of all columns one after the other, shape (columns * features,)."""
        return np.concatenate([self.column(name) for name in self.columns])


def load_fitted_values(file: Path) -> FittedValues:
    """Return the table in a file.

    Raises
    ------
    ValueError
        If a key is missing or a row does not have one number a column; the message names the file.
    """
    try:
        data: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
        columns = tuple(data["columns"])
        values = {name: tuple(float(v) for v in row) for name, row in data["values"].items()}
        odd = [name for name, row in values.items() if len(row) != len(columns)]
        if odd:
            raise ValueError(f"{odd[0]!r} has {len(values[odd[0]])} numbers, expected {len(columns)}")
        texts = {key: str(data[key]) for key in ("what", "unit", "recipe", "date")}
        return FittedValues(columns=columns, values=values, fitted_on=tuple(data["fitted_on"]), **texts)
    except (KeyError, TypeError, ValueError) as error:
        raise ValueError(f"{file}: not a table of fitted values ({error})") from error


def fitted_values_text(table: FittedValues) -> str:
    """Return the text of a table's file: one line for each feature and each data set, so that changes are seen."""

    def lines(rows: Sequence[str], begin: str, end: str) -> str:
        return begin + "\n    " + ",\n    ".join(rows) + "\n  " + end

    def text(value: object) -> str:
        return json.dumps(value, ensure_ascii=False)

    rows = [f"{text(name)}: {text(list(row))}" for name, row in table.values.items()]
    parts = {
        "what": text(table.what),
        "unit": text(table.unit),
        "recipe": text(table.recipe),
        "fitted_on": lines([text(dict(d)) for d in table.fitted_on], "[", "]"),
        "date": text(table.date),
        "columns": text(list(table.columns)),
        "values": lines(rows, "{", "}"),
    }
    return "{\n  " + ",\n  ".join(f'"{key}": {value}' for key, value in parts.items()) + "\n}\n"
