"""Attempts whose reading is doubtful: they stay out of the font while better ones of the character exist.

One bad letter spoils a page on which it comes back every third line, so what is doubtful is left out sooner here than a
person would set it aside; where a character has nothing else, the surer ones are drawn all the same and named.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from functools import cache

import numpy as np

from capture.units import Points
from fontbuild.joins import IN_TEXT, WAYS
from fontbuild.letterwise import Letterwise, in_turn
from fontbuild.misread_letters import READS_AS, misread
from fontbuild.outliers import LOOKS_LIKE, NO_INK, ONLY_A_PART, find_outliers
from fontbuild.point_cloud_distance import cloud, unlike_others
from fontbuild.variants import AttemptStrokes, alike
from skeleton.ductus import allographs
from skeleton.geometry.arc_length import line_length, resample
from skeleton.words.letter_forms import BARRED, DOTTED

SURE = 0.5
"""Confidence from which on a reading is not doubtful."""

HOPELESS = 0.2
"""Share of the surest reading's confidence under which one is left out although all are doubtful. Of the museum's
sample it is one: an A whose leg the pen skipped (0.03, the other attempt 0.49)."""

STEP = 0.12
"""x-heights between the points at which the line's turns are added up."""

BEADED = (1.6, 4.0)
"""A line is beaded when it turns by so many times what the other attempts at the character turn by, and by so many
radians more: where a pen skips or ink blots, the line read from it goes to and fro along the blots. What the form that
was recognised turns by, a loop where others have none, is no bead; nor is a form that nobody knows, see `COARSE`."""

COARSE, LEAST_COARSE, MOST_OVER = 0.3, 0.65, 0.37
"""A second form of a letter, looped where others are not, turns as much as a beaded line; but its loops are as large as
letters' parts are, and it seldom runs along itself. Step in x-heights at which beads are no longer seen; the share of
the turning that is left at it, and the share of a line that runs along another part of it, up to which and from which
on it is beaded. Of three writers (UNIPEN train_r01_v07, donor kai; Guyon et al., ICPR 1994), printed, scanned and read,
33 attempts turned as much: of 18 that turn as they were written 17 are told by this, of 15 others 13. Of 8,260 letters
of twelve writers (donors kai and art) as they were written 97 turned as much, up to 15 of a hand: with this and
`TURNS_TOO` 7 are left."""

TURNS_TOO = 0.8
"""Share of what an attempt turns by that another one from a cell turns by, written in the same way: then both are a
form of the letter, a stem that is drawn down and up again, say. No two lines go to and fro along blots alike."""

NEAR, ALONG, FINE = 0.1, 0.45, 0.06
"""x-heights: how near two parts of a line lie that run along each other, how far apart they are along it at least, and
the step at which it is looked at."""

FEW = 2
"""Other attempts that are needed to tell a beaded line."""

CELLS = 3
"""Attempts from cells that tell in how many strokes a letter is written at most, and by how much it turns: one that
lies in more strokes, cut out of a joined word, was cut in pieces. Of a joining writer (UNIPEN train_r01_v07, kai; Guyon
et al., ICPR 1994) these were 6 of 156 letters: an o whose ring was opened where its join goes out, an m of four pieces.
Half of the t's of others' words were read with their bar to and fro, so that they were no measure of each other."""

NEARLY_ALL = 0.7
"""Share of the attempts at a character with more strokes than one cut out of a word has, from which on it lacks its dot
or bar, which the writer put after the word and which was taken for another letter's or for a speck. Of another joining
writer named there, who dots every i and bars seven t's of eight, most i's and t's that were cut out joined had none,
and as few letters are joined on both sides, these came back in every word."""

UNLIKE, LEAST_UNLIKE, ENOUGH_TO_TELL = 1.25, 0.2, 4
"""A letter cut out of a joined word is doubtful that is so many times as unlike the other attempts at its character
(`point_cloud_distance.unlike_others`) as the hand's letters of running text are in the middle: it was cut in the wrong
place. How unlike it is at least, x-heights, and how many attempts it takes to tell. Of a simulated joining writer's
letters (`sample_sheets/archivist`) 25 in a hundred stay out, and 3 in a hundred of the others were cut wrongly, where 8
in a hundred of all were."""

CERTAIN = 0.9
"""Confidence from which on a letter is not doubted for that, unless it has a dot or bar, which it may lack: of 59 such
letters of the same writer and of four people for validation (UNIPEN train_r01_v07; Guyon et al., ICPR 1994) none
overlaps the written one by less than .65, of 83 others 39."""

NARROW = 0.55
"""Share of the other attempts' width under which a letter cut out of a joined word is doubtful: a leg of it went to its
neighbour, and an m reads as an n. Of 347 letters of the same writer that were like enough to the others 21 are as
narrow, 10 of which overlap the true one by less than .65 (of all 48); of 342 joined letters of six people (UNIPEN
train_r01_v07, donor kai) 7, and 1 of these."""

MOSTLY_JOINED = 0.5
"""Share of the letters of running text that are joined from which on one that stands apart is held to the same: a hand
that joins hardly writes one so, it was cut. Of nine such letters of two writers (UNIPEN train_r01_v07, donor kai) two
were cut wrongly, both more unlike the others than `UNLIKE`, as one other is."""

TO_AND_FRO = "a line that goes to and fro"
CUT_NARROW = "cut out of its word much narrower than the others"
CUT_BARE = "cut out of its word without a dot or bar"

MARKED = DOTTED | BARRED
"""Letters with dots or bars."""

WITHIN = (0.1, 0.9)
"""Shares of a letter's ink, from its left edge, between which its width is taken: how far it reaches out to the letters
beside it hardly counts."""


def find_doubtful(
    letters: Mapping[str, Sequence[AttemptStrokes]], *, x_height_mm: float, keep: Collection[str] = ()
) -> tuple[dict[str, str], tuple[str, ...]]:
    """Return, by attempt id, why its reading is doubtful, where better ones exist; and the characters that have none.

    Parameters
    ----------
    letters
        Attempts by character, those that were set aside for other reasons left out.
    x_height_mm
        The size in which they are written.
    keep
        Ids that a person has seen to: they are not doubtful.
    """
    reasons: dict[str, str] = {}
    only: list[str] = []
    unlike, narrow = _unlike(letters, x_height_mm), _narrow(letters)
    other = misread(letters, x_height_mm, least=SURE)
    for char, group in letters.items():
        doubts = {}
        cells = [len(w.strokes) for w in group if w.allograph not in IN_TEXT]
        most = max(cells) if len(cells) >= CELLS else None
        strokes = np.array([len(w.strokes) for w in group])
        beads = _beaded(group, x_height_mm)
        for w, beaded in zip(group, beads, strict=True):
            if w.id in keep:
                continue
            if w.confidence < SURE:
                doubts[w.id] = f"doubtful reading (confidence {w.confidence:.2f})"
            elif beaded:
                doubts[w.id] = TO_AND_FRO
            elif most is not None and w.allograph in IN_TEXT and len(w.strokes) > most:
                doubts[w.id] = f"cut out of its word in {len(w.strokes)} pieces"
            elif w.allograph in IN_TEXT and (strokes > len(w.strokes)).mean() >= NEARLY_ALL:
                doubts[w.id] = CUT_BARE
            elif w.id in narrow:
                doubts[w.id] = CUT_NARROW
            elif w.id in other:
                doubts[w.id] = f"{READS_AS} {other[w.id]!r}"
            elif w.id in unlike and not (w.confidence >= CERTAIN and char not in MARKED):
                doubts[w.id] = "perhaps cut out of its word in the wrong place"
        if group and len(doubts) == len(group):
            only.append(char)
            surest = max(w.confidence for w in group)
            reasons |= {w.id: doubts[w.id] for w in group if w.confidence < HOPELESS * surest}
        else:
            reasons |= doubts
    return reasons, tuple(only)


def may_stand_in_words(reason: str, confidence: float) -> bool:
    """Return whether a letter cut out of a joined word and set aside for `reason` may stand beside its neighbours.

    One that lacks a part, which went to a neighbour, or is another letter, spoils every word but its own: an o without
    its ring leaves home without its o. So does one whose `confidence` says that it was cut wrongly: an l with a piece
    of its neighbour makes clamp of lamp.
    """
    whole = reason not in (CUT_NARROW, CUT_BARE, NO_INK, ONLY_A_PART) and not reason.startswith((LOOKS_LIKE, READS_AS))
    return whole and confidence >= SURE


def find_lacking(
    letters: Mapping[str, Sequence[AttemptStrokes]],
    keys: Collection[str],
    *,
    x_height_mm: float,
    keep: Collection[str] = (),
    letterwise: Letterwise = in_turn,
) -> dict[str, str]:
    """Return why those of `keys` that may stand in no word may not, among all `letters` of their characters.

    They were set aside before their shape was looked at.
    """
    groups = {char: group for char, group in letters.items() if any(w.id in keys for w in group)}
    if not groups:
        return {}
    reasons = find_outliers(groups, x_height_mm=x_height_mm, keep=keep, letterwise=letterwise)
    left = {char: [w for w in group if w.id not in reasons] for char, group in groups.items()}
    reasons |= find_doubtful(left, x_height_mm=x_height_mm, keep=keep)[0]
    told = {w.id: w.confidence for group in groups.values() for w in group}
    return {key: why for key, why in reasons.items() if key in keys and not may_stand_in_words(why, told[key])}


def _held_to_others(letters: Mapping[str, Sequence[AttemptStrokes]]) -> frozenset[str]:
    """Return the forms of letters that may be cut wrongly: joined ones, where most are joined those apart as well."""
    joined = [w.allograph in WAYS.values() for group in letters.values() for w in group if w.allograph in IN_TEXT]
    return IN_TEXT if joined and float(np.mean(joined)) >= MOSTLY_JOINED else frozenset(WAYS.values())


def _unlike(letters: Mapping[str, Sequence[AttemptStrokes]], x_height_mm: float) -> frozenset[str]:
    """Return the ids of letters cut out of joined words that are unlike the other attempts at their character."""
    held = _held_to_others(letters)
    odd: dict[str, float] = {}
    ways: dict[str, str] = {}
    for group in letters.values():
        in_text = [w for w in group if w.allograph in IN_TEXT]
        if len(in_text) >= ENOUGH_TO_TELL:
            told = unlike_others([[s / x_height_mm for s in w.strokes] for w in in_text])
            odd |= dict(zip((w.id for w in in_text), told.tolist(), strict=True))
            ways |= {w.id: w.allograph for w in in_text}
    limit = max(UNLIKE * float(np.median(list(odd.values()))), LEAST_UNLIKE) if odd else 0.0
    return frozenset(key for key, far in odd.items() if far > limit and ways[key] in held)


def _narrow(letters: Mapping[str, Sequence[AttemptStrokes]]) -> frozenset[str]:
    """Return the ids of letters cut out of joined words that are much narrower than the other attempts."""
    out: set[str] = set()
    for group in letters.values():
        in_text = [w for w in group if w.allograph in IN_TEXT]
        if len(in_text) < ENOUGH_TO_TELL:
            continue
        spans = [np.quantile(cloud(w.strokes)[:, 0], WITHIN) for w in in_text]
        wide = np.array([right - left for left, right in spans])
        for k, w in enumerate(in_text):
            if w.allograph in WAYS.values() and wide[k] < NARROW * float(np.median(np.delete(wide, k))):
                out.add(w.id)
    return frozenset(out)


def _beaded(group: Sequence[AttemptStrokes], x_height_mm: float) -> list[bool]:
    """Return which attempts at a character are beaded."""
    turns = np.array([turning(w.strokes, STEP * x_height_mm) for w in group])
    in_cell = np.array([w.allograph not in IN_TEXT for w in group], bool)
    judges = in_cell if in_cell.sum() >= CELLS else np.ones(len(group), bool)
    out = []
    for i, w in enumerate(group):
        others = turns[judges & (np.arange(len(group)) != i)]
        if len(others) < FEW:
            out.append(False)
            continue
        middle = float(np.median(others))
        form = usual_turning(w.char).get(w.allograph, 0.0)
        turned = bool(turns[i] > max(BEADED[0] * max(middle, form), middle + BEADED[1]))
        turned = turned and _to_and_fro(w.strokes, float(turns[i]), x_height_mm)
        turn_too = in_cell & (turns >= TURNS_TOO * turns[i]) & (np.arange(len(group)) != i)
        out.append(
            turned and not any(alike(w, group[j], x_height_mm=x_height_mm) for j in np.flatnonzero(turn_too).tolist())
        )
    return out


def _to_and_fro(strokes: Sequence[Points], turns: float, x_height_mm: float) -> bool:
    """Return whether what lines turn by, `turns` radians, are beads or ways back along themselves, not loops."""
    if turning(strokes, COARSE * x_height_mm) < LEAST_COARSE * turns:
        return True
    points = over = 0
    for s in strokes:
        length = line_length(s)
        n = max(int(length / (FINE * x_height_mm)), 3)
        line, at = resample(s, n), np.linspace(0.0, length, n)
        apart = np.hypot(*(line[:, None] - line[None]).transpose(2, 0, 1))
        along = np.abs(at[:, None] - at[None]) > ALONG * x_height_mm
        over += int(((apart < NEAR * x_height_mm) & along).any(axis=1).sum())
        points += n
    return over > MOST_OVER * points


@cache
def usual_turning(char: str) -> Mapping[str, float]:
    """Return by how much each known form of a character turns, radians, by its name."""
    return {form.name: turning(form.strokes, STEP) for form in allographs(char)}


def turning(strokes: Sequence[Points], step_mm: float) -> float:
    """Return by how much lines, each of shape (n, 2) in mm, turn from end to end, either way, in radians.

    Examples
    --------
    >>> round(turning([np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]])], 0.25), 2)
    1.57
    """
    total = 0.0
    for s in strokes:
        n = int(line_length(s) / step_mm) + 1
        if n < 3:
            continue
        d = np.diff(resample(s, n), axis=0)
        angle = np.arctan2(d[:, 1], d[:, 0])
        total += float(np.abs((np.diff(angle) + np.pi) % (2 * np.pi) - np.pi).sum())
    return total
