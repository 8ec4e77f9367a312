"""From strokes to a stroke font: variants, metrics, spacing, accents, and the font files."""
