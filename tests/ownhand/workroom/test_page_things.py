"""What stands on a page beside its text, in a real browser: drawings, curves, further hands, sheets of cards."""

from __future__ import annotations

import shutil

import pytest
from svgelements import Path as SvgPath

from ownhand.hands.hand import change_record
from tests.ownhand.on_page import PATIENCE_S, draw, middle_of, tab, until

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")

TEXT = "a tune in a tin"
TOWER = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 40"><path d="M0 40L5 0H15L20 40Z"/></svg>'


def settled(page) -> None:
    page.wait_for_selector("#paper[aria-busy=false] > img")


def layout(page):
    return page.evaluate("fetch('api/desk').then((a) => a.json()).then((d) => d.draft.layout)")


@pytest.fixture
def desk(context, hand, served, faults):
    other = hand.path.parent / "guest"
    shutil.copytree(hand.path, other)
    (other / "font" / "Lamp Room.ufo").rename(other / "font" / "Guest.ufo")
    change_record(other, {"family": "Guest"})
    page = tab(context, served.url, faults, "#page")
    page.locator(".page-text").first.fill(TEXT)
    settled(page)
    return page


def per_mm(page) -> float:
    return page.locator("#paper").bounding_box()["width"] / 148


def test_a_drawing_is_dropped_moved_resized_and_taken_away(desk, tmp_path):
    (tmp_path / "tower.svg").write_text(TOWER)
    desk.locator("summary", has_text="Drawings").click()
    desk.locator("#drawing").set_input_files(tmp_path / "tower.svg")
    frame = desk.locator("#paper .drawing")
    frame.wait_for()
    until(lambda: layout(desk)["drawings"][0]["file"] == "tower.svg")
    first = layout(desk)["drawings"][0]
    x, y = middle_of(frame)
    mm = per_mm(desk)
    draw(desk, [(x, y), (x - 5 * mm, y - 5 * mm), (x - 10 * mm, y - 20 * mm)])
    until(lambda: layout(desk)["drawings"][0]["x_mm"] == pytest.approx(first["x_mm"] - 10, abs=0.6))
    settled(desk)
    frame.focus()
    desk.keyboard.press("Shift+ArrowLeft")
    until(lambda: layout(desk)["drawings"][0]["width_mm"] == first["width_mm"] - 1)
    settled(desk)
    wide, high = desk.locator("#paper .drawing").evaluate(
        """(el) => {
          const outer = el.getBoundingClientRect();
          return [outer.width - 2 * el.clientLeft, outer.height - 2 * el.clientTop];
        }"""
    )
    desk.get_by_role("button", name="Take tower.svg away").click()
    until(lambda: "drawings" not in layout(desk))

    assert high / wide == pytest.approx(2, abs=0.02), "within its frame"
    assert wide / mm == pytest.approx(first["width_mm"] - 1, abs=0.3)


def test_a_line_is_written_along_an_arc_whose_points_are_moved_by_pointer_keys_and_numbers(desk):
    desk.locator("summary", has_text="Writing along a curve").click()
    desk.get_by_role("button", name="Write a line along a curve").click()
    desk.get_by_label("Text of curve 1").fill("hats")
    settled(desk)
    before = desk.evaluate("document.querySelector('.curve-line').getAttribute('d')")
    x, y = middle_of(desk.locator(".curve-point.passes"))
    mm = per_mm(desk)
    draw(desk, [(x, y), (x, y + 2 * mm), (x, y + 5 * mm)])
    until(lambda: layout(desk)["curves"][0]["path"] != before)
    settled(desk)
    desk.locator(".curve-point.begins").focus()
    desk.keyboard.press("ArrowDown")
    until(lambda: layout(desk)["curves"][0]["path"].startswith("M 22 48"))
    desk.get_by_role("group", name="It ends").get_by_label("From the left, mm").fill("120")
    desk.keyboard.press("Tab")
    until(lambda: layout(desk)["curves"][0]["path"].split()[-2] == "120")
    settled(desk)

    assert desk.locator("#page-notices").text_content() == ""


@pytest.mark.parametrize(
    "path",
    ["M 20 52 A 62 62 0 0 1 128 52", "M 13 25.4 A 24 24 0 1 0 57 25.4", "M 10 80 A 40 40 0 0 0 60 70", "M 5 5 L 90 40"],
)
def test_an_arc_is_told_by_three_points_and_these_give_it_again(desk, path):
    """Against svgelements, which knows SVG 1.1's arcs: the middle point lies half way, and the path is the same one."""
    points, again = desk.evaluate(
        """async (path) => {
          const m = await import('../../static/page/curves.js');
          return [m.pointsOf(path), m.pathOf(m.pointsOf(path))];
        }""",
        path,
    )
    given, back = SvgPath(path), SvgPath(again)

    for share, point in zip((0.0, 0.5, 1.0), points, strict=True):
        assert point == pytest.approx([given.point(share).x, given.point(share).y], abs=0.02)
    for share in (0.1, 0.3, 0.7):
        there, here = given.point(share), back.point(share)
        assert (here.x, here.y) == pytest.approx((there.x, there.y), abs=0.05)


def test_a_box_is_given_to_another_hand(desk):
    desk.locator("summary", has_text="Boxes").click()
    desk.get_by_role("button", name="Divide the page into two boxes").click()
    desk.get_by_label("Text of address").fill("tina")
    desk.get_by_role("button", name="address", exact=True).click()
    desk.locator("[data-act=field-hand]").select_option("Guest")
    settled(desk)
    until(lambda: layout(desk)["boxes"][1].get("hand") == "guest")

    assert desk.locator("#page-notices").text_content() == ""
    assert desk.locator("[data-act=field-hand] option").all_text_contents() == ["this hand", "Guest"]


def test_a_paragraph_is_set_to_the_right_and_in_another_hand_where_the_cursor_stands(desk):
    area = desk.locator(".page-text").first
    area.fill("a tune\nin a tin\nat a site")
    area.evaluate("el => el.setSelectionRange(9, 9)")
    desk.get_by_text("The paragraph at the cursor").click()
    part = desk.locator(".text-field details")
    part.get_by_label("It stands").select_option("to the right")
    part.get_by_label("Hand").select_option("Guest")
    settled(desk)
    both = area.input_value()
    said = desk.locator("#page-notices").text_content()
    part.get_by_label("It stands").select_option("as the rest")
    part.get_by_label("Hand").select_option("this hand")

    assert both == "a tune\n~in guest ~right in a tin\nat a site"
    assert said == ""
    assert area.input_value() == "a tune\nin a tin\nat a site"


def test_a_sheet_of_which_nothing_is_chosen_yet_says_so_and_asks_for_nothing(browser, served, faults):
    # a private-use language (BCP 47, qaa): none of those that are known, so the page guesses none
    context = browser.new_context(locale="qaa")
    context.set_default_timeout(PATIENCE_S * 1000)
    page = tab(context, served.url, faults, "#sheet", allow="nothing is allowed")
    page.get_by_text("Choose a language, or type a text to cover.").wait_for()
    page.wait_for_selector(".sheet-picture[aria-busy=false]")
    buttons = ("Page before", "Next page", "Save the PDF")
    locked = all(page.get_by_role("button", name=name).is_disabled() for name in buttons)
    page.get_by_label("Further characters").fill("tea")
    page.locator("img.print").wait_for()
    free = page.get_by_role("button", name="Save the PDF").is_enabled()
    context.close()

    assert locked and free


def test_of_hands_of_one_name_the_list_tells_the_folders(context, hand, served, faults):
    shutil.copytree(hand.path, hand.path.parent / "lamp-again")
    alike = tab(context, served.url, faults, "../../").locator(".hand-card .hint").all_inner_texts()
    change_record(hand.path.parent / "lamp-again", {"family": "Guest"})
    apart = tab(context, served.url, faults, "../../").locator(".hand-card .hint").all_inner_texts()

    assert [t for t in alike if t.startswith("In the folder")] == ["In the folder lamp", "In the folder lamp-again"]
    assert not any(t.startswith("In the folder") for t in apart)


def test_what_is_missing_is_asked_for_on_the_next_sheet(desk):
    desk.locator(".page-text").first.fill("a zoo")
    settled(desk)
    desk.get_by_role("link", name="Print a sheet with them").click()

    desk.get_by_label("Further characters").wait_for()
    assert sorted(desk.get_by_label("Further characters").input_value()) == ["o", "z"]


def test_several_cards_go_on_one_sheet_which_can_be_looked_at(desk):
    desk.locator("summary", has_text="Several on one sheet").click()
    desk.get_by_label("Put several on one sheet").check()
    desk.get_by_role("button", name="The whole sheet (2 on it)").click()
    settled(desk)
    whole = desk.locator("#paper").bounding_box()
    seen = desk.get_by_alt_text("The whole sheet as it will be plotted").is_visible()
    hidden = not desk.locator(".margin-line").is_visible()
    desk.get_by_role("button", name="Back to the one page").click()
    settled(desk)
    card = desk.locator("#paper").bounding_box()

    assert seen and hidden
    assert whole["width"] / whole["height"] == pytest.approx(210 / 297, abs=0.01)
    assert card["width"] / card["height"] == pytest.approx(148 / 105, abs=0.01)
    assert "1 page on 1 sheet of 210 × 297 mm" in desk.locator("#facts").text_content()


def test_all_cards_in_small_are_shown_large_enough_under_the_page_and_put_away(desk, tmp_path):
    (tmp_path / "guests.csv").write_text("name\ntina\nhans\nnina\n")
    desk.locator("summary", has_text="A card for each row").click()
    desk.locator("#table").set_input_files(tmp_path / "guests.csv")
    desk.get_by_text("Card 1 of 3").wait_for()
    desk.locator(".page-text").first.fill("{name}")
    settled(desk)
    desk.get_by_role("button", name="All of them in small").click()
    picture = desk.get_by_alt_text("All cards in small, picture 1 of 1")
    picture.wait_for()
    until(lambda: picture.evaluate("el => el.complete && el.naturalWidth > 0"))
    width, paper = picture.bounding_box()["width"], desk.locator(".paper-frame").bounding_box()["width"]
    desk.get_by_role("button", name="Put them away").click()

    assert width >= 0.95 * paper
    assert picture.count() == 0
