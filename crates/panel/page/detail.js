// What was pointed at on the line: who, since when, why, and what can be asked of it.

/** @import { Feed } from "./feed.js" */
/** @import { Asks } from "./asks.js" */
/** @import { Sheet, Chosen } from "./sheet.js" */
/** @import { Wish } from "./types" */
import { html, fill, spoken } from "./draw.js";
import { about, pace, saidOf } from "./words.js";
import { inWords } from "./lamps.js";

export class Detail {
  /** @type {Sheet | null} */ sheet = null;
  /** @type {Chosen | null} */ #chosen = null;
  /** @type {string[]} */ #why = [];
  #whyOf = "";
  /** @type {Element | null} */ #before = null;

  /** @param {HTMLElement} holder @param {Feed} feed @param {Asks} asks */
  constructor(holder, feed, asks) {
    this.holder = holder;
    this.feed = feed;
    this.asks = asks;
    holder.addEventListener("keydown", (event) => { if (event.key === "Escape") this.close(); });
  }

  /** @param {Chosen} chosen */
  open(chosen) {
    this.#before = document.activeElement;
    this.#chosen = chosen;
    this.#why = [];
    this.holder.hidden = false;
    if (chosen.kind === "section") void this.#askWhy(chosen.name);
    this.show();
    this.holder.querySelector("button")?.focus();
  }

  close() {
    this.#chosen = null;
    this.holder.hidden = true;
    if (this.#before instanceof HTMLElement) this.#before.focus();
  }

  /** Why something is said of a section, where the daemon can tell. @param {string} name */
  async #askWhy(name) {
    this.#whyOf = name;
    try {
      const answer = await fetch(`/v1/sections/${encodeURIComponent(name)}/why`, { signal: AbortSignal.timeout(4000) });
      if (!answer.ok || this.#whyOf !== name) return;
      this.#why = inLines(await answer.json());
      this.show();
    } catch {
      // A daemon that cannot tell why says nothing; what is known is shown all the same.
    }
  }

  show() {
    const chosen = this.#chosen;
    if (!chosen) return;
    const shown = this.#shown(chosen);
    if (!shown) { this.close(); return; }
    const { title, parts, answers } = shown;
    fill(this.holder, JSON.stringify([chosen, title, parts, answers.map((it) => it[0]), this.#why]), () => [
      html("h3", {}, html("span", { class: "kind" }, chosen.kind), title),
      html("button", { type: "button", class: "away", "aria-label": "close", "data-focus": "close", onclick: () => this.close() }, "\u00d7"),
      ...parts.map((text) => html("p", {}, ...spoken(text))),
      ...(this.#why.length && chosen.kind === "section" ? [html("h4", {}, "Why"), html("ul", {}, ...this.#why.map((text) => html("li", {}, ...spoken(text))))] : []),
      html("div", { class: "answers" }, ...answers.map(([label, words, wish]) =>
        html("button", { type: "button", "data-focus": label, onclick: () => void this.asks.ask(words, wish) }, label)),
        chosen.kind === "train" && html("a", { class: "button", href: `#train/${encodeURIComponent(chosen.name)}`, "data-focus": "more", "aria-label": `Speeds and faults of ${chosen.name}` }, "Speeds and faults")),
    ]);
  }

  /**
   * @param {Chosen} chosen
   * @returns {{ title: string, parts: string[], answers: [string, string, Wish][] } | null}
   */
  #shown({ kind, name }) {
    const { known, plan } = this.feed;
    if (kind === "train") {
      const row = known.trains.get(name);
      if (!row) return null;
      const { word, text } = about(row);
      const where = row.covers.map((cover) => cover.section).join(", ");
      return { title: name, parts: [`${word}${text ? `: ${text}` : ""}`, where && `in ${where}${row.sure ? "" : " (not sure)"}`, pace(row.speed)].filter((it) => it !== ""), answers: [
        ["Stop", `stop ${name}`, { ask: "stop", train: name }],
        row.held ? ["Release", `release ${name}`, { ask: "release", train: name }] : ["Hold", `hold ${name}`, { ask: "hold", train: name, reason: "held at the page" }],
      ] };
    }
    if (kind === "turnout") {
      const row = known.turnouts.get(name);
      if (!row) return null;
      const lies = row.lies ? `lies ${row.lies}` : "moves, or nobody knows how it lies";
      return { title: name, parts: [lies, row.locked ? "It is locked: a train or a route needs it as it is." : "It is free to be thrown."], answers: row.locked ? [] : [
        ["Throw straight", `${name} straight`, { ask: "throw", turnout: name, to: "straight" }],
        ["Throw diverging", `${name} diverging`, { ask: "throw", turnout: name, to: "diverging" }],
      ] };
    }
    if (kind === "signal") {
      const row = known.signals.get(name);
      const signal = plan?.signals.find((signal) => signal.name === name);
      if (!row || !signal) return null;
      return { title: name, parts: [`at ${signal.at}, shows ${inWords(signal, row)}`], answers: [
        ["Keep at danger", `${name} kept at danger`, { ask: "keep-at-danger", signal: name, held: true }],
        ["Let it work again", `${name} works again`, { ask: "keep-at-danger", signal: name, held: false }],
      ] };
    }
    const row = known.sections.get(name);
    if (!row) return null;
    const way = this.feed.diagram?.sections.find((section) => section.name === name)?.ways[0];
    const long = way?.["length-mm"];
    const blind = plan?.sections.find((section) => section.name === name)?.detected === false;
    const parts = saidOf(row, this.sheet?.darkBecause(name) ?? null);
    if (blind) parts.push("no detector sees what stands here");
    if (long) parts.push(`${Math.round(long)} mm long`);
    const suspect = known.suspects.find((it) => it.kind === "section" && it.name === name);
    if (suspect) parts.push(`its detector should be looked at: ${suspect.because}`);
    /** @type {[string, string, Wish][]} */
    const answers = row.is === "doubt" || row.is === "unexplained"
      ? (row.trains.length ? row.trains : [...known.trains.keys()]).map((train) => [`${train} is here`, `${train} is in ${name}`, { ask: "identify", section: name, train }])
      : [];
    answers.push(row.withdrawn
      ? ["Back in service", `${name} back in service`, { ask: "in-service", section: name }]
      : ["Out of service", `${name} out of service`, { ask: "out-of-service", section: name, reason: "taken out at the page" }]);
    return { title: name, parts, answers };
  }
}

/** Whatever the daemon says of why, as lines of text. @param {unknown} said @returns {string[]} */
function inLines(said) {
  if (typeof said === "string") return [said];
  if (Array.isArray(said)) return said.flatMap(inLines);
  if (said && typeof said === "object") {
    return Object.entries(said).flatMap(([key, value]) => {
      if (value === null || key === "section" || key === "name") return [];
      return typeof value === "object" ? inLines(value) : [`${key.replaceAll("-", " ")}: ${value}`];
    });
  }
  return said === null || said === undefined ? [] : [String(said)];
}
