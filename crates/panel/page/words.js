// What is said of things, in plain words.

/** @import { TrainRow, SectionRow, Head, Bounds } from "./types" */

/** Layout time. @param {number} seconds */
export function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  const two = (/** @type {number} */ value) => String(value).padStart(2, "0");
  return `${Math.floor(whole / 3600)}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}`;
}

/** @param {string[]} names */
export function oneOf(names) {
  if (names.length < 2) return names[0] ?? "somebody";
  return `${names.slice(0, -1).join(", ")} or ${names[names.length - 1]}`;
}

/** @param {number} mm */
export function far(mm) {
  return mm < 1000 ? `${Math.round(mm / 10)} cm` : `${(mm / 1000).toFixed(1)} m`;
}

/** @param {Bounds | null} speed in millimetres a second */
export function pace(speed) {
  if (!speed || speed.most === 0) return "stands";
  const [least, most] = [Math.round(speed.least / 10), Math.round(speed.most / 10)];
  return least === most ? `${most} cm/s` : `${least} to ${most} cm/s`;
}

/** What a train is about: one word for its state, and what there is to say. @param {TrainRow} train */
export function about(train) {
  const on = train.covers.map((cover) => cover.section).join(", ");
  if (train.covers.length === 0) return { state: "off", word: "not on the track", text: "" };
  if (train.held) return { state: "held", word: "held", text: train.held };
  if (train["by-hand"]) return { state: "hand", word: "driven by hand", text: "" };
  if (train.step > 0) return { state: "runs", word: "runs", text: train.to ? `to ${train.to}` : "" };
  if (train.waits) return { state: "waits", word: "waits", text: train.waits };
  if (train.to) return { state: "waits", word: "stands", text: `on its way to ${train.to}` };
  return { state: "stands", word: "stands", text: train.at ? `at ${train.at}` : `in ${on}` };
}

/** @param {SectionRow} section @param {string | null} darkBecause */
export function saidOf(section, darkBecause) {
  const parts = [];
  if (section.is === "unknown") parts.push("nothing was heard of it yet: it counts as occupied");
  if (section.is === "free") parts.push("nothing is there");
  if (section.is === "sure") parts.push(`${section.trains[0]} is there`);
  if (section.is === "doubt") parts.push(`${oneOf(section.trains)} may be there: it is not sure who`);
  if (section.is === "unexplained") parts.push("something is there that no known train explains");
  if (section.granted) parts.push(`it is kept for ${section.granted}`);
  if (section.withdrawn) parts.push(`no trains are worked over it: ${section.withdrawn}`);
  if (darkBecause) parts.push(`without power: ${darkBecause}`);
  return parts;
}

/** @param {Head} head */
export function phase(head) {
  if (head.phase === "halted") return "everything was told to stop";
  if (head.phase === "ending") return "the run is ending: trains come to a stand";
  return "trains run";
}
