"""What has the focus stays in the window while things appear above it, unless the person scrolls away."""

from __future__ import annotations

import pytest

from tests.ownhand.on_page import PATIENCE_S, tab, until
from tests.ownhand.person import IN_SIGHT

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")

BUILD = "() => { import('../../static/start/room.js').then((room) => room.buildFont()) }"
"""What the button \"Bring it up to date\" does; its news stand above everything while the font is built."""


@pytest.fixture
def narrow(browser, served, faults):
    context = browser.new_context(viewport={"width": 390, "height": 844})
    context.set_default_timeout(PATIENCE_S * 1000)
    page = tab(context, served.url, faults, "#page")
    page.wait_for_selector("#paper[aria-busy=false]")
    yield page
    context.close()


def at_the_foot(page):
    """Give the focus to a button at the foot of the window, of a page that is not scrolled.

    A scrolled one is held by the browser itself where it knows how (CSS Scroll Anchoring Module Level 1).
    """
    button = page.get_by_role("button", name="Again, differently")
    page.set_viewport_size({"width": 390, "height": int(button.bounding_box()["y"]) + 12})
    button.evaluate("(el) => { el.focus(); scrollTo(0, 0) }")
    assert button.evaluate("(el) => el === document.activeElement") and button.evaluate(IN_SIGHT)
    return button


def grow(page) -> float:
    """Have news appear; return how tall they are."""
    page.evaluate(BUILD)
    page.get_by_role("progressbar").wait_for()
    return page.locator("#news").bounding_box()["height"]


def test_news_that_appear_do_not_push_it_out_of_the_window(narrow):
    button = at_the_foot(narrow)
    tall = grow(narrow)

    assert tall > 12  # as much of the button is seen
    assert button.evaluate(IN_SIGHT)


def test_who_scrolled_away_from_it_is_not_brought_back(narrow):
    button = at_the_foot(narrow)
    narrow.mouse.move(200, 100)
    narrow.mouse.wheel(0, 1500)
    until(lambda: not button.evaluate(IN_SIGHT))
    grow(narrow)

    assert not button.evaluate(IN_SIGHT)


@pytest.mark.parametrize("known_by", ["{}", "{ 'data-act': 'go' }"])
def test_a_link_that_is_drawn_anew_further_down_keeps_the_focus_and_stays_in_sight(narrow, known_by):
    kept = narrow.evaluate(
        f"""async () => {{
          const {{ h, keepFocus }} = await import('../../static/core/dom.js');
          const box = h('div', {{}});
          const fill = (tall) => box.replaceChildren(h('div', {{ style: {{ height: `${{tall}}px` }} }}),
            h('a', {{ href: '#letters', ...{known_by} }}, 'Look through the letters'));
          document.getElementById('main').prepend(box);
          fill(10);
          box.querySelector('a').focus();
          keepFocus(box, () => fill(3000));
          return document.activeElement === box.querySelector('a');
        }}"""
    )

    assert kept
    assert narrow.get_by_role("link", name="Look through the letters").evaluate(IN_SIGHT)


def test_a_link_that_was_pushed_away_and_is_then_drawn_anew_before_the_next_picture_stays_in_sight(narrow):
    narrow.evaluate(
        """async () => {
          const { h, keepFocus } = await import('../../static/core/dom.js');
          const above = h('div', {}), box = h('div', {});
          const fill = () => box.replaceChildren(h('a', { href: '#letters' }, 'Look through the letters'));
          document.getElementById('main').prepend(above, box);
          fill();
          box.querySelector('a').focus();
          for (let n = 0; n < 4; n += 1) await new Promise((go) => requestAnimationFrame(go));
          above.style.height = '3000px';
          keepFocus(box, fill);
        }"""
    )

    assert narrow.get_by_role("link", name="Look through the letters").evaluate(IN_SIGHT)


def test_what_is_pushed_away_just_as_tab_reaches_it_comes_back(narrow):
    narrow.evaluate(
        """async () => {
          const { h } = await import('../../static/core/dom.js');
          const above = h('div', {});
          document.getElementById('main').prepend(
            h('a', { href: '#page' }, 'Before'), above, h('a', { href: '#letters' }, 'Look through the letters'));
          document.querySelector('#main a').focus();
          // told before the page's own listeners are
          addEventListener('focusin', () => setTimeout(() => {
            document.documentElement.style.overflowAnchor = 'none';
            above.style.height = '3000px';
          }), { capture: true, once: true });
        }"""
    )
    narrow.keyboard.press("Tab")
    link = narrow.get_by_role("link", name="Look through the letters")

    assert link.evaluate("(el) => el === document.activeElement") and link.evaluate(IN_SIGHT)


def test_what_was_left_out_in_reading_is_told_on_the_page(narrow):
    """Words that did not suit, pages that are missing: what the command says stands beside the pages."""
    told = "Sheet 'lantern-1' has 7 pages; page 2 is not read yet."
    job = {"kind": "read", "running": False, "number": 9, "pages": [],
           "result": {"pages": [], "refused": [], "doubtful": [], "notices": [told]}}  # fmt: skip
    narrow.evaluate("() => { location.hash = '#reading' }")
    narrow.get_by_text("Drop scans here").wait_for()
    narrow.evaluate("(job) => import('../../static/start/room.js').then((r) => r.takeRoom({ ...r.room, job }))", job)

    assert narrow.get_by_text(told).is_visible()
