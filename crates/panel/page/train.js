// One train: how fast it is at each step, what is suspected of it, and what the register holds of it.

/** @import { Feed } from "./feed.js" */
/** @import { ProfileRow } from "./types" */
import { fetched } from "./feed.js";
import { html, fill, spoken } from "./draw.js";
import { about, pace } from "./words.js";
import { hue } from "./ribbons.js";
import { past } from "./record.js";
import { drawings, speedTable } from "./speeds.js";

/** How often what is shown is asked for again, in milliseconds. */
const OFTEN = 5000;
/** So many of the latest faults are listed. */
const FEW = 12;

/** @typedef {Record<string, any>} Row */

export class TrainView {
  #train = "";
  #timer = 0;
  #head = html("div");
  #speeds = html("div");
  #table = html("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "speeds as a table" });
  #now = html("div");
  #kept = html("div");

  /** @param {HTMLElement} holder @param {Feed} feed */
  constructor(holder, feed) {
    this.holder = holder;
    this.feed = feed;
  }

  /** @param {string} train */
  open(train) {
    if (train === this.#train) return;
    this.close();
    this.#train = train;
    if (!this.feed.known.trains.has(train)) {
      this.holder.replaceChildren(html("h2", {}, "No such train"), html("p", { class: "calm" }, `No train is called ${train || "so"}.`));
      return;
    }
    for (const part of [this.#speeds, this.#kept]) fill(part, "", () => [html("p", { class: "calm" }, "asked \u2026")]);
    this.#table.replaceChildren();
    this.holder.replaceChildren(this.#head,
      html("h3", {}, "How fast it is"), this.#speeds, html("details", {}, html("summary", {}, "The same as a table"), this.#table),
      html("h3", {}, "Suspected of it now"), this.#now,
      html("h3", {}, "What the register holds of it"), this.#kept);
    this.show();
    void this.#ask();
    this.#timer = window.setInterval(() => { if (this.feed.live && !document.hidden) void this.#ask(); }, OFTEN);
  }

  close() {
    clearInterval(this.#timer);
    this.#train = "";
  }

  show() {
    const { known } = this.feed;
    const row = known.trains.get(this.#train);
    if (!row) return;
    const { word, text } = about(row);
    fill(this.#head, JSON.stringify([row.name, word, text, row.speed]), () => [
      html("h2", { class: hue(known, row.name) }, html("span", { class: "chip" }, row.name)),
      html("p", {}, `${word}${text ? ": " : ""}`, ...spoken(text), `${row.step ? `, ${pace(row.speed)}` : ""}. `, html("a", { href: "#trains", "data-focus": "all" }, "All trains")),
    ]);
    const suspects = known.suspects.filter((it) => it.kind === "train" && it.name === row.name);
    fill(this.#now, JSON.stringify(suspects), () => (suspects.length
      ? [html("ul", {}, ...suspects.map((it) => html("li", {}, ...spoken(it.because))))]
      : [html("p", { class: "calm" }, "Nothing.")]));
  }

  async #ask() {
    const train = this.#train;
    const isStill = () => this.#train === train;
    await Promise.all([this.#askSpeeds(train, isStill), this.#askKept(train, isStill)]);
  }

  /** @param {string} train @param {() => boolean} isStill */
  async #askSpeeds(train, isStill) {
    try {
      const profile = /** @type {ProfileRow} */ (await fetched(`/v1/trains/${encodeURIComponent(train)}/profile`));
      if (!isStill()) return;
      const key = JSON.stringify({ ...profile, at: 0 });
      fill(this.#speeds, key, () => drawings(profile));
      fill(this.#table, key, () => [speedTable(profile)]);
    } catch (error) {
      if (isStill()) fill(this.#speeds, "failed", () => [html("p", { class: "calm" }, `It cannot be told: ${words(error)}`)]);
    }
  }

  /** @param {string} train @param {() => boolean} isStill */
  async #askKept(train, isStill) {
    try {
      const [faults, suspects, stops] = await Promise.all(["faults", "suspects", "stops"].map((topic) => past(topic, { train })));
      if (!isStill()) return;
      if (!faults || !suspects || !stops) {
        fill(this.#kept, "none", () => [html("p", { class: "calm" }, "Nothing is recorded in this run. Start the daemon with a folder to keep it in: lineclear run DIR --state FOLDER")]);
        return;
      }
      fill(this.#kept, JSON.stringify([faults, suspects, stops.length]), () => kept(train, faults, suspects, stops));
    } catch (error) {
      if (isStill()) fill(this.#kept, "failed", () => [html("p", { class: "calm" }, `What was recorded cannot be told: ${words(error)}`)]);
    }
  }
}

/** @param {unknown} error */
function words(error) {
  return error instanceof Error ? error.message : String(error);
}

/** @param {number} value milliseconds since 1970 */
const wall = (value) => new Date(value).toLocaleString();

/**
 * What was recorded of a train. A detector may bear the same name: what is said of that is left out.
 * @param {string} train @param {Row[]} faults @param {Row[]} suspects @param {Row[]} stops @returns {Node[]}
 */
function kept(train, faults, suspects, stops) {
  const own = faults.filter((row) => row.kind === "train");
  const times = suspects.filter((row) => row.kind === "train");
  const latest = own.slice(-FEW).reverse();
  return [
    html("p", {}, stopped(stops)),
    html("p", {}, times.length === 0 ? "It was never suspected." : `It was suspected ${times[0].times === 1 ? "once" : `${times[0].times} times`}, last on ${wall(times[0].last_wall)}.`),
    ...(latest.length === 0 ? [] : [
      html("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": `faults of ${train}` }, html("table", {},
        html("thead", {}, html("tr", {}, html("th", { scope: "col" }, "noticed"), html("th", { scope: "col" }, "because"))),
        html("tbody", {}, ...latest.map((row) => html("tr", {}, html("td", {}, wall(row.noticed_wall)), html("td", {}, ...spoken(row.because))))))),
      ...(own.length > FEW ? [html("p", { class: "hint" }, `The latest ${FEW} of ${own.length}.`)] : []),
    ]),
  ];
}

/** @param {Row[]} stops */
function stopped(stops) {
  const short = stops.map((row) => row.short_mm).filter((value) => typeof value === "number").sort((a, b) => a - b);
  if (stops.length === 0) return "It has come to stand at no stopping point yet.";
  const often = `It has come to stand at stopping points ${stops.length === 1 ? "once" : `${stops.length} times`}`;
  if (short.length === 0) return `${often}; how far short of them is not known.`;
  const beyond = short.filter((value) => value < 0).length;
  const of = short.length === stops.length ? "" : ` ${short.length} of them were measured.`;
  return `${often}.${of} The middle one was ${short[Math.floor(short.length / 2)].toFixed(0)} mm short of the point, the farthest ${short[short.length - 1].toFixed(0)} mm${beyond ? `, and ${beyond} were beyond it` : ""}.`;
}
