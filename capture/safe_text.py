"""Text from outside, made safe to show: what would steer a terminal or turn the line round is written as its number."""

from __future__ import annotations

import re

_STEERS = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f"  # control characters (ECMA-48), tab and line feed left out
    "\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"  # directional formatting (Unicode Standard Annex 9)
    "\u2028\u2029\ufff9-\ufffb\ufeff"
    "\ud800-\udfff]"  # halves of surrogate pairs, also what stands for bytes of a file name that are no UTF-8
)


def printable(text: str) -> str:
    r"""Return `text` with all that steers a terminal, or cannot be written in UTF-8, as `\u001b` and the like.

    Line feeds and tabs stay. The numbers are written as in JSON, so JSON stays the same JSON.

    Examples
    --------
    >>> printable("a\x1b[31mred")
    'a\\u001b[31mred'
    """
    return _STEERS.sub(lambda found: f"\\u{ord(found[0]):04x}", text)
