"""Names for the arrays that compiled loops take and give: the shape is in the docstring, the numbers' kind as well.

Type checkers see no further than "an array": NumPy's stubs tell neither shapes nor what indexing gives, and a compiled
loop that is handed another kind is compiled anew or refuses it. All arrays are C-contiguous unless said otherwise.
"""

from __future__ import annotations

from typing import Any, TypeAlias

from numpy.typing import NDArray

Vector: TypeAlias = NDArray[Any]
"""Shape (n,), float64."""

Indices: TypeAlias = NDArray[Any]
"""Shape (n,), int32 or int64: numbers of things, or where each begins, with the end of the last."""

Flags: TypeAlias = NDArray[Any]
"""Shape (n,), bool."""

Line: TypeAlias = NDArray[Any]
"""Shape (n, 2), float64: points x, y, or unit directions; y down. px of the working image unless said otherwise."""

Matrix: TypeAlias = NDArray[Any]
"""Shape (rows, columns), float64."""

IndexTable: TypeAlias = NDArray[Any]
"""Shape (rows, columns), int32 or int64."""

Stack: TypeAlias = NDArray[Any]
"""Shape (k, n, m), float64: several lines or tables of one size."""

Mask: TypeAlias = NDArray[Any]
"""Shape (h, w), uint8: 1 where there is ink."""

Picture: TypeAlias = NDArray[Any]
"""Shape (h, w), float32: darkness, 0 on paper, 1 in full ink."""

Path: TypeAlias = NDArray[Any]
"""Shape (n,), int32: the states that a pen passes, one after the other; state 2k heads along the piece at place k,
state 2k + 1 against it, so that `s ^ 1` is the same place in the other heading."""

FlatPaths: TypeAlias = tuple[Path, Indices]
"""The paths of all strokes of a reading end to end: the states of all, and where each path begins, with the end."""

PackedReadings: TypeAlias = tuple[Path, Indices, Indices, Indices]
"""Several readings: the states of all, the beginnings of all paths, and where each reading's states and beginnings
begin, with the ends."""
