// What the marks of the line diagram mean.

import { html, svg } from "./draw.js";

/** @type {[string, string, string][]} class of the section, extra, words */
const SECTIONS = [
  ["free", "", "free"],
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
    svg("g", { class: "train hue-0" }, svg("path", { class: "body", d: "M4 13H44" }), svg("path", { class: "nose", d: "M43 5.500L52 13L43 20.500Z" })),
    svg("g", { class: "ahead hue-0" }, svg("path", { class: "way", d: "M52 13H98" }), svg("path", { class: "end", d: "M98 3V23" })));
  const turnouts = svg("svg", { viewBox: "0 0 110 24", width: 110, height: 24, class: "line", "aria-hidden": "true" },
    svg("g", { class: "turnout" }, svg("path", { class: "point locked", d: "M15 13L20 8L25 13L20 18Z" }), svg("circle", { class: "point", cx: 50, cy: 13, r: 3.6 }), svg("text", { class: "unsure", x: 80, y: 17 }, "?")));
  return html("ul", {}, ...rows,
    html("li", {}, train, "a train with its nose, and how far it may go: to the bar"),
    html("li", {}, turnouts, "a turnout: locked, free, not known how it lies"));
}
