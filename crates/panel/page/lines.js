// What happened, in words: the latest first.

/** @import { LineRow } from "./types" */
import { html, spoken } from "./draw.js";
import { clock } from "./words.js";

/** So many are shown. */
const SHOWN = 60;

export class Lines {
  /** @type {LineRow | undefined} */ #last;

  /** @param {HTMLElement} holder */
  constructor(holder) {
    this.holder = holder;
  }

  /** @param {LineRow[]} lines the latest last */
  show(lines) {
    const last = lines[lines.length - 1];
    if (last === this.#last) return;
    const known = this.#last ? lines.lastIndexOf(this.#last) : -1;
    // After the connection was lost all of them came anew.
    if (known < 0) this.holder.replaceChildren();
    this.#last = last;
    const news = lines.slice(Math.max(known + 1, lines.length - SHOWN)).reverse();
    this.holder.prepend(...news.map((line) => html("li", { class: line.weight }, html("time", {}, clock(line.at)), " ", ...spoken(line.text))));
    while (this.holder.childElementCount > SHOWN) this.holder.lastElementChild?.remove();
  }
}
