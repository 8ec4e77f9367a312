"""The page that a phone gets: seen in a real browser of a phone's size, judged by axe-core as the others are."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from ownhand.workroom import phone
from tests.ownhand.on_page import PATIENCE_S, faults_of_accessibility, too_wide_by

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")


@pytest.fixture
def door(hand):
    opened = phone.open_door(hand, host="127.0.0.1")
    yield opened
    opened.close()


@pytest.fixture
def handheld(browser):
    made = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True, bypass_csp=True)
    made.set_default_timeout(PATIENCE_S * 1000)
    yield made
    made.close()


def test_a_phone_sends_a_photograph_and_is_told_what_became_of_it(handheld, door, hand, tmp_path):
    out = io.BytesIO()
    Image.fromarray(np.full((40, 30), 255, np.uint8)).save(out, "JPEG")
    (tmp_path / "sheet.jpg").write_bytes(out.getvalue())
    (tmp_path / "note.txt").write_text("no picture")
    page = handheld.new_page()
    page.goto(door.address)
    before = faults_of_accessibility(page)
    page.get_by_label("Take or choose photographs").set_input_files([tmp_path / "sheet.jpg", tmp_path / "note.txt"])
    page.get_by_text("sheet.jpg: arrived").wait_for()
    page.get_by_text("is not a PNG, JPEG").wait_for()
    wide = too_wide_by(page)

    assert before == faults_of_accessibility(page) == []
    assert wide <= 0
    assert [p.name for p in (hand.path / "waiting").iterdir()] == ["sheet.jpg"]


def test_what_is_shown_to_whoever_comes_second_is_a_page_that_says_why(handheld, browser, door):
    handheld.new_page().goto(door.address)
    second = browser.new_context(bypass_csp=True)
    page = second.new_page()
    page.goto(door.address)
    said, faults = page.locator("body").text_content(), faults_of_accessibility(page)
    second.close()

    assert "used already" in said
    assert faults == []
