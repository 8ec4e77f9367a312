"""From ink to strokes: centre lines, graph, junctions, and what the pen did."""

from skeleton.attempt import Attempt
from skeleton.reading import Reading, read_character, trace
from skeleton.stroke import Stroke
from skeleton.together import read_together

__all__ = ["Attempt", "Reading", "Stroke", "read_character", "read_together", "trace"]
