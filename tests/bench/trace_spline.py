"""A line through points that were sampled in time: the centripetal Catmull-Rom spline.

Catmull & Rom 1974 with the recursion of Barry & Goldman 1988; with the centripetal parameter it makes no cusps or loops
of its own between two points (Yuksel, Schaefer & Keyser 2011).
"""

from __future__ import annotations

import numpy as np

from capture.units import Points


def spline(points: Points, step: float) -> Points:
    """Return a smooth line through all points, no two of its points further than about `step` apart.

    points: shape (n, 2); points that follow each other at one place count once. Fewer than three are returned as they
    are.
    """
    p = np.asarray(points, float)
    p = p[np.concatenate([[True], np.hypot(*np.diff(p, axis=0).T) > 1e-9])]
    if len(p) < 3:
        return p
    q = np.concatenate([[2 * p[0] - p[1]], p, [2 * p[-1] - p[-2]]])
    knots = np.concatenate([[0.0], np.cumsum(np.sqrt(np.hypot(*np.diff(q, axis=0).T)))])
    out = []
    for i in range(1, len(q) - 2):
        t0, t1, t2, t3 = knots[i - 1 : i + 3]
        n = max(2, int(np.ceil(np.hypot(*(q[i + 1] - q[i])) / step)) + 1)
        t = np.linspace(t1, t2, n)[:-1, None]
        a1 = ((t1 - t) * q[i - 1] + (t - t0) * q[i]) / (t1 - t0)
        a2 = ((t2 - t) * q[i] + (t - t1) * q[i + 1]) / (t2 - t1)
        a3 = ((t3 - t) * q[i + 1] + (t - t2) * q[i + 2]) / (t3 - t2)
        b1 = ((t2 - t) * a1 + (t - t0) * a2) / (t2 - t0)
        b2 = ((t3 - t) * a2 + (t - t1) * a3) / (t3 - t1)
        out.append(((t2 - t) * b1 + (t - t1) * b2) / (t2 - t1))
    return np.concatenate([*out, p[-1:]])
