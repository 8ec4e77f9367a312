"""What ink that no hand writes can drive the tracer to; anything else is a fault of the program or of where it runs."""

from __future__ import annotations

import cv2

DEFEATED = (ArithmeticError, LookupError, ValueError, cv2.error)
"""Errors after which only the one image counts as not traced."""
