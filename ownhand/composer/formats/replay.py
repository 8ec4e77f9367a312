"""A small HTML page that writes the composed page again before one's eyes; everything it needs is inside."""

from __future__ import annotations

import json
from html import escape
from typing import Any

import numpy as np

from ownhand.composer.plot.machine import Machine
from ownhand.composer.plot.motion import path_moments
from ownhand.composer.plot.plot_page import PlotPage, by_pen, flatten

PER_MM = 50
"""Points are whole fiftieths of a mm."""


def replay_data(page: PlotPage, machine: Machine | None = None) -> dict[str, Any]:
    """Return what is needed to write a page again: its paths, and the second at which each begins and ends.

    The times are those of `ownhand.composer.plot.motion`: speeds, acceleration, corners, lifting and lowering.
    """
    machine, page = machine or Machine(), by_pen(page)
    points, starts = flatten(page.points_mm, page.starts, within_mm=0.03)
    # timed as `effort` times it, drawn with fewer points
    begins, ends = path_moments(*flatten(page.points_mm, page.starts, within_mm=0.02), machine)
    q = np.rint(points * PER_MM).astype(np.int64)
    bounds = starts.tolist()
    return {
        "size": list(page.size_mm),
        "per": PER_MM,
        "pens": [{"colour": p.colour, "width": page.width_of(n)} for n, p in enumerate(page.pens, 1)],
        "pen": page.pen.tolist(),
        "line": page.line.tolist(),
        "paths": [q[bounds[k] : bounds[k + 1]].ravel().tolist() for k in range(len(page))],
        "begins": begins.round(3).tolist(),
        "ends": ends.round(3).tolist(),
        "whole": round(float(ends[-1]) + machine.lift_s, 3) if len(ends) else 0.0,
    }


def replay_html(page: PlotPage, machine: Machine | None = None) -> str:
    """Return a standalone HTML document that replays the writing at the machine's speed, or faster."""
    data = json.dumps(replay_data(page, machine), separators=(",", ":"))
    title = escape(f"{page.family or 'Page'}, page {page.number}")
    return _PAGE.replace("{{data}}", data).replace("{{title}}", title)


_PAGE = """<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{title}}</title>
<style>
body { margin: 0; background: #f3f0e8; color: #1c2733; font: 16px/1.45 system-ui, sans-serif; }
main { display: grid; justify-items: center; gap: 12px; padding: 16px; }
canvas { background: #fffdf8; max-width: 100%; max-height: 82vh; border: 1px solid #c5d2d3; forced-color-adjust: none; }
form { display: flex; gap: 14px; align-items: center; flex-wrap: wrap; justify-content: center; }
input[type=range] { width: min(52vw, 560px); accent-color: #0d4f5c; }
button, select { font: inherit; color: inherit; min-height: 40px; padding: 6px 12px; background: #fffdf8;
  border: 1px solid #5f7c82; border-radius: 3px; }
:focus-visible { outline: 3px solid #b36b00; outline-offset: 2px; }
output { min-width: 8em; font-variant-numeric: tabular-nums; }
</style>
<main>
<canvas role="img" aria-label="The page being written"></canvas>
<form onsubmit="return false">
<button id="go" type="button">Rest</button>
<label>Moment <input id="at" type="range" min="0" max="1000" value="0"></label>
<label>Pace <select id="pace"><option value="1">as plotted</option><option value="5">5 times</option>
<option value="20" selected>20 times</option><option value="100">100 times</option></select></label>
<output id="clock"></output>
</form>
</main>
<script>
"use strict";
const page = {{data}};
const canvas = document.querySelector("canvas"), ink = canvas.getContext("2d");
const go = document.getElementById("go"), at = document.getElementById("at");
const pace = document.getElementById("pace"), clock = document.getElementById("clock");
const scale = Math.min(8, 2400 / Math.max(page.size[0], page.size[1]));
canvas.width = Math.round(page.size[0] * scale); canvas.height = Math.round(page.size[1] * scale);
canvas.style.aspectRatio = page.size[0] + " / " + page.size[1];
const moments = page.begins.map((from, k) => [from, page.ends[k], 0]);
page.paths.forEach((p, k) => {
  for (let i = 2; i < p.length; i += 2) moments[k][2] += Math.hypot(p[i] - p[i - 2], p[i + 1] - p[i - 1]) / page.per;
});
// Where less motion is wanted, nothing moves by itself: the page stands there written, and can be gone through by hand.
const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
const whole = page.whole || 1; let seconds = calm ? whole : 0, drawn = 0, running = !calm, last = 0;
function stroke(k, share) {
  const p = page.paths[k], pen = page.pens[page.pen[k] - 1] || page.pens[0], f = scale / page.per;
  ink.strokeStyle = ink.fillStyle = pen.colour; ink.lineWidth = pen.width * scale;
  ink.lineCap = ink.lineJoin = "round"; ink.beginPath(); ink.moveTo(p[0] * f, p[1] * f);
  if (p.length === 2) ink.lineTo(p[0] * f + 0.01, p[1] * f);
  let left = share * moments[k][2] * page.per;
  for (let i = 2; i < p.length && left > 0; i += 2) {
    const d = Math.hypot(p[i] - p[i - 2], p[i + 1] - p[i - 1]), t = d > left ? left / d : 1;
    ink.lineTo((p[i - 2] + t * (p[i] - p[i - 2])) * f, (p[i - 1] + t * (p[i + 1] - p[i - 1])) * f); left -= d;
  }
  ink.stroke();
}
function show() {
  if (drawn > 0 && moments[drawn - 1][1] > seconds) { ink.clearRect(0, 0, canvas.width, canvas.height); drawn = 0; }
  while (drawn < moments.length && moments[drawn][1] <= seconds) stroke(drawn++, 1);
  if (drawn < moments.length && moments[drawn][0] <= seconds) {
    const [b, e] = moments[drawn]; stroke(drawn, e > b ? (seconds - b) / (e - b) : 1);
  }
  at.value = 1000 * seconds / whole;
  const m = s => Math.floor(s / 60) + ":" + String(Math.floor(s % 60)).padStart(2, "0");
  clock.textContent = m(seconds) + " of " + m(whole);
}
function tick(time) {
  if (running) { seconds = Math.min(whole, seconds + Math.min(0.1, (time - last) / 1000) * pace.value); show(); }
  if (seconds >= whole && running) { running = false; go.textContent = "Write again"; }
  last = time; requestAnimationFrame(tick);
}
go.onclick = () => {
  if (seconds >= whole) { seconds = 0; running = true; } else running = !running;
  go.textContent = running ? "Rest" : "Write on"; show();
};
at.oninput = () => { seconds = at.value / 1000 * whole; show(); };
if (calm) go.textContent = "Write again";
show(); requestAnimationFrame(t => { last = t; tick(t); });
</script>
</html>
"""
