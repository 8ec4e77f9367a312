"""Changes to an attempt's strokes, and carrying them over to other attempts."""
