// Every train: what it is about, where it goes, how fast it is, what comes next, and what can be asked of it.

/** @import { Feed } from "./feed.js" */
/** @import { Asks } from "./asks.js" */
/** @import { Sheet } from "./sheet.js" */
/** @import { TrainRow } from "./types" */
import { html, fill, spoken } from "./draw.js";
import { about, far, pace } from "./words.js";
import { hue } from "./ribbons.js";
import { inWords } from "./lamps.js";

export class Trains {
  /** @type {Map<string, { card: HTMLElement, key: string, signal: string }>} */ #cards = new Map();

  /** @param {HTMLElement} holder @param {Feed} feed @param {Asks} asks @param {Sheet} sheet */
  constructor(holder, feed, asks, sheet) {
    this.holder = holder;
    this.feed = feed;
    this.asks = asks;
    this.sheet = sheet;
  }

  /** Puts a train before all others. @param {string} name */
  choose(name) {
    const card = this.#cards.get(name)?.card;
    for (const other of this.#cards.values()) other.card.classList.toggle("chosen", other.card === card);
    card?.scrollIntoView({ block: "nearest" });
    card?.querySelector("button")?.focus();
  }

  /** @param {import("./feed.js").Changes} changes */
  show(changes) {
    const { known } = this.feed;
    const names = [...known.trains.keys()];
    fill(this.holder, names.join("|"), () => {
      this.#cards.clear();
      return names.map((name) => {
        const card = html("li", { class: `card ${hue(names, name)}`, "data-card": name });
        this.#cards.set(name, { card, key: "", signal: "" });
        return card;
      });
    });
    for (const train of known.trains.values()) {
      const entry = this.#cards.get(train.name);
      if (changes.everything || entry?.key === "" || changes.trains.has(train.name) || changes.signals.has(entry?.signal ?? "")) this.#showOne(train);
    }
  }

  /** @param {TrainRow} train */
  #showOne(train) {
    const entry = this.#cards.get(train.name);
    if (!entry) return;
    const { known, plan } = this.feed;
    const { state, word, text } = about(train);
    const next = this.sheet.track?.nextSignal(train, known.turnouts) ?? null;
    entry.signal = next?.signal ?? "";
    const row = next && known.signals.get(next.signal);
    const signal = next && plan?.signals.find((signal) => signal.name === next.signal);
    const shows = row && signal ? inWords(signal, row) : "";
    const where = train.covers.map((cover) => cover.section).join(", ");
    const signalText = next ? `${next.signal}${next.mm === null ? "" : ` in ${far(next.mm)}`} shows ${shows}` : "";
    const key = JSON.stringify([state, word, text, where, train.sure, train.step, signalText, train.to, train.held, train["by-hand"]]);
    const speed = pace(train.speed);
    if (entry.key === key) {
      const said = entry.card.querySelector(".speed");
      if (said && said.textContent !== speed) said.textContent = speed;
      return;
    }
    entry.key = key;
    const { card } = entry;
    card.className = `${card.className.replace(/ is-\w+/g, "")} is-${state}`;
    fill(card, key, () => [
      html("h3", {}, html("span", { class: "chip" }, train.name), html("span", { class: "state" }, word)),
      text && html("p", { class: "text" }, ...spoken(text)),
      html("dl", {},
        ...pair("where", where ? `${where}${train.sure ? "" : " (not sure)"}` : ""),
        ...pair("goes to", train.to && state === "runs" ? "" : (train.to ?? "")),
        ...pair("next", signalText),
        html("dt", {}, "speed"), html("dd", {}, html("meter", { min: 0, max: train.highest, value: train.step, "aria-label": `speed step of ${train.name}` }), " ", html("span", { class: "speed" }, speed))),
      this.#actions(train),
    ].filter((it) => it instanceof Node));
  }

  /** @param {TrainRow} train */
  #actions(train) {
    const { asks } = this;
    const { name } = train;
    const button = (/** @type {string} */ label, /** @type {string} */ words, /** @type {import("./types").Wish} */ wish) =>
      html("button", { type: "button", "data-focus": `${name} ${label}`, "aria-label": `${label}: ${words}`, onclick: () => void asks.ask(words, wish) }, label);
    const target = html("input", { list: "places", placeholder: "stopping point or section", "aria-label": `where ${name} shall go`, "data-focus": `${name} to`, autocomplete: "off", value: this.#drafts.get(name) ?? "" });
    target.addEventListener("input", () => this.#drafts.set(name, target.value));
    const go = html("form", { class: "go", onsubmit: (event) => {
      event.preventDefault();
      const to = target.value.trim();
      if (!to) { target.focus(); return; }
      this.#drafts.delete(name);
      target.value = "";
      void asks.ask(`${name} to ${to}`, { ask: "go", train: name, to });
    } }, target, html("button", { type: "submit", "data-focus": `${name} go`, "aria-label": `Go: send ${name} there` }, "Go"));
    return html("div", { class: "actions" }, go,
      button("Stop", `stop ${name}`, { ask: "stop", train: name }),
      train.held
        ? button("Release", `release ${name}`, { ask: "release", train: name })
        : button("Hold", `hold ${name}`, { ask: "hold", train: name, reason: "held at the page" }),
      html("a", { class: "button", href: `#cab/${encodeURIComponent(name)}`, "aria-label": `Drive ${name} by hand` }, "Drive"),
      html("a", { class: "button", href: `#train/${encodeURIComponent(name)}`, "aria-label": `Speeds and faults of ${name}` }, "Speeds and faults"));
  }

  /** @type {Map<string, string>} */ #drafts = new Map();
}

/** @param {string} term @param {string} text */
function pair(term, text) {
  return text ? [html("dt", {}, term), html("dd", {}, text)] : [];
}
