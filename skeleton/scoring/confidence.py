"""How likely a reading is right: a calibrated probability.

Logistic regression (Cox 1958) on what is known of the choice and of the strokes drawn again, fitted so that among
readings of a confidence that share of them are right in paths, order and direction.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from skeleton.fitted_values import load_fitted_values

LOG_ODDS = load_fitted_values(Path(__file__).with_name("confidence_log_odds.json"))

LARGEST_WRONG_SHARE = 0.08
"""Share of the ink that may be left bare, or added, before a reading counts as unlike the ink."""

DOUBTFUL_CONFIDENCE = 0.5
"""Confidence that a reading unlike the ink, or of an unknown shape, does not exceed."""

_LEAST, _MOST = 0.01, 0.998
"""Bounds of a confidence: no reading is ruled out or certain."""
_MOST_SURPRISE, _MOST_STROKES, _MOST_UNLIKE = 6.0, 5, 2.5
"""Bounds of features, set by hand: beyond these they tell no more."""


@dataclass(frozen=True)
class Judged:
    """What is known of a reading that may be wrong."""

    share: float
    """0..1: its share of the odds among it and the readings that are not the same."""

    alike: float
    """0..1: how alike it is to all readings, weighed by their odds."""

    surprise: float
    """Surprise at its rough shape, -log likelihood."""

    wrong_share: float
    """Ink that its strokes leave bare or add, as a share of the ink."""

    strokes: int
    unknown_shape: bool
    """Whether its rough shape is none in which the character is known to be written: it may as well be another one."""

    followed_form: bool
    """Whether it follows a form of the character, not the general rules alone."""


def told(of: Judged) -> dict[str, float]:
    """Return what the probability is made of, by the names of the fitted log odds."""
    return {
        "constant": 1.0,
        "share": _logit(of.share),
        "alike": _logit(of.alike),
        "surprise": min(max(of.surprise, 0.0), _MOST_SURPRISE),
        "unlike the ink": min(5.0 * of.wrong_share, _MOST_UNLIKE),
        "strokes": float(min(of.strokes, _MOST_STROKES)) if of.followed_form else 0.0,
        "unnamed": 0.0 if of.followed_form else 1.0,
    }


def confidence(of: Judged) -> float:
    """Return the probability that a reading is right in paths, order and direction, 0..1."""
    features = told(of)
    total = sum(features[name] * weight for name, (weight,) in LOG_ODDS.values.items())
    sure = 1 / (1 + math.exp(-total))
    doubtful = of.wrong_share > LARGEST_WRONG_SHARE or of.unknown_shape
    return min(sure, DOUBTFUL_CONFIDENCE) if doubtful else sure


def _logit(share: float) -> float:
    """Return the log odds of a share, kept within what was seen when the weights were fitted."""
    p = min(max(share, _LEAST), _MOST)
    return math.log(p / (1 - p))
