from __future__ import annotations

import gc
from concurrent.futures import ProcessPoolExecutor

import pytest

from capture.collector import OBJECTS, rarely_collected


def test_the_collector_looks_rarely_here_and_in_processes_begun_meanwhile_and_as_before_afterwards():
    before = gc.get_threshold()
    with rarely_collected():
        assert gc.get_threshold()[0] == OBJECTS
        with ProcessPoolExecutor(1) as pool:
            assert pool.submit(gc.get_threshold).result()[0] == OBJECTS
    assert gc.get_threshold() == before


def test_it_is_as_before_after_a_fault():
    before = gc.get_threshold()
    with pytest.raises(ZeroDivisionError), rarely_collected():
        1 / 0  # noqa: B018
    assert gc.get_threshold() == before
