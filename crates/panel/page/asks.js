// What was asked, and what became of it: asked, refused with its reason, doing, done.

/** @import { Wish, Fate } from "./types" */
/** @import { Feed } from "./feed.js" */
import { html, fill, spoken } from "./draw.js";

/** So many are shown. */
const SHOWN = 4;
/** What is done is shown for so many milliseconds more. */
const STAYS = 12000;

/**
 * @typedef {object} Asked
 * @property {number} number
 * @property {string} words what was asked for
 * @property {Wish} wish
 * @property {"asked" | "refused" | "doing" | "done" | "failed"} state
 * @property {string} reason
 * @property {number} settledAt
 */

export class Asks {
  /** @type {Asked[]} */ #asked = [];
  #number = 0;

  /** @param {HTMLElement} holder @param {Feed} feed */
  constructor(holder, feed) {
    this.holder = holder;
    this.feed = feed;
    setInterval(() => this.show(), 1000);
  }

  /**
   * Asks for something, and shows what becomes of it.
   * @param {string} words @param {Wish} wish
   * @returns {Promise<Fate>}
   */
  async ask(words, wish) {
    this.#number += 1;
    /** @type {Asked} */
    const asked = { number: this.#number, words, wish, state: "asked", reason: "", settledAt: 0 };
    this.#asked.unshift(asked);
    this.#asked.splice(30);
    this.show();
    const fate = await send(wish);
    asked.settledAt = performance.now();
    if (fate.fate === "accepted") asked.state = wish.ask === "go" ? "doing" : "done";
    else [asked.state, asked.reason] = [fate.fate, fate.reason];
    this.show();
    return fate;
  }

  /** Trains that were sent somewhere are there by now, or given up. */
  look() {
    for (const asked of this.#asked) {
      if (asked.state !== "doing") continue;
      const train = this.feed.known.trains.get(String(asked.wish.train));
      if (!train || train.to === asked.wish.to) continue;
      if (train.at === asked.wish.to) [asked.state, asked.settledAt] = ["done", performance.now()];
      else if (performance.now() - asked.settledAt > 1500) {
        [asked.state, asked.reason, asked.settledAt] = ["failed", "it was given up: something else was asked of the train since", performance.now()];
      }
    }
  }

  show() {
    const now = performance.now();
    const fades = (/** @type {Asked} */ asked) => asked.state === "done" || asked.state === "failed" || asked.state === "refused";
    const stays = (/** @type {Asked} */ asked) => (asked.state === "done" ? STAYS : STAYS * 4);
    const shown = this.#asked.filter((asked) => !fades(asked) || now - asked.settledAt < stays(asked)).slice(0, SHOWN);
    const key = JSON.stringify(shown.map((asked) => [asked.number, asked.state]));
    fill(this.holder, key, () => shown.map((asked) => html("li", { class: `asked ${asked.state}` },
      html("span", { class: "fate" }, WORDS[asked.state]),
      html("span", {}, asked.words),
      asked.reason && html("span", { class: "reason" }, ...spoken(asked.reason)),
      fades(asked) && html("button", { type: "button", "aria-label": `put away: ${asked.words}`, class: "away", onclick: () => { asked.settledAt = -1e9; this.show(); } }, "\u00d7"))));
  }
}

const WORDS = { asked: "asked", refused: "refused", doing: "under way", done: "done", failed: "not done" };

/** @param {Wish} wish @returns {Promise<Fate>} */
export async function send(wish) {
  try {
    const answer = await fetch("/v1/requests", {
      method: "POST",
      headers: { "content-type": "application/json", "idempotency-key": crypto.getRandomValues(new Uint32Array(4)).join("-") },
      body: JSON.stringify(wish),
      signal: AbortSignal.timeout(10000),
    });
    return /** @type {Fate} */ (await answer.json());
  } catch {
    return { fate: "failed", reason: "nobody answered: it is not known whether it was heard" };
  }
}
