"""A hand that was read already, the server for its letters, and a real browser to look at them."""

from __future__ import annotations

import shutil

import pytest

from ownhand.hands.hand import open_hand
from ownhand.workroom.server import start
from tests.conftest import program
from tests.ownhand.on_page import PATIENCE_S, tab
from tests.ownhand.stand_in import write_hand

QUIET = "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking"
QUIET += " --disable-component-update --disable-sync"


@pytest.fixture(scope="module")
def written(request, tmp_path_factory):
    """Three attempts each at the characters that the module names, or at these."""
    chars = getattr(request.module, "CHARACTERS", "aentu")
    return write_hand(tmp_path_factory.mktemp("written") / "hand", chars, attempts=3)


@pytest.fixture
def hand(written, tmp_path):
    """A copy of its own, to be decided upon."""
    shutil.copytree(written.path, tmp_path / "hand")
    return open_hand(tmp_path / "hand")


@pytest.fixture
def served(hand):
    running = start(hand.path)
    yield running
    running.stop()


@pytest.fixture(scope="module")
def browser():
    path = program("chromium")
    if path is None:
        pytest.fail("no browser is installed (Debian: apt-get install chromium-headless-shell)")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        pytest.fail("playwright is not installed (pip install 'ownhand[test]')")
    with sync_playwright() as p:
        running = p.chromium.launch(executable_path=path, args=QUIET.split())
        yield running
        running.close()


@pytest.fixture
def context(browser):
    made = browser.new_context(viewport={"width": 1280, "height": 720}, has_touch=True)
    made.set_default_timeout(PATIENCE_S * 1000)
    yield made
    made.close()


@pytest.fixture
def faults():
    """Collect what the page complains of; nothing may."""
    found: list[str] = []
    yield found
    assert found == []


@pytest.fixture
def page(context, served, faults):
    return tab(context, served.url, faults)
