"""From ink to strokes: centre lines, graph, junctions, and what the pen did."""
