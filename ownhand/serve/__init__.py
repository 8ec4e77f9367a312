"""The back end: text and settings in by HTTP, ready-to-plot pages out."""
