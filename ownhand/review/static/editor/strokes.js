// Drawing strokes: number, start and direction; and their writing replayed. Points come in mm, y up.

import { h, s } from "../core/dom.js";
import { inkOf } from "../core/api.js";

/** Deep colours; every stroke also bears its number, so that nothing hangs on them. */
export const COLOURS = ["#0b4f86", "#a33c00", "#1d6a2f", "#77247f", "#6a5200", "#8c1d40"];
export const colour = (k) => COLOURS[k % COLOURS.length];

/** A stroke that moved further than this while the pointer was on it is another one. */
const GONE_MM = 1;

export const lengthOf = (line) => line.slice(1).reduce((sum, p, i) => sum + Math.hypot(p[0] - line[i][0], p[1] - line[i][1]), 0);

/** The point at `share` (0 to 1) of the length of a line, and the direction there. */
export function along(line, share) {
  if (line.length === 1) return { at: line[0], to: [1, 0] };
  let left = lengthOf(line) * Math.min(Math.max(share, 0), 1);
  for (let i = 1; i < line.length; i++) {
    const d = [line[i][0] - line[i - 1][0], line[i][1] - line[i - 1][1]];
    const n = Math.hypot(...d);
    if (left <= n || i === line.length - 1) {
      const t = n ? Math.min(left / n, 1) : 0;
      return { at: [line[i - 1][0] + d[0] * t, line[i - 1][1] + d[1] * t], to: n ? [d[0] / n, d[1] / n] : [1, 0] };
    }
    left -= n;
  }
  return { at: line.at(-1), to: [1, 0] };
}

/**
 * Which of `lines` is the stroke that was seen as `line`, number `k`: the most alike by its ends and middle, whichever
 * way it goes now; -1 when it went.
 */
export function placeOf(line, lines, k) {
  if (!line) return -1;
  const marks = (l) => [0, 0.5, 1].map((share) => along(l, share).at);
  const seen = marks(line);
  const apart = (a, b) => Math.max(...a.map((p, i) => Math.hypot(p[0] - b[i][0], p[1] - b[i][1])));
  const far = lines.map((l) => {
    const there = marks(l);
    return Math.min(apart(seen, there), apart(seen, [...there].reverse()));
  });
  const near = Math.min(...far);
  if (far[k] === near) return k;
  return near < GONE_MM ? far.indexOf(near) : -1;
}

const COMPASS = ["to the right", "up to the right", "up", "up to the left", "to the left", "down to the left", "down", "down to the right"];
const way = (a, b) => COMPASS[(Math.round(Math.atan2(b[1] - a[1], b[0] - a[0]) / (Math.PI / 4)) + 8) % 8];

/** A stroke in words: 'down, then to the right'. */
export function inWords(line) {
  if (line.length === 1) return "a dot";
  const marks = [0, 0.25, 0.5, 0.75, 1].map((t) => along(line, t).at);
  let turned = 0;
  for (let i = 0; i < 24; i++) {
    const a = along(line, i / 24).to;
    const b = along(line, (i + 1) / 24).to;
    turned += Math.atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1]);
  }
  if (Math.abs(turned) > 4.2) return `round, ${turned > 0 ? "against the clock" : "with the clock"}, begun ${way(marks[0], marks[1])}`;
  const words = [way(marks[0], marks[1]), way(marks[1], marks[3]), way(marks[3], marks[4])];
  return words.filter((w, i) => w !== words[i - 1]).join(", then ");
}

/** From mm (y up) to px of a picture of that size with everything of the attempt on it. */
export function frame(a, lines, width, height, { margin = 14 } = {}) {
  const xs = lines.flat().map((p) => p[0]);
  const ys = lines.flat().map((p) => p[1]);
  const box = [Math.min(...xs, 1e9), Math.min(...ys, 0), Math.max(...xs, -1e9), Math.max(...ys, a.x_height)];
  if (a.inked) {
    box[0] = Math.min(box[0], a.inked[0]);
    box[1] = Math.min(box[1], a.inked[3]);
    box[2] = Math.max(box[2], a.inked[2]);
    box[3] = Math.max(box[3], a.inked[1]);
  }
  if (box[2] < box[0]) [box[0], box[2]] = [0, a.x_height];
  const k = Math.min((width - 2 * margin) / Math.max(box[2] - box[0], 0.5), (height - 2 * margin) / Math.max(box[3] - box[1], 0.5));
  const x0 = width / 2 - ((box[0] + box[2]) / 2) * k;
  const y0 = height / 2 + ((box[1] + box[3]) / 2) * k;
  return { k, px: ([x, y]) => [x0 + x * k, y0 - y * k], mm: ([x, y]) => [(x - x0) / k, (y0 - y) / k] };
}

export const path = (line, f) =>
  line.map((p, i) => `${i ? "L" : "M"}${f.px(p).map((v) => v.toFixed(1)).join(" ")}`).join("") + (line.length === 1 ? "l0.01 0" : "");

/** The ink as its contour: pale inside, so that the strokes in it are seen; where none was found, its picture. */
export function ink(a, f) {
  if (a.contour?.length) return s("path", { d: a.contour.map((ring) => `${path(ring, f)}Z`).join(""), class: "ink contour", "fill-rule": "evenodd" });
  if (!a.picture) return null;
  const p = a.picture;
  const [x, y] = f.px([p.left, p.top]);
  return s("image", { href: inkOf(a.id), x, y, width: p.width * f.k, height: p.height * f.k, class: "ink", preserveAspectRatio: "none" });
}

function arrow(line, share, f, size, k) {
  const { at, to } = along(line, share);
  const [x, y] = f.px(at);
  const angle = (Math.atan2(-to[1], to[0]) * 180) / Math.PI;
  return s("path", { d: `M${-size} ${-size}L${size * 0.7} 0L${-size} ${size}`, transform: `translate(${x.toFixed(1)} ${y.toFixed(1)}) rotate(${angle.toFixed(1)})`, fill: "none", stroke: colour(k), "stroke-width": Math.max(1.6, size * 0.45), "stroke-linecap": "round", "stroke-linejoin": "round" });
}

/** The strokes with a number where the pen lands and arrows the way it goes. */
export function drawn(lines, f, { size = 1, chosen = -1, small = false } = {}) {
  const badges = [];
  const parts = lines.map((line, k) => {
    const d = path(line, f);
    const long = lengthOf(line) * f.k;
    const wide = (k === chosen ? 4.5 : 2.6) * Math.max(0.65, size);
    const shares = line.length === 1 ? [] : long > 110 * size ? [0.3, 0.65, 0.98] : [0.55, 0.98];
    return s(
      "g",
      { class: "stroke", "data-stroke": k },
      s("path", { d, class: "line-drawn", fill: "none", stroke: colour(k), "stroke-width": line.length === 1 ? 7 * size : wide, "stroke-linecap": "round", "stroke-linejoin": "round" }),
      shares.map((share) => arrow(line, share, f, (k === chosen ? 6.5 : 5) * size, k)),
    );
  });
  lines.forEach((line, k) => {
    const [x, y] = f.px(line[0]);
    const { to } = along(line, 0.02);
    const r = small ? 6 : 10 * size;
    let at = [x - to[0] * r * 1.5, y + to[1] * r * 1.5];
    for (let tries = 0; tries < 12 && badges.some((b) => Math.hypot(b[0] - at[0], b[1] - at[1]) < 2.05 * r); tries++) {
      const turn = 0.55 * (tries + 1) * (tries % 2 ? 1 : -1);
      const c = [Math.cos(turn), Math.sin(turn)];
      const v = [-to[0] * r * 1.7, to[1] * r * 1.7];
      at = [x + v[0] * c[0] - v[1] * c[1], y + v[0] * c[1] + v[1] * c[0]];
    }
    badges.push(at);
    parts.push(
      s(
        "g",
        { class: "badge", "data-stroke": k },
        s("circle", { cx: x, cy: y, r: 3.2 * size, fill: "#fff", stroke: colour(k), "stroke-width": 1.8 * size }),
        // In a small picture a disc would hide the letter: the number stands there alone, and only where it tells.
        small ? "" : s("circle", { cx: at[0], cy: at[1], r, fill: colour(k), stroke: "#fff", "stroke-width": 1.5 * size }),
        small && lines.length === 1 ? "" : s("text", { x: at[0], y: at[1] + (small ? 3.2 : 4.3 * size), "text-anchor": "middle", "font-size": small ? 9 : 12 * size, "font-weight": 700, fill: small ? colour(k) : "#fff" }, String(k + 1)),
      ),
    );
  });
  return parts;
}

/** A small picture of an attempt: its ink, its strokes. */
export function sketch(a, lines, { width = 104, height = 96 } = {}) {
  const f = frame(a, lines, width, height, { margin: 17 });
  const base = f.px([0, a.baseline ?? 0])[1];
  const svg = s("svg", { class: "sketch", viewBox: `0 0 ${width} ${height}`, width, height, "aria-hidden": "true" }, s("line", { x1: 0, x2: width, y1: base, y2: base, class: "guide" }), ink(a, f), s("g", { class: "strokes" }, drawn(lines, f, { size: 0.72, small: true })));
  svg.replay = () => replay(svg, lines, f);
  return svg;
}

/** Write the strokes before the person's eyes; where less motion is wanted, stroke by stroke. */
export function replay(svg, lines, f, { done = () => {} } = {}) {
  svg.querySelector(".replay")?.remove();
  const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
  const pen = s("circle", { r: 5, class: "pen" });
  const layer = s("g", { class: "replay" });
  const marks = svg.querySelector(".strokes");
  marks?.setAttribute("visibility", "hidden");
  svg.append(layer);
  const speed = 0.028;
  const plan = [];
  let t = 0;
  lines.forEach((line, k) => {
    if (k) t += 260;
    const took = calm ? 1 : Math.max(160, lengthOf(line) / speed);
    plan.push({ k, line, from: t, took });
    t += took + (calm ? 500 : 0);
  });
  let begun = null;
  function tick(now) {
    if (!svg.isConnected || !layer.isConnected) return;
    begun ??= now;
    const at = now - begun;
    layer.replaceChildren(
      ...plan
        .filter((p) => at >= p.from)
        .map((p) => {
          const share = Math.min((at - p.from) / p.took, 1);
          const part = [p.line[0]];
          const n = Math.ceil(share * (p.line.length - 1) * 1);
          for (let i = 1; i < n; i++) part.push(p.line[i]);
          if (share < 1 && p.line.length > 1) {
            const i = share * (p.line.length - 1);
            const [a, b] = [p.line[Math.floor(i)], p.line[Math.min(Math.floor(i) + 1, p.line.length - 1)]];
            part.push([a[0] + (b[0] - a[0]) * (i % 1), a[1] + (b[1] - a[1]) * (i % 1)]);
          } else part.push(...p.line.slice(Math.max(1, n)));
          const [x, y] = f.px(part.at(-1));
          pen.setAttribute("cx", x);
          pen.setAttribute("cy", y);
          return s("path", { d: path(part, f), fill: "none", stroke: colour(p.k), "stroke-width": 4, "stroke-linecap": "round", "stroke-linejoin": "round" });
        }),
      pen,
    );
    if (at < t + 700) requestAnimationFrame(tick);
    else {
      layer.remove();
      marks?.removeAttribute("visibility");
      done();
    }
  }
  requestAnimationFrame(tick);
}

export const list = (lines) => h("ol", {}, lines.map((l) => h("li", {}, inWords(l))));
