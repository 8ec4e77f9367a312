"""The lighthouse museum's sample: a sheet filled in by a simulated writer, its scans, and the true strokes."""
