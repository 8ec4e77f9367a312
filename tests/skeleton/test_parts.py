"""Every part of the tracer has a guard: a small drawing that is read rightly with the part, and not without it.

The parts and the ways to switch them off are those of `tests.bench ablate`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from unittest.mock import patch

import cv2
import numpy as np
import pytest

import skeleton
from capture.units import Points
from skeleton import joint_reading, pipeline, selection
from skeleton.analysis import Analysis, ReadingHypothesis
from skeleton.ductus.curve import pen_line
from skeleton.fitting.line_fit import fit_context
from skeleton.fitting.refinement import refine
from skeleton.geometry.stroke import Stroke
from skeleton.graph.ink_graph import build_graph
from skeleton.graph.junctions import Network
from skeleton.graph.pruning import repair
from skeleton.hypotheses import labelled
from skeleton.hypotheses.forms_sought import models_of
from skeleton.hypotheses.good_continuation import smooth_walks
from skeleton.ink.ink_map import find_ink
from skeleton.matching.template_matching import Model, find_matches
from skeleton.pipeline import build_state_graph_of, read
from skeleton.scoring.path_features import path_scorer
from skeleton.states.state_graph import States
from tests.bench.accented import accented
from tests.bench.switches import SWITCHES, Switch, switch
from tests.bench.trace_data import hershey, kanjivg, sample_hand
from tests.bench.trace_ink import ink
from tests.bench.trace_score import gap, score, spread
from tests.skeleton.test_parallel_lines import LOOPED_R
from tests.skeleton.test_refinement import distance, ink_of, scan
from tests.skeleton.test_straightness_and_endpoints import corner

DPI = 300.0
PX_PER_MM = DPI / 25.4

Guard = Callable[[Switch], bool]
"""Tells whether small drawings are read as they should be, with the parts that are on."""


def line(*points: tuple[float, float]) -> Points:
    """Return straight lines through points, mm, y down."""
    return np.array(points, float)


def arc(x: float, y: float, r: float, start_deg: float, end_deg: float) -> Points:
    """Return an arc, mm, y down; angles counter-clockwise as seen."""
    t = np.radians(np.linspace(start_deg, end_deg, 60))
    return np.stack([x + r * np.cos(t), y - r * np.sin(t)], axis=1)


def lines_of(grey: np.ndarray, char: str | None, part: Switch, dpi: float = DPI) -> list[Points]:
    """Return the strokes read in a picture."""
    got = read(grey, dpi, char, handedness="right", known=(), options=part.options, judged=False)
    return [s.points_mm for s in got.strokes]


def right(strokes: list[Points], char: str | None, part: Switch, **how: object) -> bool:
    """Tell whether strokes are read in their paths, their order and their directions."""
    grey, offset = ink(strokes, **how)  # type: ignore[arg-type]
    return score(lines_of(grey, char, part), [s + offset for s in strokes], 0.5).full


def most(part: Switch, kind: str, inked: str, *, least: int) -> bool:
    """Tell whether at least so many letters are read rightly; each is a character of a set and the seed of its ink."""
    found = 0
    for char, seed in (name.split("/") for name in inked.split()):
        if kind == "keeper":
            case = next(sample_hand(char, 1))
        elif kind == "hershey":
            case = next(c for c in hershey() if c.char == char)
        else:
            case = next(kanjivg(char, known=kind == "kanjivg"))
        found += right(case.strokes, case.char if case.known else None, part, seed=int(seed))
    return found >= least


def crossing_lines_stay_straight(part: Switch) -> bool:
    """Lines that cross aslant: thinning makes two forks of them."""
    for angle in np.radians((60, 110)):
        half = 2.5 * np.array([np.cos(angle), np.sin(angle)])
        strokes = [line((-2.5, 0), (2.5, 0)), np.stack([-half, half])]
        grey, offset = ink(strokes)
        found, true = [spread(s) for s in lines_of(grey, None, part)], [spread(s + offset) for s in strokes]
        if len(found) != 2 or any(min(min(gap(f, t), gap(f[::-1], t)) for f in found) > 0.1 for t in true):
            return False
    return True


def a_t_begins_with_its_stem(part: Switch) -> bool:
    """The general rules have the bar first."""
    return right([line((1.5, 0), (1.5, 5)), line((0, 1.5), (3, 1.5))], "t", part)


def a_bow_lies_in_the_middle_of_its_ink(part: Switch) -> bool:
    grey, offset = ink([arc(0, 0, 2.5, 30, 300)], kind="clean")
    (found,) = lines_of(grey, None, part)
    return bool(np.abs(np.hypot(*(found - offset).T) - 2.5).mean() < 0.008)


def a_bow_bends_evenly(part: Switch) -> bool:
    """The turns between steps of a tenth of a pen width: their standard deviation, radians."""
    grey, _ = ink([arc(0, 0, 2.5, 30, 300)])
    (found,) = lines_of(grey, None, part)
    way = np.diff(spread(found), axis=0)
    turn = np.diff(np.unwrap(np.arctan2(way[:, 1], way[:, 0])))
    return bool(turn[2:-2].std() < 0.025)


def streaky_lines_are_two(part: Switch) -> bool:
    strokes = [line((0, 0), (6, 1)), line((0, 2), (6, 4))]
    pictures = [ink(strokes, kind="skipping", seed=seed, pen_mm=0.8)[0] for seed in range(4)]
    return all(len(lines_of(grey, None, part)) == 2 for grey in pictures)


def pencilled_bows_are_one_stroke(part: Switch) -> bool:
    pictures = [ink([arc(0, 0, 2.5, 30, 300)], dpi=600, kind="pencil", seed=seed)[0] for seed in range(4)]
    return all(len(lines_of(grey, None, part, 600)) == 1 for grey in pictures)


def a_bump_is_no_stroke(part: Switch) -> bool:
    """A bump of a quarter of a pen width on a line's edge."""
    edges = []
    for seed in range(4):
        grey, _ = ink([line((0, 0), (5, 0))], pen_mm=0.8, seed=seed)
        grey = grey.copy()
        middle = grey.shape[1] // 2
        top = int(np.flatnonzero(grey[:, middle] < 120)[0])
        grey[top - 3 : top, middle - 1 : middle + 1] = 60
        found = find_ink(grey, DPI)
        assert found is not None
        edges.append(len(repair(build_graph(found), found, reach=False).edges))
    return edges == [1] * 4


def strokes_joined_by_a_thread_of_ink_are_two(part: Switch) -> bool:
    """A level line, the top of an upright one to its right, and a thread a pixel wide between their tips."""
    counts = []
    for seed, kind in ((0, "clean"), (1, "clean"), (0, "noisy"), (1, "noisy")):
        grey, offset = ink([line((0, 0), (2.4, 0)), line((3.1, 0), (3.1, 3))], seed=seed, kind=kind)
        grey = grey.copy()
        x, y = (int(v) for v in np.round((offset + np.array([2.4, 0])) * PX_PER_MM - 0.5))
        thread = grey[y, x : x + 8]
        np.minimum(thread, 70, out=thread)
        counts.append(len(lines_of(grey, None, part)))
    return counts == [2] * 4


def a_skip_is_bridged(part: Switch) -> bool:
    grey, offset = ink([line((0, 0), (6, 0))])
    grey = grey.copy()
    x = round((3 + offset[0]) * PX_PER_MM)
    grey[:, x - 3 : x + 3] = np.maximum(grey[:, x - 3 : x + 3], 205)
    return len(lines_of(grey, None, part)) == 1


def a_hook_has_a_tip(part: Switch) -> bool:
    """A hook of a pen width at a stem's head: thinning shows the stem alone."""
    tips = []
    for seed in range(3):
        found = find_ink(ink([line((0.45, 0.35), (0, 0), (0, 5))], seed=seed)[0], DPI)
        assert found is not None
        tips.append(sum(len(e) == 1 for e in repair(build_graph(found), found).ends_at()))
    return min(tips) >= 3


def arms_that_bend_too_much_stop(part: Switch) -> bool:
    """Two steep arms on a level line end there; the four arms of an upright cross go on."""
    walks = []
    for angles in ((0, 180, 68, 112), (0, 90, 180, 270)):
        for seed, kind in ((0, "clean"), (0, "noisy"), (1, "noisy")):
            arms = [np.array([[0.0, 0.0], [3 * np.cos(t), -3 * np.sin(t)]]) for t in np.radians(angles)]
            found = build_state_graph_of(ink(arms, kind=kind, seed=seed)[0], DPI)
            assert found is not None
            walks.append(len(smooth_walks(*found[1:])))
    return walks == [3, 3, 3, 2, 2, 2]


def a_filled_ring_is_said(part: Switch) -> bool:
    turn = np.linspace(0, 2 * np.pi, 60)
    rings = [r * np.stack([np.sin(turn), -np.cos(turn)], axis=1) for r in (0.55, 0.2)]
    blot, plain = (ink([line((0.55, -3), (0.55, 0.5)), *r])[0] for r in (rings, []))
    kinds = [[f.kind for f in skeleton.read_character(g, DPI, "d").findings] for g in (blot, plain)]
    return "filled counter" in kinds[0] and "filled counter" not in kinds[1]


BOWL = [(1.9, 0.25), (1.0, 0.0), (0.1, 1.6), (0.9, 3.4), (1.8, 2.4), (2.1, 0.0)]
LETTER_A = pen_line(np.array([*BOWL, (2.05, 2.0), (2.2, 3.4), (2.7, 3.2)]), np.arange(9) == 5)


def a_pen_turns_back_at_a_corner(part: Switch) -> bool:
    """An a whose stem begins at a corner of which thinning leaves no tip."""
    return all(right([LETTER_A], "a", part, seed=seed) for seed in range(3))


def dots_far_aside_do_not_bend_their_letter(part: Switch) -> bool:
    """Where letter and marks are laid over the ink as one, as they are of letters that nothing more is known of."""
    part = replace(part, options=replace(part.options, marks_apart=False))
    dots = [np.array([(0.7, -1.2), (0.72, -1.15)]), np.array([(1.6, -1.25), (1.62, -1.2)])]
    shifts = ((0.9, 0.0), (-0.5, -1.4), (1.6, -1.4), (-1.2, -2.4))
    return all(right([LETTER_A, *(d + shift for d in dots)], "\u00e4", part, seed=3) for shift in shifts)


def a_ring_that_is_not_quite_closed_stays_open(part: Switch) -> bool:
    """The ink of begin and end touches: thinning leads a line through both."""
    t = np.linspace(0, 1, 120)
    for begin, left_open in ((70, 18), (70, 20), (80, 18)):
        angle = np.radians(begin + (360 - left_open) * t)
        ring = np.stack([1.6 * np.cos(angle), -1.8 * np.sin(angle)], axis=1)
        if not all(right([ring], "o", part, seed=seed) for seed in range(4)):
            return False
    return True


def a_leg_that_loops_over_the_stem_is_one_stroke(part: Switch) -> bool:
    """An R whose bow and leg are one stroke: a match passes one side of the loop twice and leaves the other bare."""
    for seed in range(3):
        found = build_state_graph_of(ink(list(LOOPED_R), seed=seed)[0], DPI)
        assert found is not None
        witness = path_scorer(*found[1:])
        models = [m for m in models_of("R", "right", ()) if m.name == "bow and leg in one"]
        added_strokes = []
        for match in find_matches(*found[1:], models):
            count = witness.coverage(match.end_to_end)
            added_strokes += [added for _, added, _ in labelled.completed(witness.context, match.end_to_end, count)]
        if min(added_strokes) > 0:
            return False
    return True


def a_reading_that_explains_the_ink_is_preferred(part: Switch) -> bool:
    """A stem that was begun with a hook aside, against a stem alone that is likelier by all else."""
    stem = np.stack([np.zeros(60), np.linspace(0, 6, 60)], axis=1)
    hook = np.stack([np.linspace(0.22, 0, 14), np.linspace(1.2, 0, 14)], axis=1)
    grey, offset = ink([np.concatenate([hook, stem])], seed=1)
    found = find_ink(grey, DPI)
    assert found is not None
    plain, hooked = ((s + offset) * found.px_per_mm - 0.5 for s in (stem, np.concatenate([hook, stem])))
    options = [ReadingHypothesis("plain", lambda: [plain], 0.0), ReadingHypothesis("hooked", lambda: [hooked], 0.5)]
    weighed = pipeline._refit_likeliest(options, fit_context(found))
    return [o.name for o in weighed] == ["hooked", "plain"]


def readings_that_are_nearly_alike_win(part: Switch) -> bool:
    """Three ways to draw a hook share the odds of one way of writing; the likeliest single reading is another way."""
    hooks = [np.array([[0.0, h], [0.0, 0.0], [0.0, 5.0], [3.0, 5.0]]) for h in (0.2, 0.4, 0.6)]
    shapes = [[line((0, 0), (0, 5)), line((0, 5), (3, 5))], *([h] for h in hooks)]
    costs = -np.log([0.34, 0.2, 0.24, 0.22])
    names = ("apart", "short", "middle", "long")
    options = tuple(
        ReadingHypothesis(n, partial(list, s), float(c)) for n, s, c in zip(names, shapes, costs, strict=True)
    )
    found = find_ink(ink([line((0, 0), (0, 5))])[0], DPI)
    assert found is not None
    analysis = Analysis(found, options, part.options, None)
    return selection.select_reading(analysis, judged=False).allograph == "middle"


def one_hand_votes(part: Switch) -> bool:
    """Three attempts, of which two are surely written one way; the third one's ink says another way, not surely."""
    one, other = [line((0, 0), (0, 5)), line((-1, 2), (1, 2))], [line((-1, 2), (1, 2)), line((0, 0), (0, 5))]
    found = find_ink(ink(one)[0], DPI)
    assert found is not None

    def analysed(costs: tuple[float, float], *_: object, **__: object) -> Analysis:
        ways = zip(("one", "other"), (one, other), costs, strict=True)
        return Analysis(found, tuple(ReadingHypothesis(n, partial(list, s), c) for n, s, c in ways), part.options, None)

    with patch.object(joint_reading, "analyse", analysed):
        read_all = joint_reading.read_together([(0.0, 6.0), (0.0, 6.0), (1.0, 0.0)], DPI, "t")  # type: ignore[list-item]
    return [r.allograph for r in read_all] == ["one"] * 3


def what_the_ink_does_not_tell_is_as_it_is_known(part: Switch) -> bool:
    """A t from its bar's right end and from its stem's foot, as the writer is known to write it."""
    odd = [line((3, 1.5), (0, 1.5)), line((1.5, 5), (1.5, 0))]
    grey, offset = ink(odd)
    known = [[Stroke(2 * s + 7) for s in odd]]
    found = read(grey, DPI, "t", handedness="right", known=known, judged=False)
    return score([s.points_mm for s in found.strokes], [s + offset for s in odd], 0.5).full


def small_counters_are_open(part: Switch) -> bool:
    """A ring whose counter is a fifth of a millimetre wide, beside lines that tell the pen's width."""
    for radius, kind in ((0.36, "clean"), (0.38, "noisy")):
        strokes = [arc(0, 0, radius, 0, 360), line((2, -2), (2, 6)), line((4, -2), (4, 6))]
        found = find_ink(ink(strokes, kind=kind, seed=1)[0], DPI)
        assert found is not None
        paper_and_counter = cv2.connectedComponents(1 - found.mask, connectivity=4)[0] - 1
        if paper_and_counter != 2:
            return False
    return True


def the_te_of_kana_turns_back(part: Switch) -> bool:
    """What the ink tells of second passings and ends; l is KanjiVG's."""
    return most(part, "kana", "\u3066/0 \u3066/1 \u3066/2", least=3) and most(part, "kanjivg", "l/0", least=1)


def drafted_letters_are_drawn_line_by_line(part: Switch) -> bool:
    return most(part, "kanjivg", "L/0 L/1 z/0 z/1", least=3) and most(part, "hershey", "G/0 G/1 G/2", least=2)


def every_reading_passes_all_the_ink(part: Switch) -> bool:
    """An l with a bar through it and a tail that no form has."""
    strokes = [line((0, 0), (0, 6)), line((-1.5, 2), (1.5, 2.5)), line((1.2, 5), (2.4, 6.2))]
    found = build_state_graph_of(ink(strokes)[0], DPI)
    assert found is not None
    witness, readings = path_scorer(*found[1:]), labelled_readings(found[1:], models_of("l", "right", ()))
    return max(witness.bare(witness.coverage(c.end_to_end)) for c in readings) < 0.02


def labelled_readings(ground: tuple[Network, States], models: list[Model]) -> list[labelled.Hypothesis]:
    """Return the readings that are considered for a known character."""
    return labelled.candidates(path_scorer(*ground), find_matches(*ground, models), models)


def a_ring_that_overlaps_itself_ends_where_the_pen_left(part: Switch) -> bool:
    turn, wide = np.deg2rad(np.linspace(0, 420, 120)), np.linspace(0.96, 1.04, 120)
    ring = np.stack([2.4 * wide * -np.sin(turn), 3.2 * wide * -np.cos(turn)], axis=1)
    return right([ring], None, part, seed=2)


def strokes_are_parted_and_joined(part: Switch) -> bool:
    """The small wa of katakana."""
    return most(part, "kana", "\u30ee/0 \u30ee/1 \u30ee/2", least=2)


def hooks_and_loops_are_tried(part: Switch) -> bool:
    """The mu of hiragana."""
    return most(part, "kana", "\u3080/0 \u3080/1 \u3080/2", least=2)


def strokes_that_begin_in_one_place_are_joined(part: Switch) -> bool:
    """K whose only known form has arm and leg begun at the stem; the pen may have come down the arm and gone on."""
    strokes = [line((0, 0), (0, 6)), line((0, 3), (2.4, 1)), line((0, 3), (2.4, 6))]
    two = 0
    for seed in range(3):
        found = build_state_graph_of(ink(strokes, seed=seed)[0], DPI)
        assert found is not None
        two += sum(len(c.walks) == 2 for c in labelled_readings(found[1:], [Model("own", tuple(strokes))]))
    return two >= 4


def scribble_labelled_l_follows_the_smoothest_lines(part: Switch) -> bool:
    scribbles = [np.cumsum(np.random.default_rng(seed).normal(0, 1.0, (40, 2)), axis=0) for seed in (4, 5)]
    with switch("forms that the picture suggests").off():
        return [len(lines_of(ink([s])[0], "l", part)) for s in scribbles] == [3, 5]


def forms_decide_between_alike_readings(part: Switch) -> bool:
    """Without the network that sees the shapes besides."""
    with switch("writing habits").off():
        return most(part, "keeper", "b/1 a/2 g/0 K/2", least=3) and most(part, "hershey", "e/0 e/2", least=2)


def capitals_are_read_as_people_write_them(part: Switch) -> bool:
    return most(part, "hershey", "E/0 E/1 E/2 G/0 G/1 G/2", least=5)


def a_drawn_bowl_and_stem_are_sketched(part: Switch) -> bool:
    return most(part, "hershey", "a/0 a/1 a/2 g/0 g/1 g/2", least=5)


def letters_under_accents_are_read_as_letters(part: Switch) -> bool:
    """Letters of KanjiVG with marks on them, of which the table as a whole misreads some."""
    cases = accented(list(kanjivg("aeoucnszAEOU", known=True)))
    return sum(right(c.strokes, c.char, part, seed=i) for i, c in enumerate(cases)) >= len(cases) - 1


def two_widths_speak_for_two_strokes(part: Switch) -> bool:
    """By how many log odds an L in two strokes gains on one in one stroke when its lines were drawn with two pens."""
    gains = []
    for widths in ((0.5, 0.5), (0.42, 0.6)):
        found = build_state_graph_of(corner(widths), DPI)
        assert found is not None
        table = [m for m in models_of("L", "right", ()) if not m.name.startswith("as people")]
        every = labelled_readings(found[1:], table)
        one, two = (min(c.cost for c in every if len(c.walks) == n) for n in (1, 2))
        gains.append(one - two)
    return gains[1] - gains[0] > 3.0


def ink_that_is_no_such_letter_follows_the_general_rules(part: Switch) -> bool:
    names = []
    for char in "8&":
        case = next(c for c in hershey() if c.char == char)
        with switch("forms that the picture suggests").off():
            found = read(ink(case.strokes)[0], DPI, "l", handedness="right", known=(), judged=False)
        names.append(found.allograph)
    return names == ["", ""]


def a_hook_of_a_pen_width_is_followed(part: Switch) -> bool:
    turn = np.radians(100)
    hooked = np.array([[20.0, 45.0], [75.0, 45.0], [75.0 + 7.5 * np.cos(turn), 45.0 + 7.5 * np.sin(turn)]])
    found = refine([hooked[:2] - np.array([1.0, 0.0])], ink_of(scan([hooked], (90, 100))))[0].line
    return bool(distance(hooked[2:], found)[0] < 0.6)


def strokes_that_run_together_keep_their_sides(part: Switch) -> bool:
    upper = np.array([[15.0, 20.0], [30.0, 43.4], [90.0, 43.4], [105.0, 20.0]])
    lower = upper * [1, -1] + [0, 90]
    woven = [np.array([[15.0, 20], [30, 43.6], [50, 44], [70, 46], [86, 46.5], [90, 45], [105, 20]])]
    woven.append(woven[0] * [1, -1] + [0, 90])
    found = refine(woven, ink_of(scan([upper, lower], (90, 120))))
    return all(distance(f.line, true).mean() < 0.2 for f, true in zip(found, (upper, lower), strict=True))


def a_slightly_rising_line_runs_to_the_right(part: Switch) -> bool:
    """Without the pen events, which say much the same."""
    with switch("pen events").off():
        return all(right([line((0, 0.8), (4, 0))], None, part, seed=seed) for seed in range(2))


def the_left_one_of_two_stems_is_first(part: Switch) -> bool:
    return all(right([line((0, 0), (0, 4)), line((2, 0), (2, 4))], None, part, seed=seed) for seed in range(3))


GUARDS: dict[str, Guard] = {
    "junctions redrawn": crossing_lines_stay_straight,
    "ductus table": a_t_begins_with_its_stem,
    "marks apart": letters_under_accents_are_read_as_letters,
    "forms that the picture suggests": a_drawn_bowl_and_stem_are_sketched,
    "refinement on grey ink": a_bow_lies_in_the_middle_of_its_ink,
    "smooth curves": a_bow_bends_evenly,
    "sharpened mask": small_counters_are_open,
    "streaks closed": streaky_lines_are_two,
    "grain smoothed": pencilled_bows_are_one_stroke,
    "spurs pruned": a_bump_is_no_stroke,
    "necks cut": strokes_joined_by_a_thread_of_ink_are_two,
    "skips bridged": a_skip_is_bridged,
    "tips extended": a_hook_has_a_tip,
    "pen events": the_te_of_kana_turns_back,
    "drafting": drafted_letters_are_drawn_line_by_line,
    "turning at corners": a_pen_turns_back_at_a_corner,
    "stop threshold": arms_that_bend_too_much_stop,
    "detached marks": dots_far_aside_do_not_bend_their_letter,
    "uncovered ink": every_reading_passes_all_the_ink,
    "parallel-line detours": a_leg_that_loops_over_the_stem_is_one_stroke,
    "endpoint optimisation": a_ring_that_overlaps_itself_ends_where_the_pen_left,
    "pen lifts": strokes_are_parted_and_joined,
    "junction merges": strokes_that_begin_in_one_place_are_joined,
    "hooks, loops, crossings": hooks_and_loops_are_tried,
    "smoothest lines beside forms": scribble_labelled_l_follows_the_smoothest_lines,
    "form similarity": forms_decide_between_alike_readings,
    "writing habits": capitals_are_read_as_people_write_them,
    "width consistency": two_widths_speak_for_two_strokes,
    "weight of unexplained ink": a_reading_that_explains_the_ink_is_preferred,
    "minimum Bayes risk": readings_that_are_nearly_alike_win,
    "general rules beside forms": ink_that_is_no_such_letter_follows_the_general_rules,
    "ends moved": a_ring_that_is_not_quite_closed_stays_open,
    "ends led on": a_hook_of_a_pen_width_is_followed,
    "blots untangled": strokes_that_run_together_keep_their_sides,
    "direction rules": a_slightly_rising_line_runs_to_the_right,
    "order rules": the_left_one_of_two_stems_is_first,
    "vote between attempts": one_hand_votes,
    "habits of a known attempt": what_the_ink_does_not_tell_is_as_it_is_known,
    "filled counters": a_filled_ring_is_said,
}


def test_every_part_that_can_be_switched_off_has_a_guard() -> None:
    assert sorted(GUARDS) == sorted(s.name for s in SWITCHES)


@pytest.mark.parametrize("name", GUARDS)
def test_with_all_parts_on_small_drawings_are_read_as_they_should_be(name: str) -> None:
    assert GUARDS[name](Switch("none"))


@pytest.mark.parametrize("name", GUARDS)
def test_a_guard_notices_when_its_part_is_off(name: str) -> None:
    with switch(name).off():
        assert not GUARDS[name](switch(name))
