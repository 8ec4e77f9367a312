"""Which things hang together: connected components of a small graph."""

from __future__ import annotations

from collections.abc import Iterable

import networkx as nx
import numpy as np
from numpy.typing import NDArray


def connected_parts(count: int, pairs: Iterable[tuple[int, int]]) -> NDArray[np.int64]:
    """Return the number of the connected part that each of `count` things is in, shape (count,).

    Parts are numbered from 0 by their first members. pairs: numbers of things that are connected.

    Examples
    --------
    >>> connected_parts(5, [(3, 1), (4, 3)])
    array([0, 1, 2, 1, 1])
    """
    graph = nx.Graph()
    graph.add_nodes_from(range(count))
    graph.add_edges_from(pairs)
    out = np.zeros(count, np.int64)
    for number, part in enumerate(nx.connected_components(graph)):
        out[list(part)] = number
    return out
