"""The state behind the page: what was read, what was decided, and each step stored the moment it is taken."""

from __future__ import annotations

import dataclasses
import threading
from collections.abc import Iterable
from pathlib import Path

from capture.errors import HandFolderError
from ownhand.hands.captures import InkPicture, PageCapture, load_captures
from ownhand.hands.deciding import one_writer, stamp_of
from ownhand.hands.decisions import Decision, Decisions, KnownWay, apply_decisions
from ownhand.hands.decisions_file import load_decisions, refused, save_decisions
from ownhand.hands.hand import Hand
from ownhand.review.edits.edit_requests import mend, storable, with_strokes
from ownhand.review.edits.operations import OperationError
from ownhand.review.session.alternatives import Readings
from ownhand.review.session.carrying import carried, known_way
from ownhand.review.session.history import Entries, Step, load_step, save_step, step_words
from ownhand.review.session.word_cuts import BETWEEN_LETTERS
from ownhand.validation import FaultsError, Place, raise_faults
from skeleton.attempt import Attempt

NOTHING = Decision()


class StaleError(Exception):
    """What a page wants to change was changed elsewhere since it last looked."""


class UnknownAttemptError(KeyError):
    """There is no such attempt."""


class ReviewSession:
    """All attempts of a hand with the decisions on them; safe to use from several threads.

    Parameters
    ----------
    hand
        The opened hand folder; `decisions.json` and `steps/` in it are written, nothing else.
    """

    def __init__(self, hand: Hand) -> None:
        self.hand = hand
        self.lock = threading.RLock()
        self.readings = Readings()
        self._captures_seen: tuple[tuple[str, int, int], ...] | None = None
        self._decisions_seen: tuple[int, int, int] | None = None
        self.captures: tuple[PageCapture, ...] = ()
        self.attempts: dict[str, Attempt] = {}
        self.asked: dict[str, dict[str, Attempt]] = {}
        """By the character that was asked for, whatever it was corrected to: its attempts by id."""
        self.numbers: dict[str, int] = {}
        """What attempts are called: among all at the character asked for, on whichever sheet or line, from 1."""
        self.ink: dict[str, tuple[str, InkPicture]] = {}
        """By attempt id: the sheet it is on, and its picture."""
        self.sizes: dict[str, tuple[float, float]] = {}
        self.inked: dict[str, tuple[float, float, float, float] | None] = {}
        self.contours: dict[str, list[list[list[float]]]] = {}
        self.pngs: dict[str, bytes] = {}
        self.strips: dict[str, bytes] = {}
        """What `pictures` found out, until something is read anew."""
        self.decisions = Decisions()
        self.refresh()

    def refresh(self) -> None:
        """Take in what other programs, or another page, changed in the folder."""
        with self.lock:
            files = sorted(self.hand.captures_folder.glob("*/page-*.json"))
            stamps = [(str(f), s.st_mtime_ns, s.st_size) for f in files for s in [f.stat()]]
            if tuple(stamps) != self._captures_seen:
                captures = self.captures = load_captures(self.hand)
                self.attempts = {a.id: a for c in captures for a in c.attempts if a.status != "blank"}
                self.asked = {}
                for key, a in self.attempts.items():
                    self.asked.setdefault(a.char, {})[key] = a
                self.numbers = _numbers(a for c in captures for a in c.attempts)
                self.ink = {key: (c.sheet, picture) for c in captures for key, picture in c.ink.items()}
                self.readings.forget()
                self.sizes, self.inked, self.contours, self.pngs, self.strips = {}, {}, {}, {}, {}
                self._captures_seen = tuple(stamps)
            file = self.hand.decisions_file
            stamp = stamp_of(file)
            if stamp != self._decisions_seen:
                self.decisions = load_decisions(file)
                self._decisions_seen = stamp

    @property
    def state(self) -> tuple[int, int]:
        """What everything shown depends on: the version of the decisions, and of what was read."""
        return self.decisions.version, hash(self._captures_seen)

    @property
    def read_stamp(self) -> str:
        """Changes when something is read anew: pictures are good for as long as it stays."""
        return f"{hash(self._captures_seen) & 0xFFFFFFFFFFFF:x}"

    def attempt(self, key: str) -> Attempt:
        """Return the attempt as it was read.

        Raises
        ------
        UnknownAttemptError
            If there is none of that id.
        """
        try:
            return self.attempts[key]
        except KeyError:
            raise UnknownAttemptError(key) from None

    def decision(self, key: str) -> Decision:
        """Return what was decided on it; an empty decision where nothing was."""
        return self.decisions.attempts.get(key, NOTHING)

    def char(self, key: str) -> str:
        """Return the character it is, corrected or as asked for."""
        return self.decision(key).char or self.attempt(key).char

    def decided(self) -> tuple[Attempt, ...]:
        """Return all attempts as the person wants them."""
        with self.lock:
            return apply_decisions(self.attempts.values(), self.decisions)

    def take(self, based_on: int, mends: Place, words: str = "") -> None:
        """Take one step: a list of operations, each with its `attempt` and what `edit_requests.mend` needs.

        Raises
        ------
        StaleError
            If another page changed one of these attempts since version `based_on`. Nothing is changed then, nor by
            the errors below.
        UnknownAttemptError, FaultsError, OperationError
            If the operations do not hold together.
        """
        with self.lock, one_writer(self.hand):
            self.refresh()
            changed: dict[str, Decision] = {}
            learned: dict[str, KnownWay] = {}
            said = []
            for item in mends.items(most=5000):
                key = item.of("attempt").text(None, 200)
                raise_faults(mends.faults)
                self._check_fresh(key, based_on)
                if item.of("do").value in BETWEEN_LETTERS:
                    both, what = BETWEEN_LETTERS[item.of("do").value](self, item, key, changed)
                    for other in both:
                        self._check_fresh(other, based_on)
                    changed |= both
                    said.append(what)
                    continue
                decision, what = self._mend(item, key, changed.get(key, self.decision(key)), learned)
                changed[key] = decision
                said.append(what)
            raise_faults(mends.faults)
            if not said:
                raise FaultsError([f"{mends.path}: expected at least one operation"])
            changed = {key: storable(decision) for key, decision in changed.items()}
            self._store(words or _summary(said, self, list(changed)), Entries(changed, learned))

    def _check_fresh(self, key: str, based_on: int) -> None:
        if self.decision(key).changed > based_on:
            raise StaleError(f"'{self.char(key)}', attempt {self.numbers[key]}")

    def _mend(self, item: Place, key: str, decision: Decision, learned: dict[str, KnownWay]) -> tuple[Decision, str]:
        attempt, do = self.attempt(key), item.of("do").value
        if do == "learn":
            way = known_way(attempt, decision)
            if refused(way):
                raise OperationError("it has more strokes, or longer ones, than can be remembered")
            learned[decision.char or attempt.char] = way
            return decision, "remembered as the hand's own way"
        if do == "relabel":
            return self._relabel(item, key, decision)
        if do == "carry":
            source = item.of("from").text(None, 200)
            raise_faults(item.faults)
            alike = carried(self, source, key)
            if not alike.fits:
                raise OperationError(f"attempt {self.numbers[key]} {alike.why}")
            new = with_strokes(attempt, decision, alike.strokes, f"mended alike: {alike.why}")
            return new, "mended alike"
        if do == "reading":
            number = item.of("number").whole(0, 1000)
            raise_faults(item.faults)
            found = self.readings.of(self, key, decision.char or attempt.char)
            if number >= len(found):
                raise OperationError(f"there is no reading {number + 1}, the tracer has {len(found)}")
            words = f"reading {number + 1} chosen"
            return with_strokes(attempt, decision, found[number].strokes, words), words
        return mend(item, attempt, decision)

    def _relabel(self, item: Place, key: str, decision: Decision) -> tuple[Decision, str]:
        """Return a decision with the label at `item`, the strokes read anew as that character where they can be."""
        attempt = self.attempt(key)
        new, words = mend(Place({**item.value, "do": "label"}, item.path, item.faults), attempt, decision)
        try:
            found = self.readings.of(self, key, new.char or attempt.char)
        except (OperationError, HandFolderError):
            return new, words
        return (with_strokes(attempt, new, found[0].strokes, words) if found else new), words

    def _store(self, words: str, after: Entries, *, number: int | None = None) -> None:
        """Write the step, then the decisions with it in effect; `number`: it is an old step undone or done again."""
        decisions, version = self.decisions, self.decisions.version + 1
        if number is None:
            number = decisions.step + 1
            before = Entries(
                {key: decisions.attempts.get(key) for key in after.attempts},
                {char: decisions.characters.get(char) for char in after.characters},
            )
            save_step(self.steps_folder, number, Step(words, before, after))
        attempts = dict(decisions.attempts)
        for key, d in after.attempts.items():
            attempts[key] = dataclasses.replace(d or NOTHING, changed=version)
        characters = dict(decisions.characters)
        for char, way in after.characters.items():
            if way is None:
                characters.pop(char, None)
            else:
                characters[char] = dataclasses.replace(way, changed=version)
        unread = {
            "attempts": {k: v for k, v in decisions.unread.get("attempts", {}).items() if k not in attempts},
            "characters": {k: v for k, v in decisions.unread.get("characters", {}).items() if k not in characters},
        }
        self.decisions = Decisions(version, number, attempts, characters, unread, decisions.faults)
        file = save_decisions(self.hand.decisions_file, self.decisions)
        self._decisions_seen = stamp_of(file)

    @property
    def steps_folder(self) -> Path:
        """Where the steps are kept."""
        return self.hand.path / "steps"

    def undo(self, based_on: int) -> str:
        """Undo the last step in effect and return its words; '' where there is none.

        Raises
        ------
        StaleError
            If anything changed since version `based_on`: a page must not undo what it has not seen.
        """
        with self.lock, one_writer(self.hand):
            self._check_version(based_on)
            number = self.decisions.step
            step = load_step(self.steps_folder, number)
            if step is None:
                return ""
            self._store(step.words, step.before, number=number - 1)
            return step.words

    def redo(self, based_on: int) -> str:
        """Take the step that was undone last again and return its words; '' where there is none; see `undo`."""
        with self.lock, one_writer(self.hand):
            self._check_version(based_on)
            number = self.decisions.step + 1
            step = load_step(self.steps_folder, number)
            if step is None:
                return ""
            self._store(step.words, step.after, number=number)
            return step.words

    def _check_version(self, based_on: int) -> None:
        self.refresh()
        if self.decisions.version != based_on:
            raise StaleError("something")

    def next_words(self) -> tuple[str, str]:
        """Return in words what can be undone, and what can be done again; '' for nothing."""
        with self.lock:
            undo, redo = (step_words(self.steps_folder, self.decisions.step + n) for n in (0, 1))
        return undo, redo


def _numbers(attempts: Iterable[Attempt]) -> dict[str, int]:
    """Return the numbers of attempts by id: as on their sheet where there is but one, blank ones counted."""
    by_char: dict[str, list[Attempt]] = {}
    for attempt in attempts:
        by_char.setdefault(attempt.char, []).append(attempt)
    return {
        a.id: number
        for found in by_char.values()
        for number, a in enumerate(sorted(found, key=lambda a: (a.attempt, a.id)), 1)
    }


def _summary(said: list[str], book: ReviewSession, keys: list[str]) -> str:
    what = dict.fromkeys(said)
    chars = " ".join(dict.fromkeys(book.char(key) for key in keys[:12]))
    place = f"'{chars}', attempt {book.numbers[keys[0]]}" if len(keys) == 1 else f"{len(keys)} attempts of {chars}"
    return f"{place}: {', '.join(list(what)[:3])}"[:400]
