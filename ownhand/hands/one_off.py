"""Letters that were written one cell off: to the right or left of their own, or a row below or above it.

Each cell of such a run holds what its neighbour asks for, and that label suits its ink far better than its own. One
letter alone says little, there are letters that look like others; a run of them says it. Nothing is renamed before a
person says so: the cells are marked, and stay out of the font until then.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement, pairwise

import numpy as np

from capture.report import Finding
from capture.sheet import Cell
from skeleton.attempt import ONE_OFF, Attempt

CellPlace = tuple[int, int]
"""Row and column."""

WAYS = ("to the right", "to the left", "a row down", "a row up")
"""Where letters lie, seen from their own cells."""

MOST_ODDS = 6.0
"""What one letter can say at most, in log odds: it may be a slip of the pen."""

EACH = 0.7
"""Log odds that a cell must bring to make a run longer."""

MID_ROW, ROW_BEGIN, ROW_END = 4.0, 1.5, 3.0
"""Log odds that a run costs which begins or ends within a row, begins with one, or ends with one before the page does:
who slips leaves a cell empty, mostly the first of a row, and goes on to the page's end (common practice, no source)."""

LEAST_ODDS = 12.0
LEAST_CELLS = 4
LEAST_SHARE = 0.7
"""A run is asked about from these on: its odds together, cells that tell, and the share of them that speak for it."""

DOUBTED, OF = 3, 6
"""So many doubtful readings among neighbours that tell: only then are labels compared, which takes time."""


@dataclass(frozen=True)
class Run:
    """Cells of one page that hold what the next one asks for."""

    way: str
    """One of `WAYS`."""

    first_row: int
    last_row: int | None
    """None: to the page's end."""

    labels: Mapping[CellPlace, str]
    """By cell: the character that stands in it, where another was asked for."""

    odds: float

    @property
    def words(self) -> str:
        """Where it is, in words: 'to the right from row 4 on'."""
        if self.last_row is None:
            return f"{self.way} from row {self.first_row} on"
        if self.first_row == self.last_row:
            return f"{self.way} in row {self.first_row}"
        return f"{self.way} in rows {self.first_row} to {self.last_row}"

    def finding(self, place: CellPlace) -> Finding:
        """Return what marks a cell of the run; `suggested` reads it again."""
        return Finding(ONE_OFF, detail=f"rather {self.labels[place]}, {self.words}")


def suggested(attempt: Attempt) -> tuple[str, str] | None:
    """Return the character that a marked attempt rather is, and the run's words; None where it is not marked."""
    for finding in attempt.findings:
        if finding.kind == ONE_OFF:
            char, _, words = finding.detail.removeprefix("rather ").rpartition(", ")
            return (char, words) if char else None
    return None


def sources(cells: Sequence[Cell], labels: Mapping[CellPlace, str]) -> Iterator[tuple[str, dict[CellPlace, str]]]:
    """Yield for each way in which a page may be filled what then stands in each cell.

    Rows have cells of their own widths: which one is below another, its place along the row tells, or its middle.
    """
    order = [(c.row, c.column) for c in cells]
    middle = {(c.row, c.column): c.box_mm[0] + c.box_mm[2] / 2 for c in cells}
    rows: dict[int, list[CellPlace]] = {}
    for place in order:
        rows.setdefault(place[0], []).append(place)
    yield WAYS[0], {place: labels[before] for before, place in pairwise(order)}
    yield WAYS[1], {place: labels[after] for place, after in pairwise(order)}
    for way, step in ((WAYS[2], -1), (WAYS[3], 1)):
        pairs = [(place, rows.get(place[0] + step, [])) for place in order]
        yield way, {place: labels[other[place[1] - 1]] for place, other in pairs if len(other) >= place[1]}
        yield (
            way,
            {
                place: labels[min(other, key=lambda o: abs(middle[o] - middle[place]))]
                for place, other in pairs
                if other
            },
        )


def is_suspect(cells: Sequence[Cell], labels: Mapping[CellPlace, str], doubtful: Mapping[CellPlace, bool]) -> bool:
    """Return whether the labels of a page's cells are to be compared with their neighbours'.

    `doubtful` says of the cells with writing whether their reading is in doubt.
    """
    for _, there in sources(cells, labels):
        telling = [doubtful[place] for place, char in there.items() if char != labels[place] and place in doubtful]
        if any(sum(telling[i : i + OF]) >= DOUBTED for i in range(max(1, len(telling) - OF + 1))):
            return True
    return False


def is_borne_out(
    cells: Sequence[Cell],
    labels: Mapping[CellPlace, str],
    costs: Mapping[CellPlace, Mapping[str, float]],
    *,
    least: int = LEAST_CELLS,
) -> bool:
    """Return whether so many cells, by default as many as a run needs, suit the label of the neighbour on one side."""
    return any(
        sum(costs[place].get(char, np.nan) < costs[place][labels[place]] - EACH for place, char in there.items()
            if place in costs) >= least
        for _, there in sources(cells, labels)
    )  # fmt: skip


def labels_to_try(cells: Sequence[Cell], labels: Mapping[CellPlace, str]) -> dict[CellPlace, list[str]]:
    """Return for each cell its own label and those that may stand there instead."""
    out = {place: [char] for place, char in labels.items()}
    for _, there in sources(cells, labels):
        for place, char in there.items():
            if char not in out[place]:
                out[place].append(char)
    return out


def find_run(
    cells: Sequence[Cell], labels: Mapping[CellPlace, str], costs: Mapping[CellPlace, Mapping[str, float]]
) -> Run | None:
    """Return the run of cells that hold what a neighbour asks for; None where there is none.

    Parameters
    ----------
    cells
        Of one page, in their order.
    labels
        What is asked for in each.
    costs
        For the cells with writing: what each label to try costs, in log odds (`skeleton.label_costs`); nan: unknown.
    """
    found = [run for way, there in sources(cells, labels) if (run := _best(way, there, cells, labels, costs))]
    return max(found, key=lambda run: run.odds, default=None)


def _best(
    way: str,
    there: Mapping[CellPlace, str],
    cells: Sequence[Cell],
    labels: Mapping[CellPlace, str],
    costs: Mapping[CellPlace, Mapping[str, float]],
) -> Run | None:
    """Return the run of neighbouring cells with the greatest odds."""
    telling: list[tuple[CellPlace, float]] = []
    for cell in cells:
        place = (cell.row, cell.column)
        char = there.get(place)
        if char is None or char == labels[place] or place not in costs:
            continue
        odds = costs[place][labels[place]] - costs[place][char]
        if np.isfinite(odds):
            telling.append((place, float(np.clip(odds, -MOST_ODDS, MOST_ODDS))))
    places = [place for place, _ in telling]
    empty = sorted({(c.row, c.column) for c in cells} - set(costs))
    starts = [_start_cost(i, places, empty) for i in range(len(places))]
    sums = np.concatenate([[0.0], np.cumsum([odds - EACH for _, odds in telling])])
    best, first, last = 0.0, 0, -1
    for i, j in combinations_with_replacement(range(len(telling)), 2):
        total = float(sums[j + 1] - sums[i]) - starts[i] - _end_cost(j, places)
        if total > best:
            best, first, last = total, i, j
    some = telling[first : last + 1]
    speaking = sum(odds > 0 for _, odds in some)
    if best < LEAST_ODDS or speaking < max(LEAST_CELLS, LEAST_SHARE * len(some)):
        return None
    start, end = some[0][0], some[-1][0]
    held = {
        place: char
        for place, char in there.items()
        if place in costs and char != labels[place] and start <= place <= end
    }
    ends = last == len(telling) - 1 or end[0] == max(cell.row for cell in cells)
    return Run(way, start[0], None if ends else end[0], held, best)


def _start_cost(i: int, places: Sequence[CellPlace], empty: Sequence[CellPlace]) -> float:
    """Return what it costs a run to begin at a place: nothing after a cell that was left empty, as the first one is."""
    before = places[i - 1] if i else (0, 0)
    if i == 0 or any(before < place < places[i] for place in empty):
        return 0.0
    return MID_ROW if before[0] == places[i][0] else ROW_BEGIN


def _end_cost(j: int, places: Sequence[CellPlace]) -> float:
    """Return what it costs a run to end at a place: nothing at the page's end."""
    if j + 1 == len(places):
        return 0.0
    return MID_ROW if places[j + 1][0] == places[j][0] else ROW_END
