"""The notation of the tables: parts drawn once, and the ways in which the pen runs through them.

    [A А Α]                                   characters (or U+0301) that share what follows
    l: .05,0 .6,1.9                           a part: its name and its knots, x,y in x-heights, baseline at 0, y up
    r: .6,1.9 1.15,0
    b: .25,.65 .95,.65
    = two strokes .5: l r | b                 a form: its name, its share of writers, and its strokes
    = three strokes .2/.15: -l | r | b        share among right-handers / among left-handers

Knots are joined smoothly; `^` before a knot makes it a corner, and `@cx,cy,rx,ry,from,to` stands for knots on an
ellipse, in degrees counter-clockwise from the right. In a form, `|` lifts the pen, `-p` runs through part p backwards,
`p@1` begins a closed part at one o'clock, and two parts side by side are one stroke with a corner where they meet
(`~` between them: without). A part of one knot is a dot.

    + l-bar .8: 'l b                          a form for every form of l, with the stroke b written after it
    + half .9: '1*.5@0,.95 '/ '2*.5@.6,0      forms of other characters, made smaller and moved right, up

A line that begins with `# ` is a comment. Everything is checked when it is read.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np

from capture.units import Points
from skeleton.ductus.curve import arc, pen_line

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)"
_KNOT = re.compile(rf"(\^?)({_NUMBER}),({_NUMBER})$")
_ARC = re.compile(rf"(\^?)@((?:{_NUMBER},){{5}}{_NUMBER})$")
_PART = re.compile(r"([A-Za-z]\w*):\s+(\S.*)$")
_FORM = re.compile(rf"([=+])\s+(\S[^:]*?)\s+({_NUMBER})(?:/({_NUMBER}))?:\s+(\S.*)$")
_RUN = re.compile(rf"(-?)([A-Za-z]\w*?)(?:@({_NUMBER}))?$")
_OTHER = re.compile(rf"'(.+?)(?:\*({_NUMBER})(?:,({_NUMBER}))?)?(?:@({_NUMBER}),({_NUMBER}))?$")
_TOUCHING = 0.2
"""Parts whose ends are nearer than this are joined without a line between them (in x-heights)."""


class NotationError(ValueError):
    """A table does not follow the notation; the message names file and line."""


@dataclass(frozen=True, eq=False)
class Part:
    """A line that forms are made of."""

    knots: Points
    """Shape (n, 2), x-heights, y up."""

    corners: np.ndarray
    """Shape (n,), bool: which knots are corners."""

    def backwards(self) -> Part:
        """Return the same line from its other end."""
        return Part(self.knots[::-1], self.corners[::-1])

    def from_clock(self, hour: float) -> Part:
        """Return the closed line beginning at the knot nearest to `hour` on a clock face."""
        ring = self.knots[:-1]
        middle = (ring.min(0) + ring.max(0)) / 2
        dx, dy = ((ring - middle) / np.ptp(ring, axis=0)).T
        away = (np.arctan2(dx, dy) - np.radians(30 * hour) + np.pi) % (2 * np.pi) - np.pi
        k = int(np.abs(away).argmin())
        order = np.r_[k : len(ring), 0 : k + 1]
        return Part(self.knots[order], self.corners[order])

    @property
    def closed(self) -> bool:
        """True if the line ends where it begins."""
        return len(self.knots) > 3 and bool(np.allclose(self.knots[0], self.knots[-1]))


@dataclass(frozen=True)
class Other:
    """A form of another character, used as strokes of this one."""

    char: str
    scale: tuple[float, float] = (1.0, 1.0)
    shift: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, eq=False)
class Form:
    """One way of writing, not yet sampled."""

    name: str
    right: float
    left: float | None
    """Shares among right- and left-handed writers. Where no form of an entry states the left-handers', a rule does."""

    pieces: tuple[tuple[Part, ...] | Other, ...]
    """Strokes (lists of parts with their corners set) and forms of other characters, in writing order."""


@dataclass(eq=False)
class Entry:
    """All that a table says about some characters."""

    chars: tuple[str, ...]
    where: str
    parts: dict[str, Part] = field(default_factory=dict)
    forms: list[Form] = field(default_factory=list)
    used: set[str] = field(default_factory=set)
    """Names of the parts that a form has used; an idle part is a slip."""


def read_table(text: str, *, name: str) -> list[Entry]:
    r"""Return the entries of a table in this notation.

    Raises
    ------
    NotationError
        With file, line, what was found and what was expected.

    Examples
    --------
    >>> [entry] = read_table("[l]\ns: 0,2 0,0\n= line 1: s", name="example")
    >>> entry.chars, entry.forms[0].name
    (('l',), 'line')
    """
    entries: list[Entry] = []
    for number, raw in enumerate(text.splitlines(), 1):
        line = raw.strip()
        where = f"{name}, line {number}"
        if not line or line == "#" or line.startswith("# "):
            continue
        if line.startswith("[") and line.endswith("]") and len(line) > 2:
            entries.append(Entry(tuple(_character(c, where) for c in line[1:-1].split()), where))
        elif not entries:
            raise NotationError(f"{where}: expected [characters] first, found {line!r}")
        elif match := _FORM.match(line):
            entries[-1].forms.append(_form(match, entries[-1], where))
        elif match := _PART.match(line):
            if match[1] in entries[-1].parts:
                raise NotationError(f"{where}: part {match[1]!r} is drawn twice")
            entries[-1].parts[match[1]] = _part(match[2], where)
        else:
            raise NotationError(f"{where}: expected a part, a form or [characters], found {line!r}")
    for entry in entries:
        _check(entry)
    return entries


def _character(text: str, where: str) -> str:
    if re.fullmatch(r"U\+[0-9A-F]{4,6}", text):
        return chr(int(text[2:], 16))
    if len(text) != 1:
        raise NotationError(f"{where}: expected one character or U+ and its code, found {text!r}")
    return text


def _check(entry: Entry) -> None:
    if not entry.forms:
        raise NotationError(f"{entry.where}: {' '.join(entry.chars)} has no form")
    if idle := next((name for name in entry.parts if name not in entry.used), None):
        raise NotationError(f"{entry.where}: no form of {' '.join(entry.chars)} uses part {idle!r}")
    names = [form.name for form in entry.forms]
    if twice := next((n for n in names if names.count(n) > 1), None):
        raise NotationError(f"{entry.where}: two forms of {' '.join(entry.chars)} are named {twice!r}")


def _part(text: str, where: str) -> Part:
    knots: list[Points] = []
    corners: list[bool] = []
    for token in text.split():
        if match := _KNOT.match(token):
            new = np.array([[float(match[2]), float(match[3])]])
        elif match := _ARC.match(token):
            new = arc(*map(float, match[2].split(",")))
        else:
            raise NotationError(f"{where}: expected x,y or ^x,y or @cx,cy,rx,ry,from,to, found {token!r}")
        knots.append(new)
        corners += [bool(match[1])] + [False] * (len(new) - 1)
    points = np.vstack(knots)
    if (np.hypot(*np.diff(points, axis=0).T) < 1e-6).any():
        raise NotationError(f"{where}: the same knot twice in a row")
    return Part(points, np.array(corners))


def _form(match: re.Match[str], entry: Entry, where: str) -> Form:
    right = float(match[3])
    left = None if match[4] is None else float(match[4])
    if not 0 < right <= 1 or (left is not None and not 0 < left <= 1):
        raise NotationError(f"{where}: expected shares between 0 and 1, found {match[3]}")
    pieces: list[tuple[Part, ...] | Other] = []
    if match[1] == "=":
        for stroke in match[5].split("|"):
            pieces.append(_stroke(stroke.split(), entry, where))
    else:
        for token in match[5].split():
            if found := _OTHER.match(token):
                sx = float(found[2] or 1)
                scale = (sx, float(found[3] or sx))
                pieces.append(Other(found[1], scale, (float(found[4] or 0), float(found[5] or 0))))
            else:
                pieces.append(_stroke([token], entry, where))
    return Form(match[2], right, left, tuple(pieces))


def _stroke(tokens: list[str], entry: Entry, where: str) -> tuple[Part, ...]:
    parts: list[Part] = []
    smooth_next = False
    for token in tokens:
        if token == "~" and parts and not smooth_next:
            smooth_next = True
            continue
        match = _RUN.match(token)
        if not match or match[2] not in entry.parts:
            raise NotationError(f"{where}: {token!r} is none of the parts {' '.join(entry.parts) or '(none drawn)'}")
        entry.used.add(match[2])
        part = entry.parts[match[2]]
        part = part.backwards() if match[1] else part
        if match[3] is not None:
            if not part.closed:
                raise NotationError(f"{where}: {token!r} turns a part that is not closed")
            part = part.from_clock(float(match[3]))
        if parts and smooth_next:
            parts[-1] = _joined(parts[-1], part, sharp=False)
        else:
            parts.append(part)
        smooth_next = False
    if smooth_next or not parts:
        raise NotationError(f"{where}: a stroke is empty or ends in '~'")
    return tuple(parts)


def _joined(a: Part, b: Part, *, sharp: bool) -> Part:
    """Return one part that runs through `a` and then `b`."""
    skip = int(np.hypot(*(a.knots[-1] - b.knots[0])) < _TOUCHING and len(b.knots) > 1)
    corners = np.r_[a.corners, b.corners[skip:]]
    if sharp:
        corners[len(a.knots) - 1] = True
        if not skip:
            corners[len(a.knots)] = True
    return Part(np.vstack([a.knots, b.knots[skip:]]), corners)


def draw(parts: tuple[Part, ...]) -> Points:
    """Return the sampled line of a stroke that runs through `parts` without a lift, shape (n, 2)."""
    whole = parts[0]
    for part in parts[1:]:
        whole = _joined(whole, part, sharp=True)
    return pen_line(whole.knots, whole.corners)
