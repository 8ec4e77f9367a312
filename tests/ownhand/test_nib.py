"""A nib that may only be pulled."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from ownhand.composer.formats import page_bytes
from ownhand.composer.formats.png import picture
from ownhand.composer.plot.machine import Machine, machine_from
from ownhand.composer.plot.nib import SHORTEST_MM, pulled
from ownhand.composer.plot.plot_page import PlotPage, flatten
from tests.ownhand.composing import LETTER, composer


def page() -> PlotPage:
    return composer().compose(LETTER[:150], seed=3).pages[0]


def longest_push_mm(of: PlotPage, toward_deg: float) -> float:
    """Return how far the nib is pushed at a stretch, against the direction, at most."""
    toward = np.array([np.cos(np.radians(toward_deg)), np.sin(np.radians(toward_deg))])
    points, starts = flatten(of.points_mm, of.starts, within_mm=0.002)
    longest = 0.0
    for a, b in pairwise(starts.tolist()):
        pushed = 0.0
        for step in np.diff(points[a:b], axis=0) @ toward:
            pushed = pushed - float(step) if step < 0 else 0.0
            longest = max(longest, pushed)
    return longest


@pytest.mark.parametrize("toward", [60.0, 90.0, 0.0, -150.0])
def test_no_path_pushes_the_nib_farther_than_a_hairs_breadth(toward: float) -> None:
    before, after = (longest_push_mm(p, toward) for p in (page(), pulled(page(), toward)))

    assert before > 1.0
    assert after < SHORTEST_MM


def test_the_same_ink_is_left() -> None:
    done = pulled(page(), 60.0)
    one, other = picture(page(), dpi=100), picture(done, dpi=100)
    length = [float(np.hypot(*np.diff(flatten(p.points_mm, p.starts)[0], axis=0).T).sum()) for p in (page(), done)]

    assert np.mean(np.abs(one.astype(int) - other) > 60) < 2e-4
    assert len(done) > len(page())
    assert length[1] > 0
    assert set(done.chars) == set(page().chars)


def test_a_profile_asks_for_it_and_every_format_heeds_it() -> None:
    machine = machine_from({"bed_mm": [300, 300], "pulled_deg": 60})
    plain = replace(machine, pulled_deg=None)

    for kind in ("svg", "hpgl", "gcode"):
        assert page_bytes(page(), kind, machine) != page_bytes(page(), kind, plain)
    assert page_bytes(page(), "svg", plain) == page_bytes(page(), "svg", Machine(bed_mm=(300, 300)))
