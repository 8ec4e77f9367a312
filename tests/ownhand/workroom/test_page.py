"""The workroom in a real browser: every view for everybody, a page set at once, what is missing named in its place."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest

from ownhand.hands.hand import open_or_create
from ownhand.workroom.server import start
from tests.ownhand.on_page import (
    PATIENCE_S,
    draw,
    faults_of_accessibility,
    middle_of,
    ready,
    tab,
    too_wide_by,
    turn_to,
    until,
)
from tests.ownhand.slow_answers import HOLD, Slow

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")

VIEWS = ["hand", "sheet", "reading", "page", "files"]
TEXT = "a tune in a tin\nnine hats, one zoo"


def set_text(page, text=TEXT) -> None:
    page.locator(".page-text").first.fill(text)
    settled(page)


def settled(page) -> None:
    page.wait_for_selector("#paper[aria-busy=false] > img")


@pytest.fixture
def desk(context, served, faults):
    page = tab(context, served.url, faults, "#page")
    set_text(page)
    return page


def boxes(page) -> Any:
    return page.evaluate("fetch('api/desk').then((a) => a.json()).then((d) => d.draft.layout.boxes)")


@pytest.mark.parametrize(
    ("width", "forced", "scheme"),
    [(1400, "none", "light"), (390, "none", "dark"), (640, "active", "light"), (2560, "none", "dark")],
)
def test_no_view_has_a_fault_of_accessibility_or_scrolls_sideways(browser, served, faults, width, forced, scheme):
    """640 px is 1280 at a zoom of 200 %."""
    context = browser.new_context(
        viewport={"width": width, "height": 844},
        bypass_csp=True,
        forced_colors=forced,
        color_scheme=scheme,
        reduced_motion="reduce",
    )
    context.set_default_timeout(PATIENCE_S * 1000)
    page = tab(context, served.url, faults, "../../")
    assert (faults_of_accessibility(page), max(too_wide_by(page), 0)) == ([], 0), "the hands"
    page.close()
    page = tab(context, served.url, faults, f"#{VIEWS[0]}")
    for view in VIEWS:
        turn_to(page, view)
        if view == "page":
            set_text(page)
            page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true })")
            page.get_by_role("button", name="Divide the page").click()
            page.get_by_role("button", name="Write a line along a curve").click()
            page.get_by_label("Put several on one sheet").check()
            page.get_by_label("Set the files for my plotter").check()
            settled(page)
            page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true })")
        if view == "sheet":
            page.locator("img.print").wait_for()
        ready(page)
        assert (faults_of_accessibility(page), max(too_wide_by(page), 0)) == ([], 0), view
    context.close()


def test_letters_of_a_script_from_the_right_are_listed_from_the_left_each_with_its_count(desk):
    set_text(desk, "a tune שלוםש")
    listed = desk.locator("strong bdi")
    listed.first.wait_for()
    boxes_of = [listed.nth(k).bounding_box() for k in range(listed.count())]

    assert listed.first.locator("..").inner_text() == "ש (2), ו (1), ל (1), ם (1)"
    assert [b["x"] for b in boxes_of] == sorted(b["x"] for b in boxes_of)
    assert len({b["y"] for b in boxes_of}) == 1


def test_what_the_hand_lacks_is_named_at_its_place_in_the_text(desk):
    marked = desk.locator(".marks mark").all_text_contents()
    desk.get_by_role("button", name="z in “zoo”, line 2").click()
    chosen = desk.evaluate(
        "(() => { const a = document.activeElement; return a.value.slice(a.selectionStart, a.selectionEnd) })()"
    )

    assert marked == [",", "o", "z", "o", "o"]
    assert chosen == "z"


def test_boxes_are_moved_and_resized_by_pointer_keys_and_numbers(desk):
    desk.locator("summary", has_text="Boxes").click()
    desk.get_by_role("button", name="Divide the page into two boxes").click()
    settled(desk)
    paper = desk.locator("#paper").bounding_box()
    per_mm = paper["width"] / 148
    x, y = middle_of(desk.locator("[data-box=address]"))
    draw(desk, [(x, y), (x - 4 * per_mm, y - 5 * per_mm), (x - 8 * per_mm, y - 10 * per_mm)])
    settled(desk)
    message, address = boxes(desk)
    corner = desk.locator("[data-box=address] .box-corner")
    x, y = middle_of(corner)
    draw(desk, [(x, y), (x - 3 * per_mm, y - 2 * per_mm), (x - 6 * per_mm, y - 4 * per_mm)])
    until(lambda: boxes(desk)[1]["width_mm"] == pytest.approx(address["width_mm"] - 6, abs=0.6))
    desk.locator("[data-box=message]").focus()
    desk.keyboard.press("Shift+ArrowLeft")
    until(lambda: boxes(desk)[0]["width_mm"] == message["width_mm"] - 1)
    desk.keyboard.press("ArrowDown")
    desk.get_by_label("Height, mm").fill("40")
    desk.keyboard.press("Tab")
    until(lambda: boxes(desk)[0]["height_mm"] == 40)

    assert boxes(desk)[0]["y_mm"] == message["y_mm"] + 1 or boxes(desk)[0]["y_mm"] == message["y_mm"]
    assert address["x_mm"] < 148 - 9 - address["width_mm"]


def test_a_frame_stands_around_its_box_and_its_corner_hides_no_writing(desk):
    desk.locator("summary", has_text="Boxes").click()
    desk.get_by_role("button", name="Divide the page into two boxes").click()
    settled(desk)
    framed = desk.evaluate(
        """() => {
          const paper = document.querySelector('#paper > img').getBoundingClientRect();
          return [...document.querySelectorAll('.box')].map((el) => {
            const outer = el.getBoundingClientRect();
            const k = 148 / paper.width;
            return [(outer.left + el.clientLeft - paper.left) * k, (outer.top + el.clientTop - paper.top) * k,
              (outer.width - 2 * el.clientLeft) * k, (outer.height - 2 * el.clientTop) * k];
          });
        }"""
    )
    looks = desk.locator(".box-corner").evaluate_all(
        "all => all.map((el) => getComputedStyle(el)).map((s) => [s.backgroundColor, s.backgroundImage])"
    )

    wanted = [[b[k] for k in ("x_mm", "y_mm", "width_mm", "height_mm")] for b in boxes(desk)]
    np.testing.assert_allclose(framed, wanted, atol=0.05)
    assert looks == [["rgba(0, 0, 0, 0)", "none"]] * 2


def test_another_draw_comes_with_one_key_and_the_page_as_it_was_left_the_next_time(desk, context, served, faults):
    first = desk.locator("#paper > img").get_attribute("src")
    desk.evaluate("document.activeElement.blur()")
    desk.keyboard.press("g")
    until(lambda: desk.locator("#paper > img").get_attribute("src") != first)
    settled(desk)
    desk.close()
    again = tab(context, served.url, faults, "#page")
    settled(again)

    assert again.locator(".page-text").first.input_value() == TEXT
    assert again.get_by_text("seed 1").is_visible()


def test_the_replay_runs_as_long_as_the_page_takes_and_rests_where_less_motion_is_wanted(browser, served, faults):
    context = browser.new_context(reduced_motion="reduce")
    page = tab(context, served.url, faults, "#page")
    set_text(page)
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("p")
    page.get_by_role("button", name="Next line").wait_for()
    time = page.locator(".replay-row output").text_content()
    page.get_by_role("button", name="Next line").click()
    one = page.locator(".replay-row output").text_content()
    page.get_by_role("button", name="Close").click()

    assert time.split(" of ")[0] == time.split(" of ")[1], "the page stands there written"
    assert one != time
    assert page.locator(".replay-canvas").count() == 0
    context.close()


def test_letters_mended_make_the_font_stale_and_one_press_brings_it_up_to_date(context, served, hand, faults):
    page = tab(context, served.url, faults, "#letter/a")
    page.locator(".desk-picture .hit").first.wait_for()
    page.keyboard.press("r")
    page.get_by_text("Letters were mended or set aside since the font was built").wait_for()
    page.get_by_role("button", name="Bring it up to date").click()
    page.get_by_text("The font is built").wait_for()

    page.locator("#news").wait_for(state="hidden")


def test_without_a_server_a_view_says_so_and_offers_to_try_again(context, hand, faults):
    running = start(hand.path)
    page = tab(context, running.url, faults, allow="Failed to load")
    running.stop()
    page.get_by_role("link", name="Languages").click()
    page.get_by_role("button", name="Try again").wait_for()

    assert page.get_by_text("The server does not answer").first.is_visible()


def test_who_comes_back_to_the_reading_is_led_on_to_the_letters(context, served, faults):
    page = tab(context, served.url, faults, "#reading")

    page.get_by_role("link", name="Look through the letters").click()
    page.locator('[data-part="letters"][aria-current=page]').wait_for()


def test_a_hand_without_letters_leads_to_the_scans_and_says_it_once(context, faults, tmp_path):
    hand = open_or_create(tmp_path / "new", year=2026, consent="my own hand")
    running = start(hand.path)
    page = tab(context, running.url, faults)

    for part in ("languages", "text"):
        turn_to(page, part)
        page.get_by_text("Read a filled-in sheet first.").wait_for()
        assert page.get_by_text("Read a filled-in sheet first.").count() == 1
        assert page.locator("main").get_by_role("link", name="To the scans").get_attribute("href") == "#reading"
    running.stop()


def test_scans_that_cannot_be_read_are_told_of_above_and_in_their_place_and_what_is_told_goes_with_its_part(
    context, served, faults, tmp_path
):
    blank = tmp_path / "blank.png"
    cv2.imwrite(str(blank), np.full((1200, 900), 250, np.uint8))
    (tmp_path / "notes.txt").write_text("no scan")
    page = tab(context, served.url, faults, "#reading")
    page.locator("input[type=file]").first.set_input_files([blank])
    page.locator("#news [role=alert]").get_by_text("no marks of a sheet").wait_for()

    assert page.get_by_text("no marks of a sheet").count() == 2

    page.locator("input[type=file]").first.set_input_files([tmp_path / "notes.txt"])
    page.locator("#warned").get_by_text("notes.txt").wait_for()
    turn_to(page, "sheet")
    assert page.locator("#warned").text_content() == ""


def test_handwriting_is_seen_in_forced_colours(browser, served, faults):
    """Dark pixels on light ones: the ink keeps its own colours on its own paper."""
    import io

    import numpy as np
    from PIL import Image

    context = browser.new_context(forced_colors="active", color_scheme="dark")
    page = tab(context, served.url, faults, "#letters")
    picture = page.locator(".ruled").first.screenshot()
    grey = np.asarray(Image.open(io.BytesIO(picture)).convert("L"))

    assert np.median(grey) > 200
    assert (grey < 90).sum() > 50
    context.close()


def test_the_page_says_in_which_encoding_a_table_was_read(desk, tmp_path):
    (tmp_path / "guests.csv").write_bytes("name;town\nJürgen Weiß;x\nOrla;y\n".encode("cp1252"))

    desk.locator("summary", has_text="A card for each row of a table").click()
    desk.get_by_label("Drop a table").set_input_files(tmp_path / "guests.csv")

    desk.get_by_text("guests.csv: read as cp1252: Jürgen Weiß, Orla.").wait_for()


def test_while_the_first_page_is_set_nobody_is_told_that_there_is_nothing_to_write(context, served, faults):
    context.add_init_script(HOLD)
    page = tab(context, served.url, faults, "#page")
    page.get_by_text("there is nothing to write yet").wait_for()
    slow = Slow(page)
    slow.hold("api/page")
    page.locator(".page-text").first.fill(TEXT)
    slow.held()

    page.get_by_text("Setting the page").wait_for()
    assert page.get_by_text("there is nothing to write yet").count() == 0
    slow.let_go()
    settled(page)
    assert page.get_by_text("Setting the page").count() == 0


def test_a_wrong_address_shows_a_page_without_a_fault_of_accessibility(browser, served):

    context = browser.new_context(viewport={"width": 390, "height": 844}, bypass_csp=True)
    page = context.new_page()
    root, room = served.url.partition("/hand/")[0], served.url
    for address in (f"{room}nothing", f"{root}/hand/nobody/", f"{root}wrong/"):
        page.goto(address)
        assert page.get_by_role("heading").count() == 1, address
        assert faults_of_accessibility(page) == [], address
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    context.close()
