// Lines on the diagram: where they are on the screen, and pieces of them.

/** @import { Place, Diagram } from "./types" */

/** Sizes of the sheet, in pixels at its natural size. */
export const SHEET = { column: 84, lane: 56, tight: 23, margin: 40 };

/**
 * From columns and lanes to pixels. Lanes of yards may be drawn close together; on a sheet that is taller than wide the line
 * runs from top to bottom.
 */
export class Scale {
  /** @type {number[]} */ #across = [];
  /** @param {Diagram} diagram @param {{ upright: boolean, tight: boolean }} how */
  constructor(diagram, how) {
    this.upright = how.upright;
    const tight = new Set(how.tight ? diagram.yards.map((yard) => yard.lane) : []);
    const lane = how.upright ? SHEET.lane * 1.2 : SHEET.lane;
    let at = how.upright ? 34 : SHEET.margin;
    for (let half = 0; half <= Math.ceil(diagram.lanes) * 2 + 2; half += 1) {
      this.#across.push(at);
      const here = half / 2;
      const isTight = tight.has(Math.floor(here)) || (tight.has(Math.ceil(here)) && here !== Math.ceil(here));
      at += (isTight || (tight.has(here + 0.5) && tight.has(here - 0.5)) ? SHEET.tight : lane) / 2;
    }
    this.column = SHEET.column;
    const along = diagram.columns * this.column + 2 * SHEET.margin;
    const last = this.#across[Math.max(0, Math.ceil(diagram.lanes * 2 - 2))] ?? 0;
    // Beside a line that runs downwards names stand right of it.
    const across = last + (how.upright ? 78 : SHEET.margin + 6);
    this.width = how.upright ? across : along;
    this.height = how.upright ? along : across;
  }

  /** @param {Place} place @returns {Place} */
  at([column, lane]) {
    const along = SHEET.margin + column * this.column;
    const half = Math.max(0, Math.min(this.#across.length - 1, Math.round(lane * 2)));
    const across = this.#across[half] ?? 0;
    return this.upright ? [across, along] : [along, across];
  }

  /** @param {Place[]} line @returns {Place[]} */
  line(line) {
    return line.map((place) => this.at(place));
  }
}

/** @param {Place} a @param {Place} b */
export const distance = (a, b) => Math.hypot(b[0] - a[0], b[1] - a[1]);

/** @param {Place[]} line */
export function lengthOf(line) {
  let sum = 0;
  for (let i = 1; i < line.length; i += 1) sum += distance(line[i - 1], line[i]);
  return sum;
}

/**
 * The place so far along a line, and the direction there.
 * @param {Place[]} line @param {number} along
 * @returns {{ at: Place, dx: number, dy: number }}
 */
export function pointAt(line, along) {
  let left = along;
  for (let i = 1; i < line.length; i += 1) {
    const long = distance(line[i - 1], line[i]);
    if (long > 0 && (left <= long || i === line.length - 1)) {
      const share = Math.max(0, Math.min(1, left / long));
      const [ax, ay] = line[i - 1];
      const [bx, by] = line[i];
      return { at: [ax + (bx - ax) * share, ay + (by - ay) * share], dx: (bx - ax) / long, dy: (by - ay) / long };
    }
    left -= long;
  }
  return { at: line[line.length - 1] ?? [0, 0], dx: 1, dy: 0 };
}

/**
 * The piece of a line between two lengths along it.
 * @param {Place[]} line @param {number} from @param {number} to
 * @returns {Place[]}
 */
export function piece(line, from, to) {
  /** @type {Place[]} */
  const found = [pointAt(line, from).at];
  let along = 0;
  for (let i = 1; i < line.length; i += 1) {
    along += distance(line[i - 1], line[i]);
    if (along > from + 0.01 && along < to - 0.01) found.push(line[i]);
  }
  found.push(pointAt(line, to).at);
  return found;
}

const round = (/** @type {number} */ value) => Math.round(value * 10) / 10;

/**
 * A line as an SVG path, its corners rounded.
 * @param {Place[]} line @param {number} [radius]
 */
export function path(line, radius = 7) {
  if (line.length === 0) return "";
  let text = `M${round(line[0][0])} ${round(line[0][1])}`;
  for (let i = 1; i < line.length - 1; i += 1) {
    const [before, corner, after] = [line[i - 1], line[i], line[i + 1]];
    const r = Math.min(radius, distance(before, corner) / 2, distance(corner, after) / 2);
    const a = towards(corner, before, r);
    const b = towards(corner, after, r);
    text += `L${round(a[0])} ${round(a[1])}Q${round(corner[0])} ${round(corner[1])} ${round(b[0])} ${round(b[1])}`;
  }
  const last = line[line.length - 1];
  return `${text}L${round(last[0])} ${round(last[1])}`;
}

/** @param {Place} from @param {Place} to @param {number} far @returns {Place} */
export function towards(from, to, far) {
  const long = distance(from, to) || 1;
  return [from[0] + ((to[0] - from[0]) * far) / long, from[1] + ((to[1] - from[1]) * far) / long];
}
