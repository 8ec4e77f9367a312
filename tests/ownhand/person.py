"""Somebody at the page: presses what is seen, by pointer or by keyboard alone, and counts it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

MOST_TABS = 700


class Person:
    """A person before a page of Playwright's; `keyboard`: without a pointer."""

    def __init__(self, page: Any, *, keyboard: bool = False) -> None:
        self.page, self.keyboard = page, keyboard
        self.presses = 0
        """Buttons, links and fields that were pressed, and files chosen."""
        self.typed = 0
        """Characters typed."""

    def reach(self, locator: Any) -> None:
        """Go to an element with Tab, as somebody without a pointer does."""
        locator.wait_for()
        for _ in range(MOST_TABS):
            # asked anew each time: what is told anew meanwhile is another element in the same place
            if locator.evaluate("el => el === document.activeElement"):
                visible = locator.evaluate(
                    "el => { const r = el.getBoundingClientRect(); return r.bottom > 0 && r.top < innerHeight }"
                )
                assert visible, "what has the focus is in sight"
                return
            self.page.keyboard.press("Tab")
        pytest.fail(f"Tab does not lead to {locator}")

    def press(self, locator: Any, *, key: str = "Enter") -> None:
        self.presses += 1
        if not self.keyboard:
            locator.click()
            return
        self.reach(locator)
        self.page.keyboard.press(key)

    def button(self, name: str, **how: Any) -> None:
        self.press(self.page.get_by_role("button", name=name, **how).first)

    def link(self, name: str, **how: Any) -> None:
        self.press(self.page.get_by_role("link", name=name, **how).first)

    def part(self, name: str) -> None:
        """Go to a part of the work."""
        self.press(self.page.get_by_role("navigation").get_by_role("link", name=name, exact=True))

    def tick(self, locator: Any) -> None:
        self.press(locator, key="Space")

    def unfold(self, title: str) -> None:
        """Open a part of the settings that is folded."""
        summary = self.page.locator("summary", has_text=title)
        if summary.locator("..").get_attribute("open") is None:
            self.press(summary)

    def write(self, locator: Any, text: str) -> None:
        """Type a text in place of what stands in a field."""
        self.typed += len(text)
        if not self.keyboard:
            locator.fill(text)
            locator.blur()
            return
        self.reach(locator)
        self.page.keyboard.press("Control+A")
        self.page.keyboard.insert_text(text)
        self.page.keyboard.press("Tab")

    def choose_next(self, locator: Any) -> None:
        """Choose the next option of a list."""
        self.presses += 1
        if not self.keyboard:
            options = locator.locator("option").all_text_contents()
            at = locator.evaluate("el => el.selectedIndex")
            locator.select_option(index=min(at + 1, len(options) - 1))
            return
        self.reach(locator)
        self.page.keyboard.press("ArrowDown")

    def files(self, locator: Any, *files: Path) -> None:
        """Choose files in a field."""
        with self.page.expect_file_chooser() as chooser:
            self.press(locator, key="Enter")
        chooser.value.set_files([str(f) for f in files])

    def saved(self, locator: Any) -> bytes:
        """Press what gives a file; return its content."""
        with self.page.expect_download() as download:
            self.press(locator)
        return Path(download.value.path()).read_bytes()
