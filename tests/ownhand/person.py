"""Somebody at the page: presses what is seen, by pointer or by keyboard alone, and counts it."""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.ownhand.on_page import PATIENCE_S

MOST_TABS = 700

AGAIN_S = 30
"""How long somebody waits before pressing again."""

IN_SIGHT = """(el) => new Promise((told) => {
  const look = () => { const r = el.getBoundingClientRect(); told(r.bottom > 0 && r.top < innerHeight); };
  requestAnimationFrame(() => requestAnimationFrame(() => requestAnimationFrame(look)));
})"""
"""Looked at once what was laid out anew is drawn, too: what stands between two pictures nobody sees."""


@dataclass(frozen=True)
class Counted:
    """What somebody did so far."""

    presses: int = 0
    """Buttons, links and fields that were pressed, files chosen, and single keys that do something."""

    typed: int = 0
    """Characters typed."""

    steps: int = 0
    """Presses of Tab on the way, without a pointer."""

    def __sub__(self, other: Counted) -> Counted:
        return Counted(self.presses - other.presses, self.typed - other.typed, self.steps - other.steps)

    def __str__(self) -> str:
        way = f", {self.steps} times Tab" if self.steps else ""
        return f"{self.presses} presses, {self.typed} characters typed{way}"


class Person:
    """A person before a page of Playwright's; `keyboard`: without a pointer."""

    def __init__(self, page: Any, *, keyboard: bool = False) -> None:
        self.page, self.keyboard = page, keyboard
        self.presses = self.typed = self.steps = 0

    @property
    def counted(self) -> Counted:
        return Counted(self.presses, self.typed, self.steps)

    def reach(self, locator: Any) -> None:
        """Go to an element with Tab, as somebody without a pointer does."""
        locator.wait_for()
        for _ in range(MOST_TABS):
            # asked anew each time: what is told anew meanwhile is another element in the same place
            if locator.evaluate("el => el === document.activeElement"):
                assert locator.evaluate(IN_SIGHT), f"what has the focus is in sight: {locator}"
                return
            self.page.keyboard.press("Tab")
            self.steps += 1
        pytest.fail(f"Tab does not lead to {locator}")

    def press(self, locator: Any, *, key: str = "Enter") -> None:
        self.presses += 1
        if not self.keyboard:
            locator.click()
            return
        self.reach(locator)
        self.page.keyboard.press(key)

    def key(self, name: str) -> None:
        """Press a key that does something by itself; a field, in which it would be typed, is left first."""
        if self.page.evaluate("document.activeElement.matches('input, textarea, select')"):
            self.page.keyboard.press("Escape")
            self.presses += 1
        self.page.keyboard.press(name)
        self.presses += 1

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
        """Choose files in a field; who presses while a busy page is drawn anew, and sees nothing, presses again.

        Whatever press opened the chooser, it counts: while one is open, a browser opens no other.
        """
        choosers: list[Any] = []

        def came(chooser: Any) -> None:
            choosers.append(chooser)

        self.page.on("filechooser", came)
        end = time.monotonic() + PATIENCE_S
        while not choosers:
            assert time.monotonic() < end, f"no files can be chosen in {locator}"
            self.press(locator, key="Enter")
            again = time.monotonic() + AGAIN_S
            while not choosers and time.monotonic() < again:
                self.page.wait_for_timeout(20)
        self.page.remove_listener("filechooser", came)
        choosers[0].set_files([str(f) for f in files])

    def saved(self, locator: Any) -> bytes:
        """Press what gives a file; return its content."""
        with self.page.expect_download() as download:
            self.press(locator)
        return Path(download.value.path()).read_bytes()
