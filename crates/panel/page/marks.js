// What stands along the line: turnouts, buffer stops, joints, crosses over what is out of service; and the patterns of bands.

/** @import { Place, TurnoutRow, DrawnEdge } from "./types" */
import { lengthOf, pointAt, towards } from "./geometry.js";
import { svg } from "./draw.js";

/** @param {TurnoutRow} row */
export const liesSaid = (row) => (row.lies ? `lies ${row.lies}` : "moves, or nobody knows how it lies");

/**
 * A turnout as it lies: the blade to where it leads, a gap where it does not, and whether it is locked.
 * @param {TurnoutRow} row @param {Place} at @param {Place} straight @param {Place} diverging
 */
export function turnoutParts(row, at, straight, diverging) {
  const gap = (/** @type {Place} */ to) => {
    const [a, b] = [towards(at, to, 5), towards(at, to, 14)];
    return svg("path", { class: "gap", d: `M${a[0]} ${a[1]}L${b[0]} ${b[1]}` });
  };
  /** @type {SVGElement[]} */
  const parts = [];
  if (row.lies !== "straight") parts.push(gap(straight));
  if (row.lies !== "diverging") parts.push(gap(diverging));
  if (row.lies) {
    const to = towards(at, row.lies === "straight" ? straight : diverging, 17);
    parts.push(svg("path", { class: "blade", d: `M${at[0]} ${at[1]}L${to[0]} ${to[1]}` }));
  }
  const [x, y] = at;
  parts.push(row.locked
    ? svg("path", { class: "point locked", d: `M${x - 5} ${y}L${x} ${y - 5}L${x + 5} ${y}L${x} ${y + 5}Z` })
    : svg("circle", { class: "point", cx: x, cy: y, r: 3.6 }));
  if (!row.lies) parts.push(svg("text", { class: "unsure", x: x + 3, y: y - 7 }, "?"));
  parts.push(svg("circle", { class: "hit", cx: x, cy: y, r: 11 }));
  parts.push(svg("title", {}, `${row.name} ${liesSaid(row)}${row.locked ? ", locked" : ""}`));
  return parts;
}

/** @param {DrawnEdge} edge @param {Place} at @param {boolean} upright */
export function edgeMark(edge, [x, y], upright) {
  const [dx, dy] = upright ? [0, edge.facing] : [edge.facing, 0];
  const d = edge.beyond === "buffer-stop"
    ? `M${x - dy * 8} ${y - dx * 8}L${x + dy * 8} ${y + dx * 8}M${x + dx * 4 - dy * 8} ${y + dy * 4 - dx * 8}L${x + dx * 4 + dy * 8} ${y + dy * 4 + dx * 8}`
    : `M${x} ${y}l${dx * 16} ${dy * 16}m${-dx * 6 - dy * 5} ${-dy * 6 - dx * 5}l${dx * 6 + dy * 5} ${dy * 6 + dx * 5}l${-dx * 6 + dy * 5} ${-dy * 6 + dx * 5}`;
  return svg("path", { class: `edge ${edge.beyond}`, d });
}

/** The joint at an end of a line. @param {Place} at @param {Place[]} line */
export function jointMark(at, line) {
  const inner = pointAt(line, at === line[0] ? 1 : lengthOf(line) - 1);
  const [nx, ny] = [-inner.dy, inner.dx];
  return svg("path", { class: "joint", d: `M${at[0] - nx * 4} ${at[1] - ny * 4}L${at[0] + nx * 4} ${at[1] + ny * 4}` });
}

/** @param {Place[][]} lines */
export function crosses(lines) {
  let d = "";
  for (const line of lines) {
    const long = lengthOf(line);
    for (let along = 9; along < long; along += 18) {
      const [x, y] = pointAt(line, along).at;
      d += `M${x - 4} ${y - 4}l8 8m0 -8l-8 8`;
    }
  }
  return svg("path", { class: "cross", d });
}

export function patterns() {
  const hatch = svg("pattern", { id: "hatch", width: 8, height: 8, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
    svg("rect", { class: "hatch-ground", width: 8, height: 8 }), svg("rect", { class: "hatch-stroke", width: 3.4, height: 8 }));
  const weave = svg("pattern", { id: "weave", width: 7, height: 7, patternUnits: "userSpaceOnUse" },
    svg("rect", { class: "weave-ground", width: 7, height: 7 }), svg("path", { class: "weave-stroke", d: "M0 3.5L1.75 0L5.25 7L7 3.5" }));
  return svg("defs", {}, hatch, weave);
}
