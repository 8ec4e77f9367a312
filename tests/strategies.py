"""What strangers send, for property tests: texts, names and numbers that programs stumble over."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

STEERING = (
    "\x00",
    "\x07",
    "\x1b[2J",
    "\x1b]0;x\x07",
    "\x7f",
    "\x9b1m",
    "\u202e",
    "\u2066",
    "\u2028",
    "\ufeff",
    "\r",
    "\n",
)
"""What steers a terminal, turns a line round, or ends one (ECMA-48; Unicode Standard Annex 9)."""

HALVES = ("\ud800", "\udbff\udbff", "\udcff")
"""Halves of surrogate pairs: no text, but JSON and Python's names of files can hold them."""

MARKS = ("e\u0301", "\u0301" * 40, "a\u0323\u0302\u0301", "\u200d", "\ufe0f", "\U0001f468\u200d\U0001f469", "\u0e33")
"""Marks without end, joiners, and graphemes of several characters (Unicode Standard Annex 29)."""

PATHS = (
    "",
    ".",
    "..",
    "../x",
    "../../../x",
    "/",
    "/tmp/x",
    "a/b",
    "a\\b",
    "C:x",
    "~",
    "x" * 300,
    "é" * 200,
    "con",
    "*",
    " ",
)

NUMBERS: tuple[Any, ...] = (
    0, -1, 1, 0.5, 150, 4001, 10_000, 1e13, 1e308, -1e308, 5e-324, 10**400, -(10**400), 2**63, float("nan"),
    float("inf"),
)  # fmt: skip


def texts(most: int = 12, *, halves: bool = True) -> st.SearchStrategy[str]:
    """Return texts of ordinary letters, and of all of the above."""
    pieces = st.one_of(
        st.sampled_from(["the ", "lamp", "Łucja ", "ж", "漢", "\t", "-", "{", "}", ">> ", "=1+1", "</svg>", ")", ";"]),
        st.sampled_from((*STEERING, *MARKS, *(HALVES if halves else ()))),
        st.characters(),
    )
    return st.lists(pieces, max_size=most).map("".join)


def names() -> st.SearchStrategy[str]:
    """Return names of files and folders, most of them leading elsewhere."""
    return st.one_of(st.sampled_from(PATHS), texts(4), st.from_regex(r"[A-Za-z0-9_-]{1,24}", fullmatch=True))


def junk() -> st.SearchStrategy[Any]:
    """Return values that JSON can hold, NaN and Infinity included, which Python takes for JSON."""
    plain = st.one_of(st.none(), st.booleans(), st.sampled_from(NUMBERS), texts(4), st.integers(), st.floats())
    return st.recursive(
        plain,
        lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(names(), inner, max_size=2)),
        max_leaves=5,
    )


@st.composite
def changed(draw: st.DrawFn, data: Any, values: st.SearchStrategy[Any] | None = None) -> Any:
    """Return JSON data with one or two values in it, anywhere, exchanged for junk."""
    for _ in range(draw(st.integers(1, 2))):
        data = _changed(draw, data, values or junk())
    return data


def _changed(draw: st.DrawFn, data: Any, values: st.SearchStrategy[Any]) -> Any:
    if isinstance(data, dict) and data and draw(st.integers(0, 9)):
        key = draw(st.sampled_from(sorted(data)))
        return {**data, key: _changed(draw, data[key], values)}
    if isinstance(data, list) and data and draw(st.integers(0, 9)):
        at = draw(st.integers(0, len(data) - 1))
        return [*data[:at], _changed(draw, data[at], values), *data[at + 1 :]]
    return draw(values)
