"""Ink to a graph of centre lines: medial axis, spurs, endpoints, junctions."""
