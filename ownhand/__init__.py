"""ownhand: from a filled-in handwriting sheet to a personal stroke font, and text set in it, ready to plot."""

__version__ = "0.1.0"
