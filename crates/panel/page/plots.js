// Plots: bars and axes, drawn plainly.

import { svg, html } from "./draw.js";

/** @param {number} from @param {number} to @param {number} most @returns {number[]} round values between two, few */
export function ticks(from, to, most) {
  const span = Math.max(1e-9, to - from);
  const steps = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400];
  const step = steps.find((step) => span / step <= most) ?? span / most;
  /** @type {number[]} */
  const found = [];
  for (let at = Math.ceil(from / step) * step; at <= to; at += step) found.push(at);
  return found;
}

/** Round numbers from 0 up to a last one, some five of them: 1, 2, 5, 10, 20, 50 apart. @param {number} last */
export function evenly(last) {
  let every = 1;
  for (let turn = 0; last / every > 7; turn += 1) every *= [2, 2.5, 2][turn % 3];
  return Array.from({ length: Math.floor(last / every) + 1 }, (_, place) => place * every);
}

/**
 * How often values fall into bins of the same width.
 * @param {string} title @param {number[]} values @param {number} bin @param {string} unit
 */
export function histogram(title, values, bin, unit) {
  if (values.length === 0) return html("figure", {}, html("figcaption", {}, title), html("p", { class: "calm" }, "Nothing was measured yet."));
  /** @type {Map<number, number>} */
  const counts = new Map();
  for (const value of values) {
    const at = Math.floor(value / bin) * bin;
    counts.set(at, (counts.get(at) ?? 0) + 1);
  }
  const sorted = [...values].sort((a, b) => a - b);
  const middle = sorted[Math.floor(sorted.length / 2)];
  const [first, last] = [Math.min(...counts.keys()), Math.max(...counts.keys())];
  const bins = Math.min(60, (last - first) / bin + 1);
  const most = Math.max(...counts.values());
  const [wide, height, left, foot] = [26, 190, 38, 34];
  const width = Math.max(320, left + bins * wide + 8);
  const root = svg("svg", { class: "plot", width, height, viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": `${title}: ${values.length} values, the middle one ${middle.toFixed(1)} ${unit}` });
  const high = height - foot - 18;
  for (const tick of ticks(0, most, 4)) {
    const y = height - foot - (tick / most) * high;
    root.append(svg("path", { class: "grid", d: `M${left} ${y}H${width - 8}` }), svg("text", { x: left - 5, y: y + 4, "text-anchor": "end" }, String(tick)));
  }
  for (let i = 0; i < bins; i += 1) {
    const at = first + i * bin;
    const count = counts.get(at) ?? 0;
    const tall = (count / most) * high;
    if (count) root.append(svg("rect", { class: "bar", x: left + i * wide + 1, y: height - foot - tall, width: Math.max(2, wide - 2), height: tall }, svg("title", {}, `${at} to ${at + bin} ${unit}: ${count}`)));
    if (i % Math.ceil(bins / 12) === 0) root.append(svg("text", { x: left + i * wide, y: height - foot + 15, "text-anchor": "middle" }, String(Math.round(at * 10) / 10)));
  }
  root.append(svg("text", { x: width - 8, y: height - 4, "text-anchor": "end" }, unit));
  return html("figure", {}, html("figcaption", {}, `${title}. ${values.length} in all, the middle one ${middle.toFixed(1)} ${unit}.`), root);
}

/** How much of each, as bars to the right. @param {string} title @param {[string, number][]} rows */
export function bars(title, rows) {
  if (rows.length === 0) return html("figure", {}, html("figcaption", {}, title), html("p", { class: "calm" }, "None."));
  const most = Math.max(...rows.map((row) => row[1]));
  return html("figure", {}, html("figcaption", {}, title),
    html("table", { class: "bars" }, ...rows.slice(0, 25).map(([name, count]) =>
      html("tr", {}, html("th", { scope: "row" }, name), html("td", {}, html("meter", { min: 0, max: most, value: count, "aria-hidden": "true" })), html("td", { class: "number" }, String(count))))));
}
