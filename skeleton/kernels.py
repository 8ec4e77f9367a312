"""The loops that are too many for Python, compiled by numba on first use and kept on disk.

Nothing else imports numba; this module is imported only when an image is traced.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

BEAM = 6.0
"""States that cost so much more than the best one are given up; no right walk was ever so far behind."""

_DY = np.array([-1, 0, 0, 1, -1, -1, 1, 1])
_DX = np.array([0, -1, 1, 0, -1, 1, -1, 1])


@njit(cache=True)
def _linked(sk: Any, y: int, x: int, k: int) -> Any:
    """Tell whether a pixel is linked to its k-th neighbour; a diagonal only if no shared 4-neighbour links them."""
    v, u = y + _DY[k], x + _DX[k]
    if sk[v, u] == 0:
        return False
    if k < 4:
        return True
    return sk[v, x] == 0 and sk[y, u] == 0


@njit(cache=True)
def pixel_graph(sk: Any) -> Any:
    """Return (nodes, edges, pixels) of a thinned image with a border of zeros.

    nodes: (m, 2) y, x. edges: (k, 4) first node, last node, start and end in `pixels`. pixels: (p, 2) y, x, node
    pixels included at both ends. A ring without node gets one at its topmost pixel.
    """
    h, w = sk.shape
    degree = np.zeros((h, w), np.int8)
    count = 0
    for y in range(1, h - 1):
        for x in range(1, w - 1):
            if sk[y, x]:
                count += 1
                for k in range(8):
                    if _linked(sk, y, x, k):
                        degree[y, x] += 1
    node_of = np.full((h, w), -1, np.int32)
    nodes = np.zeros((count + 1, 2), np.int32)
    m = 0
    for y in range(1, h - 1):
        for x in range(1, w - 1):
            if sk[y, x] and degree[y, x] != 2:
                node_of[y, x] = m
                nodes[m, 0], nodes[m, 1] = y, x
                m += 1
    pixels = np.zeros((4 * count + 8, 2), np.int32)
    edges = np.zeros((4 * count + 8, 4), np.int32)
    seen = np.zeros((h, w), np.uint8)
    p, e = 0, 0
    first_ring = m
    done = 0
    scan_y, scan_x = 1, 1
    while True:
        if done < m:
            n = done
            done += 1
        else:
            # rings: the next unseen pixel in raster order becomes a node
            found = False
            y, x = scan_y, scan_x
            while y < h - 1:
                while x < w - 1:
                    if sk[y, x] and node_of[y, x] < 0 and seen[y, x] == 0:
                        found = True
                        break
                    x += 1
                if found:
                    break
                x = 1
                y += 1
            if not found:
                break
            scan_y, scan_x = y, x
            node_of[y, x] = m
            nodes[m, 0], nodes[m, 1] = y, x
            m += 1
            continue
        y0, x0 = nodes[n, 0], nodes[n, 1]
        for k in range(8):
            if not _linked(sk, y0, x0, k):
                continue
            y, x = y0 + _DY[k], x0 + _DX[k]
            other = node_of[y, x]
            if other >= 0:
                if other > n:
                    pixels[p, 0], pixels[p, 1] = y0, x0
                    pixels[p + 1, 0], pixels[p + 1, 1] = y, x
                    edges[e, 0], edges[e, 1], edges[e, 2], edges[e, 3] = n, other, p, p + 2
                    p += 2
                    e += 1
                continue
            if seen[y, x]:
                continue
            start = p
            pixels[p, 0], pixels[p, 1] = y0, x0
            p += 1
            py, px = y0, x0
            while True:
                pixels[p, 0], pixels[p, 1] = y, x
                p += 1
                seen[y, x] = 1
                moved = False
                for q in range(8):
                    if _linked(sk, y, x, q):
                        v, u = y + _DY[q], x + _DX[q]
                        if v == py and u == px:
                            continue
                        py, px = y, x
                        y, x = v, u
                        moved = True
                        break
                if not moved:
                    break
                if node_of[y, x] >= 0:
                    pixels[p, 0], pixels[p, 1] = y, x
                    p += 1
                    break
            edges[e, 0], edges[e, 1], edges[e, 2], edges[e, 3] = n, max(node_of[y, x], 0), start, p
            e += 1
    return nodes[:m], edges[:e], pixels[:p], first_ring


@njit(cache=True)
def moves_within(step_to: Any, step_len: Any, step_cost: Any, step_at: Any, reach: float) -> Any:
    """Return (at, to, length, cost): every walk of at most `reach` from every state, cheapest first found.

    The steps are in compressed rows: those of state s are `step_at[s]:step_at[s + 1]`. Dijkstra on length plus cost.
    """
    n = len(step_at) - 1
    at = np.zeros(n + 1, np.int64)
    cap = 24 * n + 64
    to = np.zeros(cap, np.int32)
    length = np.zeros(cap, np.float32)
    cost = np.zeros(cap, np.float32)
    total = 0
    best = np.full(n, 1e9)
    frontier = np.zeros(256, np.int32)
    f_len = np.zeros(256)
    f_cost = np.zeros(256)
    done = np.zeros(256, np.bool_)
    for s in range(n):
        size = 1
        frontier[0], f_len[0], f_cost[0], done[0] = s, 0.0, 0.0, False
        best[s] = 0.0
        while True:
            pick = -1
            low = 1e9
            for i in range(size):
                if not done[i] and f_len[i] + f_cost[i] < low:
                    low = f_len[i] + f_cost[i]
                    pick = i
            if pick < 0:
                break
            done[pick] = True
            u = frontier[pick]
            if f_len[pick] + f_cost[pick] > best[u] + 1e-9:
                continue
            if total < cap:
                to[total], length[total], cost[total] = u, f_len[pick], f_cost[pick]
                total += 1
            for j in range(step_at[u], step_at[u + 1]):
                v = step_to[j]
                ln = f_len[pick] + step_len[j]
                if ln > reach:
                    continue
                c = f_cost[pick] + step_cost[j]
                if ln + c < best[v] - 1e-9 and size < 256:
                    best[v] = ln + c
                    frontier[size], f_len[size], f_cost[size], done[size] = v, ln, c, False
                    size += 1
        for i in range(size):
            best[frontier[i]] = 1e9
        at[s + 1] = total
    return at, to[:total], length[:total], cost[:total]


@njit(cache=True)
def follow(
    points: Any,
    tangents: Any,
    breaks: Any,
    here: Any,
    heading: Any,
    start_cost: Any,
    extra: Any,
    at: Any,
    to: Any,
    length: Any,
    cost: Any,
    step: Any,
    place_scale: float,
    place_weight: float,
    turn_weight: float,
    stretch_weight: float,
    jump_weight: float,
) -> Any:
    """Return (state of every point, total cost) of the cheapest walk that follows the points (Viterbi 1967).

    points, tangents (n, 2): the model; breaks (n,): 1 where a stroke begins. here, heading (s, 2): place and direction
    of every state. start_cost (s,): what beginning or ending a stroke there costs. extra (s,): added to each visit.
    step (n,): distance of every point from the one before it.
    """
    n = len(points)
    s_count = len(here)
    back = np.zeros((n, s_count), np.int32)
    before = np.zeros(s_count)
    now = np.zeros(s_count)
    cap = 9.0
    for i in range(n):
        if breaks[i] == 1:
            if i == 0:
                for s in range(s_count):
                    now[s] = start_cost[s]
                    back[i, s] = -1
            else:
                low = 1e18
                arg = 0
                for s in range(s_count):
                    # a stroke's end costs what a start at the reverse state costs
                    c = before[s] + start_cost[s ^ 1]
                    if c < low:
                        low = c
                        arg = s
                for s in range(s_count):
                    now[s] = low + start_cost[s]
                    back[i, s] = arg
        else:
            now[:] = 1e18
            d = step[i]
            floor = before.min() + BEAM
            for s in range(s_count):
                b = before[s]
                if b > floor:
                    continue
                for j in range(at[s], at[s + 1]):
                    r = length[j] / d - 1.0
                    c = b + cost[j] * jump_weight + stretch_weight * r * r
                    t = to[j]
                    if c < now[t]:
                        now[t] = c
                        back[i, t] = s
        px, py = points[i, 0], points[i, 1]
        tx, ty = tangents[i, 0], tangents[i, 1]
        flat = tx == 0.0 and ty == 0.0
        for s in range(s_count):
            if now[s] > 1e17:
                continue
            dx = (here[s, 0] - px) / place_scale
            dy = (here[s, 1] - py) / place_scale
            d2 = dx * dx + dy * dy
            c = place_weight * min(d2, cap) + extra[s]
            if not flat:
                c += turn_weight * (1.0 - heading[s, 0] * tx - heading[s, 1] * ty)
            now[s] += c
        for s in range(s_count):
            before[s] = now[s]
    last = 0
    low = 1e18
    for s in range(s_count):
        c = before[s] + start_cost[s ^ 1]
        if c < low:
            low = c
            last = s
    walk = np.zeros(n, np.int32)
    s = last
    for i in range(n - 1, -1, -1):
        walk[i] = s
        s = back[i, s]
    return walk, low


@njit(cache=True)
def shortest_walk(step_to: Any, step_len: Any, step_cost: Any, step_at: Any, a: int, b: int, reach: float) -> Any:
    """Return the states from a to b (both included) of the cheapest walk, empty if there is none within reach."""
    n = len(step_at) - 1
    best = np.full(n, 1e9)
    size_of = np.full(n, 1e9)
    prev = np.full(n, -1, np.int32)
    done = np.zeros(n, np.bool_)
    best[a] = 0.0
    size_of[a] = 0.0
    while True:
        u = -1
        low = 1e8
        for i in range(n):
            if not done[i] and best[i] < low:
                low = best[i]
                u = i
        if u < 0:
            return np.zeros(0, np.int32)
        if u == b:
            break
        done[u] = True
        for j in range(step_at[u], step_at[u + 1]):
            v = step_to[j]
            ln = size_of[u] + step_len[j]
            c = low + step_len[j] + step_cost[j]
            if ln <= reach and c < best[v]:
                best[v] = c
                size_of[v] = ln
                prev[v] = u
    k = 1
    v = b
    while v != a:
        v = prev[v]
        k += 1
    out = np.zeros(k, np.int32)
    v = b
    for i in range(k - 1, -1, -1):
        out[i] = v
        v = prev[v]
    return out


@njit(cache=True)
def tangents_of(p: Any, breaks: Any) -> Any:
    """Return unit directions at the points of a model, (0, 0) for a dot."""
    n = len(p)
    out = np.zeros((n, 2))
    for i in range(n):
        a = i if breaks[i] == 1 else i - 1
        b = i if (i == n - 1 or breaks[i + 1] == 1) else i + 1
        dx, dy = p[b, 0] - p[a, 0], p[b, 1] - p[a, 1]
        size = np.sqrt(dx * dx + dy * dy)
        if size > 1e-6:
            out[i, 0], out[i, 1] = dx / size, dy / size
    return out


@njit(cache=True)
def bend_model(p: Any, breaks: Any, step: Any, found: Any, size: float, share: float) -> Any:
    """Return (points, steps) of a model moved towards where a walk found it.

    First the affine map that suits most points (two rounds of reweighting), then what neighbours agree on.
    """
    n = len(p)
    mx, my = p[:, 0].mean(), p[:, 1].mean()
    w = np.ones(n)
    ridge = 0.001 * n * size * size
    rx, ry = np.zeros(n), np.zeros(n)
    for _ in range(2):
        m = np.zeros((3, 3))
        v = np.zeros((3, 2))
        x = np.zeros(3)
        for i in range(n):
            x[0], x[1], x[2] = p[i, 0] - mx, p[i, 1] - my, 1.0
            for a in range(3):
                for b in range(3):
                    m[a, b] += w[i] * x[a] * x[b]
                v[a, 0] += w[i] * x[a] * (found[i, 0] - p[i, 0])
                v[a, 1] += w[i] * x[a] * (found[i, 1] - p[i, 1])
        m[0, 0] += ridge
        m[1, 1] += ridge
        m[2, 2] += 1e-9
        a_ = np.linalg.solve(m, v)
        for i in range(n):
            ux, uy = p[i, 0] - mx, p[i, 1] - my
            rx[i] = found[i, 0] - p[i, 0] - (ux * a_[0, 0] + uy * a_[1, 0] + a_[2, 0])
            ry[i] = found[i, 1] - p[i, 1] - (ux * a_[0, 1] + uy * a_[1, 1] + a_[2, 1])
            w[i] = 1 / (1 + (rx[i] * rx[i] + ry[i] * ry[i]) / (0.0064 * size * size))
    moved = np.empty((n, 2))
    stroke = np.zeros(n, np.int32)
    k = 0
    for i in range(n):
        k += breaks[i]
        stroke[i] = k
        moved[i, 0] = found[i, 0] - rx[i]
        moved[i, 1] = found[i, 1] - ry[i]
    out = np.empty((n, 2))
    spread = 2 * (0.14 * size) ** 2
    for i in range(n):
        sx, sy, sw = 0.0, 0.0, 1e-12
        for j in range(n):
            dx, dy = moved[i, 0] - moved[j, 0], moved[i, 1] - moved[j, 1]
            q = (dx * dx + dy * dy) / spread
            if q > 6.0:
                continue
            near = np.exp(-q) * w[j]
            if stroke[i] != stroke[j]:
                near *= 0.15
            sx += near * rx[j]
            sy += near * ry[j]
            sw += near
        out[i, 0] = moved[i, 0] + share * sx / sw
        out[i, 1] = moved[i, 1] + share * sy / sw
    steps = step.copy()
    for i in range(1, n):
        if breaks[i] == 0:
            d = np.sqrt((out[i, 0] - out[i - 1, 0]) ** 2 + (out[i, 1] - out[i - 1, 1]) ** 2)
            steps[i] = max(d, 0.3 * step[i])
    return out, steps


@njit(cache=True)
def fill_walk(walk: Any, breaks: Any, piece: Any, step_to: Any, step_len: Any, step_cost: Any, step_at: Any) -> Any:
    """Return (states, starts): the walk with every single step in between, and where its strokes begin."""
    n = len(walk)
    cap = 64 + 8 * len(piece)
    out = np.zeros(cap, np.int32)
    starts = np.zeros(n + 1, np.int32)
    k, strokes = 0, 0
    for i in range(n):
        b = walk[i]
        if breaks[i] == 1:
            starts[strokes] = k
            strokes += 1
            out[k] = b
            k += 1
            continue
        a = out[k - 1]
        if a == b:
            continue
        if k + len(piece) + 8 > cap:
            break
        same = piece[a] == piece[b] and (a ^ b) & 1 == 0
        if same and ((a & 1 == 0 and b > a) or (a & 1 == 1 and b < a)):
            step = 2 if a & 1 == 0 else -2
            s = a
            while s != b:
                s += step
                out[k] = s
                k += 1
            continue
        way = shortest_walk(step_to, step_len, step_cost, step_at, a, b, 1e6)
        for j in range(1, len(way)):
            out[k] = way[j]
            k += 1
    starts[strokes] = k
    return out[:k], starts[: strokes + 1]


@njit(cache=True)
def match_model(
    points: Any, breaks: Any, step: Any,
    here: Any, heading: Any, start_cost: Any, piece: Any,
    at: Any, to: Any, length: Any, cost: Any,
    step_to: Any, step_len: Any, step_cost: Any, step_at: Any,
    walk: Any, size: float, place: float, rounds: int,
) -> Any:  # fmt: skip
    """Return up to `rounds` walks that follow a model laid over the ink, each (states, starts, cost per point).

    The model is bent towards the walk found before and followed again; then ink left bare gets a bonus, twice.
    """
    n = len(points)
    extra = np.zeros(len(here))
    found = np.empty((n, 2))
    low = 0.0
    for share in (0.6, 0.85):
        for i in range(n):
            found[i, 0], found[i, 1] = here[walk[i], 0], here[walk[i], 1]
        points, step = bend_model(points, breaks, step, found, size, share)
        walk, low = follow(
            points, tangents_of(points, breaks), breaks, here, heading, start_cost, extra,
            at, to, length, cost, step, 0.75 * place, 0.5, 0.8, 0.15, 1.0,
        )  # fmt: skip
    states, starts = fill_walk(walk, breaks, piece, step_to, step_len, step_cost, step_at)
    out = [(states, starts, low / n)]
    for k in range(1, rounds):
        passed = np.zeros(len(here) // 2, np.bool_)
        for s in states:
            passed[s // 2] = True
        bare = 0
        for q in range(len(passed)):
            if not passed[q]:
                bare += 1
        if bare < 2:
            break
        bonus = 0.35 * k
        for q in range(len(passed)):
            if not passed[q]:
                extra[2 * q] -= bonus
                extra[2 * q + 1] -= bonus
        for i in range(n):
            found[i, 0], found[i, 1] = here[walk[i], 0], here[walk[i], 1]
        points, step = bend_model(points, breaks, step, found, size, 0.85)
        walk, low = follow(
            points, tangents_of(points, breaks), breaks, here, heading, start_cost, extra,
            at, to, length, cost, step, place, 0.5, 0.8, 0.15, 1.0,
        )  # fmt: skip
        for i in range(n):
            low -= extra[walk[i]]
        states, starts = fill_walk(walk, breaks, piece, step_to, step_len, step_cost, step_at)
        out.append((states, starts, low / n))
    return out


@njit(cache=True)
def movement(
    walk: Any, starts: Any, start_cost: Any, at_tip: Any, gaps: Any, doubled: Any,
    step_to: Any, step_cost: Any, step_at: Any,
) -> Any:  # fmt: skip
    """Return what tells how the pen moves on walks in one array.

    Turns, turns at tips, turns back in junctions, starts, length passed again, idle length, evidence against passing
    twice.
    """
    single = 0.0
    turns, tips, back, begin, again, idle = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    count = np.zeros(len(gaps), np.int32)
    for i in range(len(starts) - 1):
        a, b = starts[i], starts[i + 1]
        begin += start_cost[walk[a]] + start_cost[walk[b - 1] ^ 1]
        last = -1
        for k in range(a, b):
            q = walk[k] // 2
            if q != last:
                count[q] += 1
            last = q
            if k == a:
                continue
            s, t = walk[k - 1], walk[k]
            if t == s ^ 1:
                if at_tip[s]:
                    tips += 1
                else:
                    back += 1
            elif abs(s - t) != 2:
                low = 2.0
                for j in range(step_at[s], step_at[s + 1]):
                    if step_to[j] == t and step_cost[j] < low:
                        low = step_cost[j]
                turns += low
            else:
                pass
    for q in range(len(gaps)):
        if count[q] > 1:
            again += (count[q] - 1) * gaps[q]
            single -= gaps[q] * doubled[q]
    for i in range(len(starts) - 1):
        a, b = starts[i], starts[i + 1]
        k = a
        while k < b and count[walk[k] // 2] > 1:
            idle += gaps[walk[k] // 2]
            k += 1
        k = b - 1
        while k >= a and count[walk[k] // 2] > 1:
            idle += gaps[walk[k] // 2]
            k -= 1
    return turns, tips, back, begin, again, idle, single


@njit(cache=True)
def corner_cuts(walk: Any, piece: Any, heading: Any) -> Any:
    """Return the indices of sharp corners inside pieces, where a walk may be parted."""
    out = []
    start = 0
    n = len(walk)
    for k in range(3, n - 3):
        if k - start < 4:
            continue
        a, b = walk[k - 3], walk[k + 3]
        if piece[a] != piece[b]:
            continue
        c, d, e, f = walk[k - 1], walk[k + 1], walk[k], walk[k + 2]
        cos = heading[a, 0] * heading[b, 0] + heading[a, 1] * heading[b, 1]
        near = heading[c, 0] * heading[d, 0] + heading[c, 1] * heading[d, 1]
        nxt = heading[e, 0] * heading[f, 0] + heading[e, 1] * heading[f, 1]
        if cos < 0.55 and near < 0.85 and near <= nxt:
            out.append(k)
            start = k
    return np.array(out, dtype=np.int64)


@njit(cache=True)
def lay_model(every: Any, starts: Any, scale: Any, shift: Any, step: float) -> Any:
    """Return (points, breaks, steps): strokes in one array, scaled, shifted and divided into equal steps."""
    cap = 64
    p = every * scale + shift
    lengths = np.zeros(len(starts) - 1)
    for i in range(len(starts) - 1):
        for k in range(starts[i] + 1, starts[i + 1]):
            lengths[i] += np.sqrt((p[k, 0] - p[k - 1, 0]) ** 2 + (p[k, 1] - p[k - 1, 1]) ** 2)
        cap += int(lengths[i] / step) + 4
    points = np.zeros((cap, 2))
    breaks = np.zeros(cap, np.int32)
    steps = np.zeros(cap)
    n = 0
    for i in range(len(starts) - 1):
        a, b = starts[i], starts[i + 1]
        total = lengths[i]
        if total < 0.2 * step:
            points[n, 0], points[n, 1] = p[a:b, 0].mean(), p[a:b, 1].mean()
            breaks[n], steps[n] = 1, 0.3 * step
            n += 1
            continue
        m = max(2, int(np.round(total / step)) + 1)
        gap = total / (m - 1)
        k = a
        done = 0.0
        seg = np.sqrt((p[k + 1, 0] - p[k, 0]) ** 2 + (p[k + 1, 1] - p[k, 1]) ** 2)
        for j in range(m):
            want = min(j * gap, total)
            while k < b - 2 and done + seg < want:
                done += seg
                k += 1
                seg = np.sqrt((p[k + 1, 0] - p[k, 0]) ** 2 + (p[k + 1, 1] - p[k, 1]) ** 2)
            u = min(max((want - done) / seg, 0.0), 1.0) if seg > 0 else 0.0
            points[n, 0] = p[k, 0] + u * (p[k + 1, 0] - p[k, 0])
            points[n, 1] = p[k, 1] + u * (p[k + 1, 1] - p[k, 1])
            breaks[n] = 1 if j == 0 else 0
            steps[n] = max(gap, 0.3 * step)
            n += 1
    return points[:n], breaks[:n], steps[:n]
