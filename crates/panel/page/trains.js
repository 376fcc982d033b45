// Every train: what it is about, where it goes, how fast it is, what comes next, and what can be asked of it.

/** @import { Feed, Changes } from "./feed.js" */
/** @import { Asks } from "./asks.js" */
/** @import { Sheet } from "./sheet.js" */
/** @import { Wish } from "./types" */
import { html, fill, spoken, say } from "./draw.js";
import { about, far, pace } from "./words.js";
import { hue } from "./ribbons.js";
import { inWords } from "./lamps.js";
import { placeBox } from "./places.js";

/** Cards so far out of sight are filled already, so that whoever scrolls or tabs on finds them so. */
const NEAR = "700px 0px";

/** What of a card changes. @typedef {{ state: HTMLElement, text: HTMLElement, where: HTMLElement, to: HTMLElement, next: HTMLElement, speed: HTMLElement, meter: HTMLMeterElement, hold: HTMLButtonElement, back: HTMLButtonElement }} Parts */

/** @typedef {{ card: HTMLElement, parts: Parts | null, isNear: boolean, signal: string }} Entry */

export class Trains {
  /** @type {Map<string, Entry>} */ #cards = new Map();
  #watch = new IntersectionObserver((seen) => this.#seen(seen), { rootMargin: NEAR });

  /** @param {HTMLElement} holder @param {Feed} feed @param {Asks} asks @param {Sheet} sheet */
  constructor(holder, feed, asks, sheet) {
    this.holder = holder;
    this.feed = feed;
    this.asks = asks;
    this.sheet = sheet;
  }

  /** Puts a train before all others. @param {string} name */
  choose(name) {
    const entry = this.#cards.get(name);
    for (const other of this.#cards.values()) other.card.classList.toggle("chosen", other === entry);
    if (!entry) return;
    this.#showOne(name, entry);
    entry.card.scrollIntoView({ block: "nearest" });
    entry.card.querySelector("button")?.focus();
  }

  /** Those that are in sight are kept as things are; of all others there is the name. @param {Changes} changes */
  show(changes) {
    const { known } = this.feed;
    const names = [...known.trains.keys()];
    fill(this.holder, names.join("|"), () => {
      const before = this.#cards;
      this.#cards = new Map();
      for (const name of names) this.#cards.set(name, before.get(name) ?? this.#card(name));
      for (const [name, { card }] of before) if (!this.#cards.has(name)) this.#watch.unobserve(card);
      return [...this.#cards.values()].map((entry) => entry.card);
    });
    for (const [name, entry] of this.#cards) {
      if (entry.isNear && (changes.everything || changes.trains.has(name) || changes.signals.has(entry.signal))) this.#showOne(name, entry);
    }
  }

  /** @param {string} name @returns {Entry} */
  #card(name) {
    const card = html("li", { class: `card ${hue(this.feed.known, name)}`, "data-card": name }, html("h3", {}, html("span", { class: "chip" }, name)));
    this.#watch.observe(card);
    return { card, parts: null, isNear: false, signal: "" };
  }

  /** @param {IntersectionObserverEntry[]} seen */
  #seen(seen) {
    for (const { target, isIntersecting } of seen) {
      const name = target instanceof HTMLElement ? target.dataset.card ?? "" : "";
      const entry = this.#cards.get(name);
      if (!entry) continue;
      entry.isNear = isIntersecting;
      if (isIntersecting) this.#showOne(name, entry);
    }
  }

  /** @param {string} name @param {Entry} entry */
  #showOne(name, entry) {
    const { known, index } = this.feed;
    const train = known.trains.get(name);
    if (!train) return;
    const parts = entry.parts ?? this.#fill(name, entry);
    const { state, word, text } = about(train);
    const next = this.sheet.track?.nextSignal(train, known.turnouts) ?? null;
    entry.signal = next?.signal ?? "";
    const row = next && known.signals.get(next.signal);
    const signal = next && index?.signals.get(next.signal);
    const shows = row && signal ? ` shows ${inWords(signal, row)}` : "";
    const where = train.covers.map((cover) => cover.section).join(", ");
    const form = `card ${hue(known, name)} is-${state}${entry.card.classList.contains("chosen") ? " chosen" : ""}`;
    if (entry.card.className !== form) entry.card.className = form;
    say(parts.state, word);
    fill(parts.text, text, () => [html("span", {}, ...spoken(text))]);
    pair(parts.where, where && `${where}${train.sure ? "" : " (not sure)"}`);
    pair(parts.to, train.to && state !== "runs" ? train.to : "");
    pair(parts.next, next ? `${next.signal}${next.mm === null ? "" : ` in ${far(next.mm)}`}${shows}` : "");
    say(parts.speed, pace(train.speed));
    if (parts.meter.value !== train.step) parts.meter.value = train.step;
    const [label, words] = train.held ? ["Release", `release ${name}`] : ["Hold", `hold ${name}`];
    say(parts.hold, label);
    if (parts.hold.getAttribute("aria-label") !== `${label}: ${words}`) parts.hold.setAttribute("aria-label", `${label}: ${words}`);
    parts.back.hidden = !train["by-hand"];
  }

  /** @param {string} name @param {Entry} entry @returns {Parts} */
  #fill(name, entry) {
    const train = this.feed.known.trains.get(name);
    const ask = (/** @type {string} */ words, /** @type {Wish} */ wish) => void this.asks.ask(words, wish);
    const button = (/** @type {string} */ label, /** @type {string} */ words, /** @type {() => void} */ act) =>
      html("button", { type: "button", "aria-label": `${label}: ${words}`, onclick: act }, label);
    const hold = button("Hold", `hold ${name}`, () => (this.feed.known.trains.get(name)?.held
      ? ask(`release ${name}`, { ask: "release", train: name })
      : ask(`hold ${name}`, { ask: "hold", train: name, reason: "held at the page" })));
    const back = button("Give back", `give ${name} back`, () => ask(`give ${name} back`, { ask: "hand-back", train: name }));
    const meter = html("meter", { min: 0, max: train?.highest ?? 126, value: 0, "aria-label": `speed step of ${name}` });
    const speed = html("span");
    const parts = { state: html("span", { class: "state" }), text: html("p", { class: "text" }), where: html("dd"), to: html("dd"), next: html("dd"), speed, meter, hold, back };
    entry.parts = parts;
    entry.card.replaceChildren(
      html("h3", {}, html("span", { class: "chip" }, name), parts.state), parts.text,
      html("dl", {}, html("dt", {}, "where"), parts.where, html("dt", {}, "goes to"), parts.to, html("dt", {}, "next"), parts.next,
        html("dt", {}, "speed"), html("dd", {}, meter, " ", speed)),
      html("div", { class: "actions" }, this.#go(name),
        button("Stop", `stop ${name}`, () => ask(`stop ${name}`, { ask: "stop", train: name })), hold, back,
        html("a", { class: "button", href: `#cab/${encodeURIComponent(name)}`, "aria-label": `Drive ${name} by hand` }, "Drive"),
        html("a", { class: "button", href: `#train/${encodeURIComponent(name)}`, "aria-label": `Speeds and faults of ${name}` }, "Speeds and faults")));
    return parts;
  }

  /** @param {string} name */
  #go(name) {
    const target = placeBox({ placeholder: "stopping point or section", "aria-label": `where ${name} shall go` }, () => this.feed.places);
    return html("form", { class: "go", onsubmit: (event) => {
      event.preventDefault();
      const to = target.value.trim();
      if (!to) { target.focus(); return; }
      target.value = "";
      void this.asks.ask(`${name} to ${to}`, { ask: "go", train: name, to });
    } }, target, html("button", { type: "submit", "aria-label": `Go: send ${name} there` }, "Go"));
  }
}

/** Says something of a term; where there is nothing to say, the term goes as well. @param {HTMLElement} said @param {string} text */
function pair(said, text) {
  say(said, text);
  const term = said.previousElementSibling;
  if (!(term instanceof HTMLElement) || term.hidden === !text) return;
  term.hidden = said.hidden = !text;
}
