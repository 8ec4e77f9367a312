"""The state behind the page: whatever is done can be undone and done again, and what is stored is what is shown."""

from __future__ import annotations

import json
import shutil
import threading
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from capture.errors import HandFolderError
from ownhand.hands.captures import load_captures, save_capture
from ownhand.hands.decisions import apply_decisions
from ownhand.hands.decisions_file import load_decisions
from ownhand.hands.hand import open_hand
from ownhand.review.edits.operations import OperationError
from ownhand.review.session.history import load_step, save_step, step_file
from ownhand.review.session.review_session import ReviewSession, StaleError
from ownhand.validation import FaultsError, Place
from tests.ownhand.stand_in import write_hand

KEYS = [f"LAMP1/1/{row}.{number}" for row in (1, 2) for number in (1, 2)]


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    return write_hand(tmp_path_factory.mktemp("written") / "hand", "te", attempts=2, faults=False)


def test_attempts_at_a_letter_on_several_sheets_have_numbers_of_their_own(hand):
    (capture,) = load_captures(hand)
    again = tuple(replace(a, id=a.id.replace("LAMP1", "LAMP2")) for a in capture.attempts)
    save_capture(hand, replace(capture, sheet="LAMP2", attempts=again, ink={}))
    book = ReviewSession(hand)

    numbers = [{key: book.numbers[key] for key in keys} for keys in book.asked.values()]
    assert [sorted(found.values()) for found in numbers] == [[1, 2, 3, 4], [1, 2, 3, 4]]
    assert numbers[0]["LAMP1/1/1.1"] < numbers[0]["LAMP2/1/1.1"] < numbers[0]["LAMP1/1/1.2"]


@pytest.fixture
def book(hand):
    return ReviewSession(hand)


def take(book, *mends):
    book.take(book.decisions.version, Place(list(mends), "mends", []))


def looks(book):
    """Return everything that can be seen of the decisions."""
    ways = {c: [s.points_mm.tolist() for s in w.strokes] for c, w in book.decisions.characters.items()}
    attempts = [
        (a.id, a.char, a.status, [s.points_mm.tolist() for s in a.strokes])
        for a in apply_decisions(book.attempts.values(), book.decisions)
    ]
    sides = [
        (k, d.left_mm, d.right_mm, d.verdict) for k, d in sorted(book.decisions.attempts.items()) if not d.is_empty
    ]
    return attempts, ways, sides


def test_steps_are_kept_in_small_files_that_people_can_read(book):
    take(book, {"attempt": KEYS[0], "do": "turn", "stroke": 0})
    text = step_file(book.steps_folder, 1).read_text(encoding="utf-8")

    assert '"words": "\'t\', attempt 1: stroke 1 turned round"' in text


def test_a_step_file_that_is_damaged_is_named_and_the_decisions_stay(book):
    take(book, {"attempt": KEYS[0], "do": "keep"})
    file = step_file(book.steps_folder, 1)
    file.write_text("{", encoding="utf-8")

    with pytest.raises(HandFolderError, match=f"{file.name}: is not JSON"):
        book.undo(1)
    assert load_decisions(book.hand.decisions_file).attempts[KEYS[0]].verdict == "kept"


def test_a_step_that_was_written_but_never_took_effect_is_written_over(book):
    take(book, {"attempt": KEYS[0], "do": "keep"})
    step = load_step(book.steps_folder, 1)
    save_step(book.steps_folder, 2, step)
    anew = ReviewSession(book.hand)
    take(anew, {"attempt": KEYS[1], "do": "keep"})

    assert "attempt 2" in load_step(book.steps_folder, 2).words
    assert anew.undo(2).endswith("kept")
    assert anew.decision(KEYS[0]).verdict == "kept"


def test_what_another_program_wrote_into_the_folder_is_taken_in_before_anything_is_changed(book):
    other = ReviewSession(book.hand)
    take(other, {"attempt": KEYS[0], "do": "keep"})

    with pytest.raises(StaleError):
        book.take(0, Place([{"attempt": KEYS[0], "do": "set aside"}], "mends", []))
    book.take(0, Place([{"attempt": KEYS[1], "do": "set aside"}], "mends", []))
    assert {k: d.verdict for k, d in load_decisions(book.hand.decisions_file).attempts.items()} == {
        KEYS[0]: "kept",
        KEYS[1]: "set aside",
    }


number = st.integers(0, 2)
pair = st.tuples(st.floats(-2, 8), st.floats(-3, 8)).map(lambda p: [round(v, 2) for v in p])
operation = st.one_of(
    st.fixed_dictionaries({"do": st.sampled_from(["keep", "set aside", "undecide", "as read", "learn"])}),
    st.fixed_dictionaries({"do": st.sampled_from(["turn", "delete"]), "stroke": number}),
    st.fixed_dictionaries({"do": st.just("place"), "stroke": number, "to": number}),
    st.fixed_dictionaries({"do": st.just("join"), "stroke": number, "other": number}),
    st.fixed_dictionaries({"do": st.just("split"), "stroke": number, "at": pair}),
    st.fixed_dictionaries({"do": st.just("move"), "stroke": number, "by": pair}),
    st.fixed_dictionaries({"do": st.just("bend"), "stroke": number, "point": st.integers(0, 9), "to": pair}),
    st.fixed_dictionaries({"do": st.just("redraw"), "samples": st.lists(pair, min_size=1, max_size=5)}),
    st.fixed_dictionaries({"do": st.just("baseline"), "mm": st.floats(-1, 1)}),
    st.fixed_dictionaries({"do": st.just("bearings"), "left_mm": st.none() | st.floats(0, 1)}),
    st.fixed_dictionaries({"do": st.just("label"), "char": st.sampled_from(["t", "e", "é"])}),
    st.fixed_dictionaries({"do": st.just("carry"), "from": st.sampled_from(KEYS)}),
)
step = st.lists(
    st.tuples(st.sampled_from(KEYS), operation).map(lambda p: {"attempt": p[0], **p[1]}), min_size=1, max_size=3
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(st.lists(step, max_size=6))
def test_whatever_was_done_is_undone_and_done_again_exactly(written, tmp_path_factory, steps):
    folder = tmp_path_factory.mktemp("law") / "hand"
    shutil.copytree(written.path, folder)
    book = ReviewSession(open_hand(folder))
    seen = [looks(book)]
    for mends in steps:
        try:
            take(book, *mends)
        except (OperationError, FaultsError):
            assert looks(book) == seen[-1], "what is refused changes nothing"
        else:
            seen.append(looks(book))
            assert looks(ReviewSession(open_hand(folder))) == seen[-1], "what is stored is what is shown"
    for before in seen[-2::-1]:
        assert book.undo(book.decisions.version)
        assert looks(book) == before
    assert book.undo(book.decisions.version) == ""
    for after in seen[1:]:
        assert book.redo(book.decisions.version)
        assert looks(book) == after
    assert book.redo(book.decisions.version) == ""
    shutil.rmtree(folder)


TOO_FAR = [
    [{"do": "baseline", "mm": 150}],
    [{"do": "baseline", "mm": 1e13}],
    [{"do": "bearings", "left_mm": -1e13}],
    [{"do": "move", "stroke": 0, "by": [9999, 0]}],
    [{"do": "move", "stroke": 0, "by": [200, 0]}] * 3,
    [{"do": "bend", "stroke": 0, "point": 0, "to": [10**400, 0]}],
    [{"do": "redraw", "samples": [[0, 0], [1e13, 0]]}],
    [{"do": "redraw", "samples": [[0, 0], [0, 0]]}] * 300,
    [{"do": "redraw", "samples": [[-300 + 600 * (i % 2), i % 300] for i in range(3000)]}] * 3
    + [{"do": "join", "stroke": 1, "other": 2}, {"do": "join", "stroke": 1, "other": 2}] * 9,
    [{"do": "set aside", "reason": "x" * 201}],
    [{"do": "label", "char": "\ud800"}],
    [{"do": "label", "char": "a" + "\u0301" * 20}],
    [{"do": "turn", "stroke": 10**400}],
    [{"do": "reading", "number": 1e13}],
]


@pytest.mark.parametrize("mends", TOO_FAR)
def test_an_act_that_goes_too_far_is_refused_and_the_hand_stays_whole(book, mends):
    before = looks(book)

    with pytest.raises((FaultsError, OperationError)):
        take(book, *({"attempt": KEYS[0], **mend} for mend in mends))

    assert looks(book) == before
    assert looks(ReviewSession(book.hand)) == before
    assert not load_decisions(book.hand.decisions_file).faults


def test_what_is_stored_is_always_what_its_reader_accepts(book):
    for number in range(20):
        try:
            take(book, {"attempt": KEYS[0], "do": "split", "stroke": number % 5, "at": [number % 7, number % 3]})
            take(book, {"attempt": KEYS[0], "do": "move", "stroke": 0, "by": [40, 40]})
        except OperationError:
            continue

    again = load_decisions(book.hand.decisions_file)
    assert not again.faults
    assert len(again.attempts[KEYS[0]].strokes) > 2


def test_a_decision_that_cannot_be_read_stays_in_the_file_until_it_is_decided_anew(book):
    take(book, {"attempt": KEYS[0], "do": "keep"}, {"attempt": KEYS[1], "do": "keep"})
    file = book.hand.decisions_file
    data = json.loads(file.read_text())
    data["attempts"][KEYS[0]]["baseline_mm"] = 150
    file.write_text(json.dumps(data))

    later = ReviewSession(book.hand)
    take(later, {"attempt": KEYS[2], "do": "keep"})

    assert json.loads(file.read_text())["attempts"][KEYS[0]]["baseline_mm"] == 150
    take(later, {"attempt": KEYS[0], "do": "baseline", "mm": 1})
    assert json.loads(file.read_text())["attempts"][KEYS[0]]["baseline_mm"] == 1
    assert not load_decisions(file).faults


def test_two_programs_that_decide_on_one_hand_lose_nothing(book):
    other = ReviewSession(book.hand)
    rounds = 12

    def decide(session, key):
        for number in range(rounds):
            session.take(10**6, Place([{"attempt": key, "do": "baseline", "mm": number / 10}], "mends", []))

    threads = [threading.Thread(target=decide, args=(s, k)) for s, k in ((book, KEYS[0]), (other, KEYS[1]))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    decisions = load_decisions(book.hand.decisions_file)
    assert decisions.version == decisions.step == 2 * rounds
    assert {key: decisions.attempts[key].baseline_mm for key in KEYS[:2]} == dict.fromkeys(KEYS[:2], (rounds - 1) / 10)
