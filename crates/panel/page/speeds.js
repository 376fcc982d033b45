// How fast a train is at each of its speed steps: one drawing for each way it runs, and the same as a table.

/** @import { ProfileRow, RateRow, StepRow } from "./types" */
import { html, svg } from "./draw.js";
import { evenly } from "./plots.js";

/** The frame of a drawing, and the room around it, in pixels. */
const [WIDE, HIGH, LEFT, RIGHT, TOP, FOOT] = [300, 190, 40, 44, 24, 36];
/** A table shows about so many steps at most; all of them are in the drawing. */
const ROWS = 28;

/** Speeds come in millimetres a second, and are shown as everywhere on the page. @param {number} mm */
const cm = (mm) => (mm / 10).toFixed(1);

/** @param {ProfileRow} profile */
export function drawings(profile) {
  return [
    html("div", { class: "pair" }, side("forwards", profile.forward, profile), side("backwards", profile.backward, profile)),
    html("p", { class: "hint" }, "Solid line: likeliest speed, where runs have taught something near that step; marks say where. Dashed: inferred from those, or from what the train is described as. Between the dotted lines it is in 95 runs of 100."),
    html("p", {}, `Gathers speed at ${rate(profile.gathers)}, loses it at ${rate(profile.loses)}.`),
  ];
}

/** @param {RateRow} it */
function rate(it) {
  return `${Math.round(it.likely)} mm/s\u00b2, give or take ${Math.round(1.96 * it.deviation)}`;
}

/** @param {string} word @param {StepRow[]} rows */
function learned(word, rows) {
  const taught = rows.filter((row) => row.runs > 0);
  if (taught.length === 0) return `Nothing was learned ${word} yet: this is what the train is described as, and how far off that may be.`;
  if (taught.length === rows.length) return `Learned ${word} at every step.`;
  return `Learned ${word} near step ${spans(taught.map((row) => row.step))}; at the others it is inferred from those, and less sure.`;
}

/** Steps in a row, said by the first and the last of them. @param {number[]} steps */
function spans(steps) {
  /** @type {[number, number][]} */
  const found = [];
  for (const step of steps) {
    const last = found[found.length - 1];
    if (last && last[1] === step - 1) last[1] = step; else found.push([step, step]);
  }
  return found.map(([from, to]) => (from === to ? String(from) : `${from} to ${to}`)).join(", ");
}

/** Pieces of the likeliest speed: solid between steps that runs have taught, dashed elsewhere. @param {StepRow[]} rows @param {(row: { step: number, likely: number }) => string} at */
function pieces(rows, at) {
  /** @type {{ kind: string, d: string }[]} */
  const found = [];
  let last = { step: 0, likely: 0, runs: 0 };
  for (const row of rows) {
    const kind = row.runs > 0 && last.runs > 0 ? "learned" : "inferred";
    const before = found[found.length - 1];
    if (before?.kind === kind) before.d += `L${at(row)}`; else found.push({ kind, d: `M${at(last)}L${at(row)}` });
    last = row;
  }
  return found.map(({ kind, d }) => svg("path", { class: `likely ${kind}`, d }));
}

/** @param {string} word @param {StepRow[]} rows @param {ProfileRow} profile */
function side(word, rows, profile) {
  const fastest = Math.max(1, ...profile.forward.map((row) => row.most), ...profile.backward.map((row) => row.most)) * 1.04;
  const x = (/** @type {number} */ step) => LEFT + (step / rows.length) * WIDE;
  const y = (/** @type {number} */ mm) => TOP + HIGH - (mm / fastest) * HIGH;
  const [width, height] = [LEFT + WIDE + RIGHT, TOP + HIGH + FOOT];
  const top = rows[rows.length - 1];
  const words = `Speed ${word} at ${rows.length} steps: at the highest ${cm(top.likely)} centimetres a second, in 95 runs of 100 between ${cm(top.least)} and ${cm(top.most)}. ${learned(word, rows)} The table below has the numbers.`;
  const root = svg("svg", { class: "plot speeds", viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": words });
  grid(root, { rows, fastest, profile, x, y });
  const line = (/** @type {(row: StepRow) => number} */ of) => rows.map((row) => `L${x(row.step).toFixed(1)} ${y(of(row)).toFixed(1)}`).join("");
  const back = [...rows].reverse().map((row) => `L${x(row.step).toFixed(1)} ${y(row.least).toFixed(1)}`).join("");
  const origin = `M${LEFT} ${y(0)}`;
  root.append(svg("path", { class: "within", d: `${origin}${line((row) => row.most)}${back}Z` }),
    svg("path", { class: "bound", d: origin + line((row) => row.most) }), svg("path", { class: "bound", d: origin + line((row) => row.least) }));
  root.append(...pieces(rows, (row) => `${x(row.step).toFixed(1)} ${y(row.likely).toFixed(1)}`));
  const every = Math.ceil(rows.length / 28);
  for (const row of rows.filter((row) => row.runs > 0 && row.step % every === 0)) {
    root.append(svg("circle", { class: "taught", cx: x(row.step), cy: y(row.likely), r: 2.6 }, svg("title", {}, `step ${row.step}: ${cm(row.likely)} cm/s, taught ${row.runs} times`)));
  }
  return html("figure", {}, html("figcaption", {}, word), root, html("p", { class: "hint" }, learned(word, rows)));
}

/**
 * Lines at round numbers: steps below, speed on the table on the left, to scale on the right.
 * @param {SVGElement} root
 * @param {{ rows: StepRow[], fastest: number, profile: ProfileRow, x: (step: number) => number, y: (mm: number) => number }} axes
 */
function grid(root, { rows, fastest, profile, x, y }) {
  for (const at of evenly(fastest / 10)) {
    root.append(svg("path", { class: "grid", d: `M${LEFT} ${y(at * 10)}h${WIDE}` }), svg("text", { x: LEFT - 5, y: y(at * 10) + 4, "text-anchor": "end" }, String(at)));
  }
  const per = profile["km-h-per-mm-s"];
  for (const at of per ? evenly(fastest * per) : []) {
    root.append(svg("path", { class: "tick", d: `M${LEFT + WIDE} ${y(at / (per ?? 1))}h4` }), svg("text", { x: LEFT + WIDE + 7, y: y(at / (per ?? 1)) + 4 }, String(at)));
  }
  for (const at of evenly(rows.length)) {
    root.append(svg("path", { class: "grid", d: `M${x(at)} ${TOP}v${HIGH}` }), svg("text", { x: x(at), y: TOP + HIGH + 14, "text-anchor": "middle" }, String(at)));
  }
  root.append(svg("text", { x: 2, y: 12 }, "cm/s"), svg("text", { x: LEFT + WIDE / 2, y: TOP + HIGH + 30, "text-anchor": "middle" }, "speed step"));
  if (per) root.append(svg("text", { x: LEFT + WIDE + RIGHT - 2, y: 12, "text-anchor": "end" }, "km/h to scale"));
}

/** @param {ProfileRow} profile */
export function speedTable(profile) {
  const every = Math.ceil(profile.forward.length / ROWS);
  const steps = profile.forward.filter((row, place) => row.step % every === 0 || place === profile.forward.length - 1);
  const cells = (/** @type {StepRow} */ row) => [
    html("td", { class: "number" }, cm(row.likely)), html("td", { class: "number" }, `${cm(row.least)} to ${cm(row.most)}`),
    html("td", { class: "number" }, row.runs ? String(row.runs) : "none")];
  const heads = ["likeliest", "in 95 of 100", "runs"];
  return html("table", {},
    html("caption", {}, `Speed of ${profile.train} by step, in centimetres a second on the table${every > 1 ? `; not all of its ${profile.forward.length} steps` : ""}`),
    html("thead", {},
      html("tr", {}, html("td", {}), html("th", { scope: "colgroup", colspan: 3 }, "forwards"), html("th", { scope: "colgroup", colspan: 3 }, "backwards")),
      html("tr", {}, ...["step", ...heads, ...heads].map((text) => html("th", { scope: "col" }, text)))),
    html("tbody", {}, ...steps.map((row) => html("tr", {}, html("th", { scope: "row" }, String(row.step)), ...cells(row), ...cells(profile.backward[row.step - 1])))));
}
