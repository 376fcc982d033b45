// What was pointed at on the line: who, since when, why, and what can be asked of it.

/** @import { Feed } from "./feed.js" */
/** @import { Asks } from "./asks.js" */
/** @import { Sheet, Chosen } from "./sheet.js" */
/** @import { Wish, WhyRow } from "./types" */
import { html, fill, spoken } from "./draw.js";
import { about, clock, pace, saidOf } from "./words.js";
import { past } from "./record.js";
import { inWords } from "./lamps.js";

/** So much is told of what was heard in one moment. */
const HEARD = 3;

export class Detail {
  /** @type {Sheet | null} */ sheet = null;
  /** @type {Chosen | null} */ #chosen = null;
  /** What is told of a section beside what is known: headings, and what stands under them. @type {[string, string[]][]} */ #told = [];
  #toldOf = "";
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
    this.#told = [];
    this.holder.hidden = false;
    if (chosen.kind === "section") void this.#ask(chosen.name);
    this.show();
    this.holder.querySelector("button")?.focus();
  }

  close() {
    this.#chosen = null;
    this.holder.hidden = true;
    if (this.#before instanceof HTMLElement) this.#before.focus();
  }

  /** Why something is said of a section, and what is recorded of its detector, where the daemon can tell. @param {string} name */
  async #ask(name) {
    this.#toldOf = name;
    // A daemon that cannot tell says nothing; what is known is shown all the same.
    const why = await fetch(`/v1/sections/${encodeURIComponent(name)}/why`, { signal: AbortSignal.timeout(4000) }).then((answer) => (answer.ok ? answer.json() : null), () => null);
    const faults = await past("faults").catch(() => null);
    if (this.#toldOf !== name) return;
    if (why) this.#told.push(["Why", whyLines(/** @type {WhyRow} */ (why), this.feed.known.head.at)]);
    if (faults) this.#told.push(["Its detector", recordLines(faults.filter((row) => row.name === name && ["detector", "section"].includes(row.kind)))]);
    this.show();
  }

  show() {
    const chosen = this.#chosen;
    if (!chosen) return;
    const shown = this.#shown(chosen);
    if (!shown) { this.close(); return; }
    const { title, parts, answers } = shown;
    fill(this.holder, JSON.stringify([chosen, title, parts, answers.map((it) => it[0]), this.#told]), () => [
      html("h3", {}, html("span", { class: "kind" }, chosen.kind), title),
      html("button", { type: "button", class: "away", "aria-label": "close", "data-focus": "close", onclick: () => this.close() }, "\u00d7"),
      ...parts.map((text) => html("p", {}, ...spoken(text))),
      html("div", { class: "answers" }, ...answers.map(([label, words, wish]) =>
        html("button", { type: "button", "data-focus": label, onclick: () => void this.asks.ask(words, wish) }, label)),
        chosen.kind === "train" && html("a", { class: "button", href: `#train/${encodeURIComponent(chosen.name)}`, "data-focus": "more", "aria-label": `Speeds and faults of ${chosen.name}` }, "Speeds and faults")),
      ...(chosen.kind === "section" ? this.#told : []).flatMap(([title, lines]) => [html("h4", {}, title), html("ul", {}, ...lines.map((text) => html("li", {}, ...spoken(text))))]),
    ]);
  }

  /**
   * @param {Chosen} chosen
   * @returns {{ title: string, parts: string[], answers: [string, string, Wish][] } | null}
   */
  #shown({ kind, name }) {
    const { known, index } = this.feed;
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
      const signal = index?.signals.get(name);
      if (!row || !signal) return null;
      return { title: name, parts: [`at ${signal.at}, shows ${inWords(signal, row)}`], answers: [
        ["Keep at danger", `${name} kept at danger`, { ask: "keep-at-danger", signal: name, held: true }],
        ["Let it work again", `${name} works again`, { ask: "keep-at-danger", signal: name, held: false }],
      ] };
    }
    const row = known.sections.get(name);
    if (!row) return null;
    const way = index?.drawn.get(name)?.ways[0];
    const long = way?.["length-mm"];
    const blind = index?.sections.get(name)?.detected === false;
    const parts = saidOf(row, this.sheet?.darkBecause(name) ?? null);
    if (blind) parts.push("no detector sees what stands here");
    if (long) parts.push(`${Math.round(long)} mm long`);
    const suspect = known.suspects.find((it) => it.kind === "section" && it.name === name);
    if (suspect) parts.push(`its detector should be looked at: ${suspect.because}`);
    /** @type {[string, string, Wish][]} */
    const answers = [];
    if (row.is === "doubt" || row.is === "unexplained") {
      const trains = row.trains.length ? row.trains : [...known.trains.keys()];
      for (const train of trains) answers.push([`${train} is here`, `${train} is in ${name}`, { ask: "identify", section: name, train }]);
      answers.push(["Nothing is here", `nothing is in ${name}`, { ask: "found-empty", section: name }]);
    }
    answers.push(row.withdrawn
      ? ["Back in service", `${name} back in service`, { ask: "in-service", section: name }]
      : ["Out of service", `${name} out of service`, { ask: "out-of-service", section: name, reason: "taken out at the page" }]);
    return { title: name, parts, answers };
  }
}

/** @param {WhyRow} why @param {number} now in seconds of layout time @returns {string[]} */
function whyLines(why, now) {
  const { evidence } = why;
  const lines = [why.detector];
  for (const account of why.accounts) lines.push(why.accounts.length === 1 ? account.words : `${Math.round(account.share * 100)} in 100: ${account.words}`);
  if (why["open-ended"]) lines.push("there were too many explanations to follow all of them");
  if (evidence) {
    const more = evidence.heard.length - HEARD;
    lines.push(`so since ${clock(evidence.at)}, ${ago(now - evidence.at)}, when this was heard: ${evidence.heard.slice(0, HEARD).join("; ")}${more > 0 ? `; and ${more} more` : ""}`);
  }
  return lines;
}

/** @param {number} seconds */
function ago(seconds) {
  const whole = Math.max(0, Math.round(seconds));
  return whole < 120 ? `${whole} s ago` : `${Math.round(whole / 60)} minutes ago`;
}

/** What was recorded of a detector. @param {Record<string, any>[]} faults @returns {string[]} */
function recordLines(faults) {
  if (faults.length === 0) return ["it was never suspected"];
  const [last] = faults.slice(-1);
  return [`it was suspected ${faults.length === 1 ? "once" : `${faults.length} times`}, last on ${new Date(last.noticed_wall).toLocaleString()}: ${last.because}`];
}
