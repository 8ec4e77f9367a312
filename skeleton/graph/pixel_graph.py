"""Thinned pixels followed from node to node.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import numpy as np

from skeleton.geometry.array_types import IndexTable, Mask
from skeleton.geometry.jit import compiled, inner

_DY = np.array([-1, 0, 0, 1, -1, -1, 1, 1])
_DX = np.array([0, -1, 1, 0, -1, 1, -1, 1])


@inner
def _linked(sk: Mask, y: int, x: int, k: int) -> bool:
    """Tell whether a pixel is linked to its k-th neighbour; a diagonal only if no shared 4-neighbour links them."""
    v, u = y + _DY[k], x + _DX[k]
    if sk[v, u] == 0:
        return False
    if k < 4:
        return True
    return bool(sk[v, x] == 0 and sk[y, u] == 0)


@compiled
def pixel_graph(sk: Mask) -> tuple[IndexTable, IndexTable, IndexTable, int]:
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
