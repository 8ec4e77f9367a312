"""Holding back the answers that the review page waits for, so that each order of things happens on any machine."""

from __future__ import annotations

from tests.ownhand.on_page import until

HOLD = """
  const ask = window.fetch;
  const held = [];
  let holding = null;
  window.holdAnswers = (names) => { holding = new RegExp(names); };
  window.heldAnswers = () => held.length;
  window.letGo = () => { holding = null; held.splice(0).forEach((go) => go()); };
  window.fetch = async (...what) => {
    const answer = await ask(...what);
    if (holding?.test(String(what[0]))) await new Promise((go) => held.push(go));
    return answer;
  };
"""


class Slow:
    """Holds the page's answers back."""

    def __init__(self, page) -> None:
        self.page = page

    def hold(self, names="api/step") -> None:
        self.page.evaluate("names => holdAnswers(names)", names)

    def held(self, n=1) -> None:
        until(lambda: self.page.evaluate("heldAnswers()") >= n, "nothing was asked")

    def let_go(self) -> None:
        """Let all answers through, and give the page the time to do with them what it would."""
        self.page.evaluate("letGo()")
        self.page.evaluate(
            """async () => {
              for (let i = 0; i < 3; i++) await fetch('api/version');
              for (let i = 0; i < 12; i++) await new Promise(requestAnimationFrame);
              await new Promise((go) => setTimeout(go, 200));
            }"""
        )
