// The past: how close trains stop, what was in doubt, what was suspected, as plots and tables.

import { html } from "./draw.js";
import { bars, histogram } from "./plots.js";
import { past } from "./record.js";

/** @import { Feed } from "./feed.js" */

export class Past {
  #train = "";
  #days = 1;

  /** @param {HTMLElement} holder @param {Feed} feed */
  constructor(holder, feed) {
    this.holder = holder;
    this.feed = feed;
  }

  async open() {
    const from = String(Date.now() - this.#days * 86400000);
    /** @type {Record<string, string>} */
    const part = this.#train ? { from, train: this.#train } : { from };
    /** @type {(Node | string)[]} */
    let content;
    try {
      const [stops, doubts, causes, suspects, holds] = await Promise.all([
        past("stops", part), past("doubts", part), past("causes", part), past("suspects", { from }), past("holds", part)]);
      content = stops && doubts && causes && suspects && holds
        ? this.#plots(stops, doubts, causes, suspects, holds)
        : [html("p", { class: "calm" }, "Nothing is recorded. Start the daemon with a folder to keep it in: lineclear run DIR --state FOLDER")];
    } catch (error) {
      content = [html("p", { class: "calm" }, `What was recorded cannot be told: ${error instanceof Error ? error.message : error}`)];
    }
    this.holder.replaceChildren(html("h2", {}, "The past"), this.#choices(), ...content);
  }

  #choices() {
    const trains = ["", ...this.feed.known.trains.keys()];
    const train = html("select", {}, ...trains.map((name) => html("option", { value: name, selected: name === this.#train }, name || "all trains")));
    train.addEventListener("change", () => { this.#train = train.value; void this.open(); });
    const days = html("select", {}, ...[[1, "the last day"], [7, "the last week"], [90, "the last three months"]].map(([value, text]) => html("option", { value, selected: value === this.#days }, String(text))));
    days.addEventListener("change", () => { this.#days = Number(days.value); void this.open(); });
    return html("div", { class: "answers" }, html("label", {}, "of ", train), html("label", {}, "over ", days), html("button", { type: "button", onclick: () => void this.open() }, "look again"));
  }

  /**
   * @param {Record<string, any>[]} stops @param {Record<string, any>[]} doubts @param {Record<string, any>[]} causes
   * @param {Record<string, any>[]} suspects @param {Record<string, any>[]} holds
   */
  #plots(stops, doubts, causes, suspects, holds) {
    const short = stops.map((row) => row.short_mm).filter((value) => typeof value === "number");
    const wide = short.length && Math.max(...short) - Math.min(...short) > 300 ? 25 : 5;
    const wall = (/** @type {number | null} */ value) => (value === null ? "" : new Date(value).toLocaleString());
    return [
      html("div", { class: "plots" },
        histogram("How far short of the stopping point trains came to stand", short, wide, "mm"),
        bars("Doubts, by what was heard when they were raised", causes.map((row) => [`${row.cause} ${row.cause_at}`, row.doubts])),
        bars("Detectors, trains and turnouts, by how often they were suspected", suspects.map((row) => [`${row.kind} ${row.name}`, row.times])),
        bars("Holds, by train", count(holds.map((row) => row.train)))),
      html("h3", {}, "The latest doubts"),
      doubts.length === 0 ? html("p", { class: "calm" }, "None.") : html("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "the latest doubts" }, html("table", {},
        html("thead", {}, html("tr", {}, ...["raised", "trains", "sections", "lasted", "settled by"].map((text) => html("th", { scope: "col" }, text)))),
        html("tbody", {}, ...doubts.slice(-40).reverse().map((row) => html("tr", {}, html("td", {}, wall(row.raised_wall)), html("td", {}, row.trains), html("td", {}, row.sections), html("td", {}, row.lasted_s === null ? "open" : `${row.lasted_s.toFixed(1)} s`), html("td", {}, row.cleared_by ?? "")))))),
    ];
  }
}

/** @param {string[]} names @returns {[string, number][]} */
function count(names) {
  /** @type {Map<string, number>} */
  const counts = new Map();
  for (const name of names) counts.set(name, (counts.get(name) ?? 0) + 1);
  return [...counts].sort((a, b) => b[1] - a[1]);
}
