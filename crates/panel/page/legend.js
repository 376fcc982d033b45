// What the marks of the line diagram mean.

import { html, svg } from "./draw.js";

/** @type {[string, string, string][]} class of the section, extra, words */
const SECTIONS = [
  ["free", "", "free"],
  ["sure", "", "taken, and it is known by which train"],
  ["unknown", "", "nothing was heard of it yet: counts as occupied"],
  ["unexplained", "", "something nobody knows is there"],
  ["doubt", "", "in doubt: one of the trains named is there"],
  ["free dark", "", "without power"],
  ["free withdrawn", "cross", "out of service, or in a person's hands"],
  ["free blind", "", "no detector sees what stands there"],
];

export function legend() {
  const rows = SECTIONS.map(([kind, extra, words]) => {
    const picture = svg("svg", { viewBox: "0 0 70 24", width: 70, height: 24, class: "line", "aria-hidden": "true" });
    const group = svg("g", { class: `section ${kind}` });
    const d = "M4 14H66";
    group.append(svg("path", { class: "band", d }), svg("path", { class: "rail", d }), svg("path", { class: "core", d }));
    if (extra) group.append(svg("path", { class: "cross", d: "M12 10l8 8m0 -8l-8 8M31 10l8 8m0 -8l-8 8M50 10l8 8m0 -8l-8 8" }));
    if (kind.includes("dark")) group.append(svg("path", { class: "mark moon", d: "M33 1a6 6 0 1 0 7 8a5 5 0 0 1 -7 -8z" }));
    picture.append(group);
    return html("li", {}, picture, words);
  });
  const train = svg("svg", { viewBox: "0 0 110 24", width: 110, height: 24, class: "line", "aria-hidden": "true" },
    svg("g", { class: "train hue-0" }, svg("path", { class: "maybe", d: "M44 13H62" }), svg("path", { class: "body", d: "M4 13H40" }), svg("path", { class: "nose", d: "M39 5.5L48 13L39 20.5Z" })),
    svg("g", { class: "ahead hue-0" }, svg("path", { class: "way", d: "M48 13H98" }), svg("path", { class: "end", d: "M98 3V23" })));
  const turnouts = svg("svg", { viewBox: "0 0 110 24", width: 110, height: 24, class: "line", "aria-hidden": "true" },
    svg("g", { class: "turnout" }, svg("path", { class: "point locked", d: "M15 13L20 8L25 13L20 18Z" }), svg("circle", { class: "point", cx: 50, cy: 13, r: 3.6 }), svg("text", { class: "unsure", x: 80, y: 17 }, "?")));
  return html("ul", {}, ...rows,
    html("li", {}, train, "a train with its nose; paler, where that may be as well; and how far it may go: to the bar"),
    html("li", {}, turnouts, "a turnout: locked, free, not known how it lies"));
}
