// What is switched by hand: the power of districts, and accessories.

/** @import { Feed } from "./feed.js" */
/** @import { Asks } from "./asks.js" */
import { html, fill } from "./draw.js";

export class Switches {
  /** @param {HTMLElement} holder @param {Feed} feed @param {Asks} asks */
  constructor(holder, feed, asks) {
    this.holder = holder;
    this.feed = feed;
    this.asks = asks;
  }

  show() {
    const { known, plan } = this.feed;
    const districts = (plan?.districts ?? []).filter((district) => district.switched).map(({ name }) => name);
    const dark = known.dark.map((row) => row.district);
    const accessories = [...known.accessories.values()];
    fill(this.holder, JSON.stringify([districts, dark, accessories]), () => [
      ...districts.map((name) => this.#power(name, dark.includes(name) || dark.includes(null))),
      ...accessories.map(({ name, on }) => this.#accessory(name, on)),
    ]);
    const section = this.holder.closest("section");
    if (section) section.hidden = districts.length + accessories.length === 0;
  }

  /** @param {string} name @param {boolean} isDark */
  #power(name, isDark) {
    const [label, words, ask] = isDark
      ? ["Restore power", `restore the power of ${name}`, "restore-power"]
      : ["Cut power", `cut the power of ${name}`, "cut-power"];
    return html("li", { class: "switch" },
      html("span", { class: "named" }, `power of ${name}`), html("span", { class: "state" }, isDark ? "off" : "on"),
      html("button", { type: "button", "data-focus": `power ${name}`, "aria-label": `${label}: ${name}`, onclick: () => void this.asks.ask(words, { ask, district: name }) }, label));
  }

  /** @param {string} name @param {boolean | null} on */
  #accessory(name, on) {
    const label = on ? "Switch off" : "Switch on";
    const words = `switch ${name} ${on ? "off" : "on"}`;
    return html("li", { class: "switch" },
      html("span", { class: "named" }, name), html("span", { class: "state" }, on === null ? "not switched yet" : on ? "on" : "off"),
      html("button", { type: "button", "data-focus": `switch ${name}`, "aria-label": `${label}: ${name}`, onclick: () => void this.asks.ask(words, { ask: "switch", accessory: name, on: !on }) }, label));
  }
}
