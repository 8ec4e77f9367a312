"""A small hand whose font is built, to set pages in; and a way to tell what a test counted."""

from __future__ import annotations

import shutil
import sys

import pytest

from ownhand.commands.build import build
from ownhand.hands.hand import open_hand
from tests.ownhand.stand_in import write_hand


@pytest.fixture(scope="session")
def built_once(tmp_path_factory):
    """Two attempts each at eight letters, without a fault, and their font."""
    hand = write_hand(tmp_path_factory.mktemp("room") / "lamp", "aehinstu", attempts=2, faults=False)
    build(hand.path)
    return hand.path


@pytest.fixture
def hand(built_once, tmp_path):
    """A copy of its own, in a folder of hands."""
    shutil.copytree(built_once, tmp_path / "hands" / "lamp")
    return open_hand(tmp_path / "hands" / "lamp")


@pytest.fixture
def say(capsys, record_property):
    """Print a line that is seen although the test passes, and keep it with the test's result."""

    def tell(words: str) -> None:
        record_property("counted", words)
        with capsys.disabled():
            sys.stdout.write(f"\n{words}\n")

    return tell
