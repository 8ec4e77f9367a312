"""From ink to strokes: centre lines, graph, junctions, and what the pen did.

The functions are imported when they are first asked for: the tracer's compiled loops take a second to load, and most
commands need the values only.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from skeleton.attempt import Attempt
from skeleton.geometry.stroke import Stroke
from skeleton.result import Reading

if TYPE_CHECKING:
    from skeleton.api import read_character, trace
    from skeleton.graph.centre_line_graph import centre_line_graph
    from skeleton.joint_reading import read_together
    from skeleton.words import read_line, read_word

__all__ = [
    "Attempt",
    "Reading",
    "Stroke",
    "centre_line_graph",
    "read_character",
    "read_line",
    "read_together",
    "read_word",
    "trace",
]

_LOADED_LATER = {
    "centre_line_graph": "skeleton.graph.centre_line_graph",
    "read_character": "skeleton.api",
    "trace": "skeleton.api",
    "read_together": "skeleton.joint_reading",
    "read_line": "skeleton.words",
    "read_word": "skeleton.words",
}


def __getattr__(name: str) -> Any:
    if name not in _LOADED_LATER:
        raise AttributeError(f"module 'skeleton' has no attribute {name!r}")
    return getattr(import_module(_LOADED_LATER[name]), name)
