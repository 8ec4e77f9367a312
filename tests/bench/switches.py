"""The tracer's parts, each with a way to switch it off: for `tests.bench ablate` and for the tests that guard them."""

from __future__ import annotations

import types
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any
from unittest.mock import patch

import numba
import numpy as np
from numpy.typing import NDArray

from skeleton.cues.pen_events import PenEvents
from skeleton.hypotheses import labelled, uncovered_ink, unlabelled
from skeleton.options import Options
from skeleton.scoring.form_similarity import FORM_FEATURE_NAMES
from skeleton.states import state_graph, state_graph_kernels
from skeleton.states.state_graph import DOUBLE_PASS_PRIOR_LOG_ODDS

ALONE, TOGETHER, KNOWN = "alone", "together", "one known"
"""How characters are read: each image by itself, all attempts of a writer, one attempt with another one known."""


@dataclass(frozen=True)
class Switch:
    """One part of the tracer, and what takes its place when it is off."""

    name: str
    patches: Mapping[str, Callable[[], Any]] = field(default_factory=dict)
    """For each name to be replaced, dotted, what makes the replacement."""

    options: Options = Options()  # noqa: RUF009  # frozen
    mode: str = ALONE

    @contextmanager
    def off(self) -> Iterator[None]:
        """Switch the part off for the length of a `with` block."""
        with ExitStack() as stack:
            for name, made in self.patches.items():
                stack.enter_context(patch(name, made()))
            yield


def recompiled(loop: Any, **constants: Any) -> Any:
    """Return a compiled loop made anew with other constants, or other loops, in place of its module's."""
    function = loop.py_func
    names = {**function.__globals__, **constants}
    copy = types.FunctionType(function.__code__, names, function.__name__, function.__defaults__)
    return numba.njit(copy)


def _of(value: Any) -> Callable[[], Any]:
    return lambda: value


def _without(weights: NDArray[np.float64], names: list[str], features: tuple[str, ...]) -> Callable[[], Any]:
    """Return weights (fluent, then drafted) that are 0 for some features."""
    out = weights.copy().reshape(2, -1)
    out[:, [names.index(f) for f in features if f in names]] = 0
    return _of(out.ravel())


@lru_cache(maxsize=1)
def _completed_without_detours() -> Any:
    @numba.njit
    def straight_on(g: Any, walks: Any, count: Any) -> Any:
        return [walks]

    return recompiled(uncovered_ink.completed, detour_both_ways=straight_on)


@lru_cache(maxsize=1)
def _steps_without_corners() -> Any:
    return recompiled(state_graph_kernels.single_steps, TURN_AT_CORNER=9.0)


def _no_events(ink: Any, places: NDArray[np.float64], headings: Any, measured: Any, **_: Any) -> PenEvents:
    n = len(places)
    return PenEvents(np.zeros(2 * n), np.zeros(2 * n), np.full(n, DOUBLE_PASS_PRIOR_LOG_ODDS))


def _both(name: str, off: Any) -> dict[str, Callable[[], Any]]:
    """Return patches of a name that readings with and without a label use."""
    return {f"{m.__name__}.{name}": _of(off) for m in (labelled, unlabelled)}


def _costs(*features: str) -> dict[str, Callable[[], Any]]:
    return {f"{m.__name__}.WEIGHTS": _without(m.WEIGHTS, m.NAMES, features) for m in (labelled, unlabelled)}


_PRUNING, _REFINEMENT, _PIPELINE = "skeleton.graph.pruning", "skeleton.fitting.refinement", "skeleton.pipeline"
_STATES, _HYPOTHESES = state_graph.__name__, "skeleton.hypotheses"


def _same(graph: Any, ink: Any) -> Any:
    return graph


SWITCHES = (
    Switch("junctions redrawn", options=Options(junctions=False)),
    Switch("ductus table", options=Options(ductus=False)),
    Switch("marks apart", options=Options(marks_apart=False)),
    Switch("forms that the picture suggests", {"skeleton.hypotheses.forms_sought.suggested_forms": _of(lambda *_: [])}),
    Switch("refinement on grey ink", options=Options(refine=False)),
    Switch("smooth curves", options=Options(smooth=False)),
    Switch("sharpened mask", {"skeleton.ink.mask.SHARPEN_WEIGHT": _of(0.0)}),
    Switch(
        "streaks closed",
        {
            f"skeleton.ink.{name}": _of(np.inf)
            for name in ("mask.PALE_CORE_SHARE", "grain.PALE_RIDGE_SHARE", "grain.UNEVEN")
        },
    ),
    Switch("grain smoothed", {"skeleton.ink.grain.UNEVEN": _of(np.inf)}),
    Switch("spurs pruned", {f"{_PRUNING}.prune_spurs": _of(_same)}),
    Switch("necks cut", {f"{_PRUNING}.cut_necks": _of(_same)}),
    Switch("skips bridged", {f"{_PRUNING}.bridge_pen_skips": _of(_same)}),
    Switch("tips extended", {f"{_PRUNING}.extend_tips": _of(_same)}),
    Switch("pen events", {f"{_STATES}.find_pen_events": _of(_no_events)}),
    Switch("drafting", {f"{_STATES}.drafted": _of(lambda *_: 0.0)}),
    Switch("turning at corners", {f"{_STATES}.single_steps": _steps_without_corners}),
    Switch("stop threshold", {f"{_HYPOTHESES}.good_continuation.STOP_COST": _of(9.0)}),
    Switch(
        "detached marks",
        {
            f"{m}.detached_marks_in_ink": _of(lambda *_: {})
            for m in ("skeleton.matching.template_matching", labelled.__name__)
        },
    ),
    Switch("uncovered ink", {f"{labelled.__name__}.completed": _of(lambda g, walks, count: [(walks, 0, 0)])}),
    Switch("parallel-line detours", {f"{labelled.__name__}.completed": _completed_without_detours}),
    Switch("endpoint optimisation", _both("optimise_endpoints", lambda *_: [])),
    Switch("pen lifts", _both("lift_edits", lambda *_: [])),
    Switch("junction merges", _both("junction_merges", lambda *_: [])),
    Switch("hooks, loops, crossings", _both("others", lambda *_: [])),
    Switch("smoothest lines beside forms", {f"{labelled.__name__}.smooth_walks": _of(lambda *_: [])}),
    Switch("form similarity", _costs(*FORM_FEATURE_NAMES)),
    Switch("writing habits", {f"{_PIPELINE}.habit_costs": _of(lambda *_: None)}),
    Switch("width consistency", _costs("linked", "parted")),
    Switch("weight of unexplained ink", {f"{_PIPELINE}.RESIDUAL_INK_COST": _of(0.0)}),
    Switch(
        "minimum Bayes risk", {"skeleton.selection.minimum_bayes_risk": _of(lambda shape, odds: int(np.argmax(odds)))}
    ),
    Switch("general rules beside forms", {f"{_PIPELINE}.GENERAL_RULES_FROM_COST": _of(np.inf)}),
    Switch(
        "ends moved",
        {"skeleton.selection.moved_ends": _of(lambda _, points, half, stroke, *__, **___: (points, half, stroke))},
    ),
    Switch("ends led on", {f"{_REFINEMENT}._lengthen": _of(lambda *_: None)}),
    Switch(
        "blots untangled",
        {
            f"{_REFINEMENT}._spread": _of(lambda lines, wanting, _: (lines, wanting)),
            f"{_REFINEMENT}._unravel": _of(lambda lines, *_: lines),
        },
    ),
    Switch("direction rules", {f"{unlabelled.__name__}.DIRECTION": _of(np.zeros(9))}),
    Switch("order rules", {f"{_HYPOTHESES}.writing_order.ORDER": _of(np.zeros(30))}),
    Switch("vote between attempts", {"skeleton.joint_reading.VOTE_COST": _of(0.0)}, mode=TOGETHER),
    Switch(
        "habits of a known attempt",
        {f"{_PIPELINE}.ORDER_DISAGREEMENT_COST": _of(0.0), f"{_PIPELINE}.INK_DISAGREEMENT_COST": _of(0.0)},
        mode=KNOWN,
    ),
    Switch("filled counters", {"skeleton.fitting.reconstruction_check.BLOT_HALF_WIDTH_PEN_WIDTHS": _of(np.inf)}),
)
"""All parts that can be switched off; "filled counters" changes what is said of a reading, not the reading."""


def switch(name: str) -> Switch:
    """Return the switch of a part."""
    return next(s for s in SWITCHES if s.name == name)
