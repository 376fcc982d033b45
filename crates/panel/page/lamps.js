// Signals as their lamps: one glass for every lamp that a signal has, lit, flashing or out.

/** @import { PlanSignal, SignalRow } from "./types" */
import { svg } from "./draw.js";

/** The colour of a lamp, by the first colour word in its name. @param {string} lamp */
export function colourOf(lamp) {
  const word = lamp.toLowerCase().match(/red|yellow|amber|green|white|lunar|blue|purple|violet/)?.[0] ?? "white";
  return { amber: "yellow", lunar: "white", violet: "purple" }[word] ?? word;
}

/** Every lamp that a signal has, in the order in which its aspects name them. @param {PlanSignal} signal */
export function lampsOf(signal) {
  return [...new Set(signal.aspects.flatMap((aspect) => [...aspect.lamps, ...aspect.flashing]))];
}

/** @param {number} lamps how many there are */
function sizesOf(lamps) {
  const radius = lamps > 4 ? 2.6 : 3.4;
  return { radius, step: radius * 2 + 1.6 };
}

/** How long a signal is drawn, from its foot to its top. @param {PlanSignal} signal */
export function longOf(signal) {
  const lamps = lampsOf(signal).length;
  return lamps * sizesOf(lamps).step + 8;
}

/** @param {PlanSignal} signal @param {SignalRow} row */
export function inWords(signal, row) {
  const aspect = signal.aspects.find((aspect) => aspect.name === row.aspect);
  const says = aspect?.says ? `: ${aspect.says}` : "";
  return `${row.aspect}${says}${row.lit ? "" : " (its lamps are out: no train is near)"}`;
}

/**
 * Draws a signal into a group, its lamps in a row along x from where it stands, its foot at the origin.
 * @param {Element} group @param {PlanSignal} signal @param {SignalRow | undefined} row
 */
export function drawLamps(group, signal, row) {
  const lamps = lampsOf(signal);
  const aspect = row && signal.aspects.find((aspect) => aspect.name === row.aspect);
  const { radius, step } = sizesOf(lamps.length);
  const long = lamps.length * step + 2.4;
  /** @type {SVGElement[]} */
  const parts = [svg("path", { class: "mast", d: "M0 0H5" })];
  parts.push(svg("rect", { class: "plate", x: 5, y: -radius - 2, width: long, height: radius * 2 + 4, rx: signal.distant ? radius + 2 : 2 }));
  for (const [index, lamp] of lamps.entries()) {
    const lit = row?.lit !== false && aspect?.lamps.includes(lamp);
    const flashes = row?.lit !== false && aspect?.flashing.includes(lamp);
    const state = flashes ? "flashing" : lit ? "lit" : "out";
    parts.push(svg("circle", { class: `lamp ${state} ${colourOf(lamp)}`, cx: 5 + 2 + radius + index * step, cy: 0, r: radius }));
  }
  group.replaceChildren(...parts);
}
