// Driving by hand: what is ahead, how far it is, how fast to be, and a throttle that falls to zero when this page is not heard of.

/** @import { Feed } from "./feed.js" */
/** @import { Asks } from "./asks.js" */
/** @import { Sheet } from "./sheet.js" */
import { html, fill, svg } from "./draw.js";
import { drawLamps, inWords } from "./lamps.js";
import { about, far, pace } from "./words.js";

/** How often the throttle says how it is set, in milliseconds. */
const OFTEN = 300;
/** The highest function of a decoder (NMRA S-9.2.1), and how many are shown at first. */
const HIGHEST = 28;
const FEW = 9;

export class Cab {
  #train = "";
  #step = 0;
  /** @type {"forward" | "backward"} */ #way = "forward";
  /** @type {WebSocket | null} */ #line = null;
  #said = "";
  #timer = 0;
  #slider = html("input", { type: "range", min: 0, max: 126, value: 0, class: "throttle", "aria-label": "throttle" });
  #shown = html("div", { class: "ahead-of", "aria-live": "off" });
  #lamps = svg("svg", { class: "line glasses", viewBox: "-2 -8 60 16", "aria-hidden": "true" });
  #status = html("p", { role: "status" });
  #buttons = html("div", { class: "answers" });
  #emergency = html("button", { type: "button", class: "grave", onclick: () => void this.asks.ask(`stop ${this.#train} at once`, { ask: "emergency-stop", train: this.#train }) }, "Emergency stop");
  #functions = html("div", { class: "functions", role: "group", "aria-label": "functions" });

  /** @param {HTMLElement} holder @param {Feed} feed @param {Asks} asks @param {Sheet} sheet */
  constructor(holder, feed, asks, sheet) {
    this.holder = holder;
    this.feed = feed;
    this.asks = asks;
    this.sheet = sheet;
    this.#slider.addEventListener("input", () => this.#set(Number(this.#slider.value)));
    // A phone that sleeps, or shows something else, drives nothing.
    document.addEventListener("visibilitychange", () => { if (document.hidden) this.#drop("this page went out of sight"); });
    addEventListener("pagehide", () => this.#drop("this page was left"));
    feed.addEventListener("live", () => { if (!feed.live) this.#drop("the connection was lost"); });
  }

  /** @param {string} train */
  open(train) {
    if (train === this.#train) return;
    this.close();
    this.#train = train;
    this.holder.replaceChildren(html("h2", {}, `Cab of ${train}`), this.#lamps, this.#shown,
      html("label", { class: "throttle-of" }, "throttle ", this.#slider), this.#buttons, html("div", { class: "answers" }, this.#emergency), this.#functions, this.#status,
      html("p", { class: "hint" }, "The throttle falls to zero when this page is left, sleeps or loses its connection. Keep the emergency stop that cuts the power within reach: what is driven by hand can be driven wrong."));
    this.show();
  }

  close() {
    this.#drop("");
    this.#train = "";
  }

  async #take() {
    const fate = await this.asks.ask(`take the throttle of ${this.#train}`, { ask: "take-throttle", train: this.#train, protected: true });
    if (fate.fate === "accepted") this.#hold();
  }

  #hold() {
    const url = new URL("/v1/cab", location.href);
    url.protocol = url.protocol.replace("http", "ws");
    const line = new WebSocket(url);
    this.#line = line;
    this.#step = 0;
    const say = () => {
      if (line.readyState === WebSocket.OPEN) line.send(JSON.stringify({ train: this.#train, way: this.#way, step: this.#step }));
    };
    line.addEventListener("open", () => { say(); this.show(); });
    line.addEventListener("message", (event) => {
      const fate = JSON.parse(event.data);
      this.#said = fate.fate === "accepted" ? "" : fate.reason;
      this.show();
    });
    line.addEventListener("close", () => { if (this.#line === line) this.#drop("the throttle lost its connection"); });
    this.#timer = setInterval(say, OFTEN);
  }

  /** @param {number} step */
  #set(step) {
    this.#step = step;
    if (this.#line?.readyState === WebSocket.OPEN) this.#line.send(JSON.stringify({ train: this.#train, way: this.#way, step }));
    this.show();
  }

  /** The throttle is let go: the daemon makes the train stand. @param {string} why */
  #drop(why) {
    clearInterval(this.#timer);
    const line = this.#line;
    this.#line = null;
    this.#step = 0;
    this.#slider.value = "0";
    line?.close();
    if (line) this.#said = why && `The throttle was let go: ${why}. The train is told to stand.`;
    this.show();
  }

  /** The functions of the decoder: few of them at first. @param {number[]} on */
  #switches(on) {
    const one = (/** @type {number} */ number) => {
      const is = on.includes(number);
      const words = `${is ? "switch off" : "switch on"} function ${number} of ${this.#train}`;
      return html("button", { type: "button", "aria-pressed": String(is), "data-focus": `function ${number}`, "aria-label": number === 0 ? "F0 light: function 0" : `F${number}: function ${number}`,
        onclick: () => void this.asks.ask(words, { ask: "function", train: this.#train, number, on: !is }) }, number === 0 ? "F0 light" : `F${number}`);
    };
    const numbers = Array.from({ length: HIGHEST + 1 }, (_, number) => number);
    const rest = html("details", {}, html("summary", {}, `F${FEW} to F${HIGHEST}`), ...numbers.slice(FEW).map(one));
    if (this.#functions.querySelector("details")?.open || on.some((number) => number >= FEW)) rest.open = true;
    return [...numbers.slice(0, FEW).map(one), rest];
  }

  show() {
    const train = this.feed.known.trains.get(this.#train);
    if (!train || this.holder.hidden) return;
    const { known, index } = this.feed;
    const next = this.sheet.track?.nextSignal(train, known.turnouts) ?? null;
    const row = next && known.signals.get(next.signal);
    const signal = next && index?.signals.get(next.signal);
    const stand = this.sheet.track?.stand(train, known.turnouts);
    const left = stand ? Math.max(0, Math.round((stand.end - stand.nose) / 10) * 10) : null;
    const { word, text } = about(train);
    const lines = [
      row && signal ? `${next.signal}${next.mm === null ? "" : `, ${far(next.mm)} ahead`}: ${inWords(signal, row)}` : "no signal ahead is known",
      ...advised(train.advice, left),
      `${pace(train.speed)}, step ${train.step}; ${word}${text ? ` (${text})` : ""}`,
    ];
    const key = lines.join("|");
    fill(this.#shown, key, () => lines.filter(Boolean).map((line) => html("p", {}, line)));
    if (row && signal) drawLamps(this.#lamps, signal, row); else this.#lamps.replaceChildren();
    this.#slider.max = String(train.highest);
    this.#slider.disabled = this.#line === null;
    const held = this.#line !== null;
    fill(this.#buttons, `${held} ${this.#way} ${this.#step > 0}`, () => held ? [
      html("button", { type: "button", class: "answer", onclick: () => { this.#slider.value = "0"; this.#set(0); } }, "Throttle to zero"),
      html("button", { type: "button", "aria-pressed": this.#way === "backward", onclick: () => { if (this.#step === 0) { this.#way = this.#way === "forward" ? "backward" : "forward"; this.#set(0); } } }, this.#way === "forward" ? "goes forward" : "goes backward"),
      html("button", { type: "button", onclick: () => { this.#drop(""); void this.asks.ask(`hand ${this.#train} back`, { ask: "hand-back", train: this.#train }); } }, "Hand back"),
    ] : [html("button", { type: "button", class: "answer", onclick: () => void this.#take() }, "Take the throttle")]);
    const on = train.functions ?? [];
    fill(this.#functions, JSON.stringify([this.#train, on]), () => this.#switches(on));
    if (this.#status.textContent !== this.#said) this.#status.textContent = this.#said;
  }
}

/**
 * What a person at the throttle should do now.
 * @param {import("./types").AdviceRow | null | undefined} advice @param {number | null} left how far the train may go, in millimetres
 */
function advised(advice, left) {
  if (!advice) return left === null ? [] : [`may go ${far(left)}`];
  const stand = advice["to-stand-mm"];
  return [
    stand === null ? "how far it may go is not known" : `come to stand within ${far(Math.max(0, stand))}`,
    `now at most step ${advice.step}: ${Math.round(advice["speed-mm-s"] / 10)} cm/s`,
    advice["may-go"] ? `it may go ${advice["may-go"]}` : "",
  ];
}
