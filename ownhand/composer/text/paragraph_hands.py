"""Paragraphs in another hand: a line that begins '~in guest' is written in the hand of that name."""

from __future__ import annotations

import re

_IN = re.compile(r"^~in ([^\s~]{1,60}) +(?=\S)")


def by_hand(text: str) -> list[tuple[str, str]]:
    r"""Return a text cut where the hand changes: (name of the hand, '' for the box's own; text) in order.

    Empty lines belong to what follows them.

    Examples
    --------
    >>> by_hand("Dear Ada,\n\n~in guest I was there!\n~in guest ~right Tom\nYours")
    [('', 'Dear Ada,'), ('guest', '\nI was there!\n~right Tom'), ('', 'Yours')]
    """
    found: list[tuple[str, list[str]]] = []
    waiting: list[str] = []
    for line in text.split("\n"):
        if not line.strip(" "):
            waiting.append(line)
            continue
        told = _IN.match(line)
        hand = told[1] if told else ""
        line = line[told.end() :] if told else line
        if found and found[-1][0] == hand:
            found[-1][1].extend([*waiting, line])
        else:
            found.append((hand, [*waiting, line]))
        waiting = []
    return [(hand, "\n".join(lines)) for hand, lines in found] or [("", text)]


def changes_hand(text: str) -> bool:
    """Return whether a text has a paragraph in another hand."""
    return any(_IN.match(line) for line in text.split("\n")) if "~in " in text else False
