"""What else the pen may have done on the same ink: readings next to a reading."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from skeleton.network import Network, is_dot
from skeleton.walk import States

Walks = list[list[int]]

KINDS = ("hooked", "unhooked", "turned", "looped", "crossed", "overrun")
"""Changes that are counted: a retrace put to a stroke's end, one taken away, a ring begun elsewhere, a loop gone round
the other way, strokes that cross gone on as the other one did, an end led on over ink passed before."""

DOUBTS = (2.8, 1.4, 0.0)
"""Log odds from which a place counts as passed twice where the length of a retrace is sought: from as likely as not to
no less likely than elsewhere."""


def others(net: Network, states: States, walks: Walks, free: NDArray[np.bool_]) -> Iterator[tuple[str, Walks]]:
    """Yield readings that differ in one thing, each with the kind of the difference; `free` marks states at tips."""
    for i, w in enumerate(walks):
        if is_dot(net, int(states.piece[w[0]])):
            continue
        rest = (walks[:i], walks[i + 1 :])
        for k in range(i + 1, len(walks)):
            between = [*walks[i + 1 : k], *walks[k + 1 :]]
            for one, other in _crossed(net, states, w, walks[k]):
                yield "crossed", [*walks[:i], one, other, *between]
        for kind, new in _others_of_one(net, states, w, free):
            yield kind, [*rest[0], new, *rest[1]]


def lifted_or_not(net: Network, states: States, walks: Walks) -> Iterator[tuple[Walks, list[float]]]:
    """Yield the walks and what they become when pen lifts and retraces are exchanged, with the counts of changes."""
    lifted, n = _lift_retraces(walks)
    if n:
        yield lifted, [float(n), 0.0, 0.0]
    split, n = _lift_at_corners(states, walks)
    if n:
        yield split, [0.0, float(n), 0.0]
    merged, n = _merge(net, states, walks)
    if n:
        yield merged, [0.0, 0.0, float(n)]


def _others_of_one(
    net: Network, states: States, w: list[int], free: NDArray[np.bool_]
) -> Iterator[tuple[str, list[int]]]:
    back = [s ^ 1 for s in reversed(w)]
    for flipped, v in ((False, w), (True, back)):
        got: list[tuple[str, list[int]]] = []
        for n in _retraces(net, states, v, sure=not free[v[0] ^ 1]):
            got.append(("hooked", [s ^ 1 for s in reversed(v[:n])] + v))
        n = _retraced_to(v)
        if n >= 2:
            got.append(("unhooked", v[n:]))
        if not free[v[0] ^ 1]:
            got += [("overrun", [s ^ 1 for s in reversed(more)] + v) for more in _overrun(net, states, v[0] ^ 1)]
        for kind, new in got:
            yield kind, [s ^ 1 for s in reversed(new)] if flipped else new
    if _closes(states, w):
        for new in _turned(net, states, w):
            yield "turned", new
    yield from (("looped", new) for new in _looped(net, states, w))


def _retraced_to(v: list[int]) -> int:
    """Return how many states the walk goes to a tip before it comes back the same way; 0 if it does not."""
    for n in range(1, len(v) // 2 + 1):
        if v[n] == v[n - 1] ^ 1:
            return n if all(v[n + k] == v[n - 1 - k] ^ 1 for k in range(n)) else 0
    return 0


def _retraces(net: Network, states: States, v: list[int], *, sure: bool) -> list[int]:
    """Return how far from the tip where `v` begins the pen may have come: as far as the ink is wide, or to a corner."""
    n = 1
    bends: list[int] = []
    seen = {v[0] // 2}
    while n < len(v) and v[n] // 2 not in seen:
        if abs(v[n] - v[n - 1]) != 2 or states.piece[v[n]] != states.piece[v[n - 1]]:
            bends.append(n)
            if float(states.heading[v[n]] @ states.heading[v[n - 1]]) < 0.5:
                break
        seen.add(v[n] // 2)
        n += 1
    corner = _first_corner(states, v[:n])
    if corner:
        n = corner
        bends = [b for b in bends if b < n]
    k = np.array(v[:n])
    gap = states.spacing[states.piece[k]]
    far = np.cumsum(gap)
    told = states.doubled[k // 2]
    total = np.cumsum(told * gap)
    out: list[int] = []
    if sure and total.max() < 1.5 * net.pen_px:
        return out
    ends = [n for n, _ in _as_far_as_told(told, gap)]
    for m in ends if sure else (*ends, n, *bends[-2:]):
        size = far[m - 1]
        # no shorter than shows, and no further than the ink allows
        likely = total[m - 1] > max(-6.0 * net.pen_px, -0.5 * size)
        if size > 0.5 * net.pen_px and likely and all(abs(far[x - 1] - size) > 0.5 * net.pen_px for x in out):
            out.append(m)
    return out


def _overrun(net: Network, states: States, last: int) -> Iterator[list[int]]:
    """Yield how the pen may have gone straight on from `last` over a line that is there: as far as the ink is wide."""
    path: list[int] = []
    told: list[float] = []
    size, seen = 0.0, {last // 2}
    while size < 16.0 * net.pen_px:
        row = slice(int(states.step_at[last]), int(states.step_at[last + 1]))
        ahead = [(float(c), int(v)) for c, v in zip(states.step_cost[row], states.step_to[row], strict=True)]
        cost, nxt = min((x for x in ahead if x[1] != last ^ 1), default=(9.0, -1))
        if cost > 0.3 or nxt // 2 in seen:
            break
        gap = float(states.spacing[states.piece[nxt]])
        path.append(nxt)
        seen.add(nxt // 2)
        size += gap
        told.append(float(states.doubled[nxt // 2]))
        last = nxt
    if not path:
        return
    gaps = states.spacing[states.piece[path]]
    found: set[int] = set()
    for n, sure in _as_far_as_told(np.array(told), gaps):
        if sure > 0 and gaps[:n].sum() > 0.5 * net.pen_px and n not in found:
            found.add(n)
            yield path[:n]


def _as_far_as_told(told: NDArray[np.float64], gaps: NDArray[np.float64]) -> Iterator[tuple[int, float]]:
    """Yield after how many places a retrace most likely ends, and the evidence so far above each of `DOUBTS`."""
    for doubt in DOUBTS:
        total = np.cumsum((told - doubt) * gaps)
        best = int(np.argmax(total))
        yield best + 1, float(total[best])


def _first_corner(states: States, v: list[int]) -> int:
    """Return after how many states the first sharp corner comes, or 0."""
    h = states.heading[v]
    for k in range(3, len(v) - 3):
        if float(h[k - 3] @ h[k + 3]) < 0.4:
            best = min(range(k - 1, min(k + 4, len(v) - 1)), key=lambda j: float(h[j - 1] @ h[j + 1]))
            return best + 1
    return 0


def _closes(states: States, w: list[int]) -> bool:
    if len(w) < 6:
        return False
    row = states.step_to[states.step_at[w[-1]] : states.step_at[w[-1] + 1]]
    return w[0] in row or w[-1] == w[0]


def _turned(net: Network, states: States, w: list[int]) -> Iterator[list[int]]:
    """Yield a ring begun where the ink is widest, at its top, and with the widest stretch passed twice."""
    ring = w[:-1] if w[-1] == w[0] else w
    wide = states.doubled[np.array(ring) // 2]
    smooth = np.convolve(np.concatenate([wide[-2:], wide, wide[:2]]), np.ones(5) / 5, "valid")
    top = int(np.argmin(states.here[ring, 1]))
    widest = int(np.argmax(smooth))
    for k in {top, widest}:
        if 2 <= k <= len(ring) - 3:
            yield ring[k:] + ring[:k] + [ring[k]]
    if smooth[widest] > 0.2:
        n = len(ring)
        a = b = 0
        while a < n // 3 and smooth[(widest - a - 1) % n] > 0:
            a += 1
        while b < n // 3 and smooth[(widest + b + 1) % n] > 0:
            b += 1
        if a + b >= 2:
            k = (widest - a) % n
            turned = ring[k:] + ring[:k]
            yield turned + turned[: a + b + 1]
            # the widest stretch gone along, and back, and on round
            yield [s ^ 1 for s in reversed(turned[: a + b + 1])] + turned
            k = (widest + b) % n
            turned = ring[k:] + ring[:k]
            yield turned + [s ^ 1 for s in reversed(turned[-(a + b + 1) :])]


def _looped(net: Network, states: States, w: list[int]) -> Iterator[list[int]]:
    """Yield the walk with each of its loops gone round the other way."""
    at: dict[int, list[int]] = {}
    for k in range(len(w) - 1):
        j = _junction_between(net, states, w[k], w[k + 1])
        if j >= 0:
            at.setdefault(j, []).append(k + 1)
    for ks in at.values():
        for x, a in enumerate(ks):
            for b in ks[x + 1 :]:
                if b - a >= 4:
                    yield w[:a] + [s ^ 1 for s in reversed(w[a:b])] + w[b:]


def _crossed(net: Network, states: States, v: list[int], w: list[int]) -> Iterator[tuple[list[int], list[int]]]:
    """Yield two walks that go on as the other one did from where both pass a junction."""
    at = {j: k + 1 for k in range(len(v) - 1) if (j := _junction_between(net, states, v[k], v[k + 1])) >= 0}
    for k in range(len(w) - 1):
        j = _junction_between(net, states, w[k], w[k + 1])
        if j in at:
            a, b = at[j], k + 1
            yield v[:a] + w[b:], w[:b] + v[a:]
            yield v[:a] + [s ^ 1 for s in reversed(w[:b])], [s ^ 1 for s in reversed(v[a:])] + w[b:]


def _junction_between(net: Network, states: States, s: int, t: int) -> int:
    """Return the junction that a step goes through, or -1."""
    p = int(states.piece[s])
    if states.piece[t] == p and abs(s - t) == 2:
        return -1
    k = s // 2 - int(states.first[p])
    n = int(states.first[p + 1] - states.first[p])
    if s & 1 == 0 and k == n - 1:
        return net.junction_of[p][1]
    if s & 1 == 1 and k == 0:
        return net.junction_of[p][0]
    return -1


def _lift_retraces(walks: Walks) -> tuple[Walks, int]:
    """Return the walks with the pen lifted where it would go back over its own line, and the number of lifts."""
    out: Walks = []
    lifts = 0
    for w in walks:
        seen: set[int] = set()
        start = 0
        k = 0
        while k < len(w):
            if k > start and w[k] == w[k - 1] ^ 1:
                j = k
                while j < len(w) and w[j] // 2 in seen:
                    j += 1
                if k - start >= 2 and len(w) - j >= 2:
                    out.append(w[start:k])
                    start = j
                    lifts += 1
                    seen |= {s // 2 for s in w[k:j]}
                    k = j
                    continue
            seen.add(w[k] // 2)
            k += 1
        out.append(w[start:])
    return out, lifts


def _lift_at_corners(states: States, walks: Walks) -> tuple[Walks, int]:
    """Return the walks with the pen lifted at sharp corners inside pieces, and the number of lifts."""
    from skeleton.walk_kernels import corner_cuts

    out: Walks = []
    lifts = 0
    for w in walks:
        cuts = corner_cuts(np.array(w, np.int32), states.piece, states.heading).tolist()
        out += [w[i : j + 1] for i, j in pairwise([0, *cuts, len(w) - 1])]
        lifts += len(cuts)
    return out, lifts


def _merge(net: Network, states: States, walks: Walks) -> tuple[Walks, int]:
    """Return the walks with those made one whose end meets the next one's start, and how often."""
    out: Walks = []
    merged = 0
    for w in walks:
        if out and not is_dot(net, int(states.piece[w[0]])):
            a, b = out[-1][-1], w[0]
            row = states.step_to[states.step_at[a] : states.step_at[a + 1]]
            if b in row or a == b or a // 2 == b // 2:
                out[-1] = out[-1] + (w[1:] if a == b else w)
                merged += 1
                continue
        out.append(w)
    return out, merged


def in_the_manner_of(like: Walks, walks: Walks) -> Walks:
    """Return walks in the order and the directions in which another reading passes the same places."""
    when: dict[int, int] = {}
    for t, s in enumerate(s for w in like for s in w):
        when.setdefault(s, t)
    out: list[tuple[float, list[int]]] = []
    for w in walks:
        back = [s ^ 1 for s in reversed(w)]
        a = [when[s] for s in w if s in when]
        b = [when[s] for s in back if s in when]
        chosen, times = (w, a) if len(a) >= len(b) else (back, b)
        out.append((float(np.mean(times)) if times else np.inf, chosen))
    return [w for _, w in sorted(out, key=lambda x: x[0])]
