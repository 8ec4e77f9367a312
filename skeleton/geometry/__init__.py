"""Polylines and small numbers: lengths, resampling, medians, how loops are compiled, and the `Stroke`."""
