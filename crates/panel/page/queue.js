// What waits for somebody: doubts and holds, each in plain words with what settles it and what happens then.

/** @import { Feed, Known } from "./feed.js" */
/** @import { Asks } from "./asks.js" */
/** @import { DarkRow, DoubtRow, QuestionRow, TrainRow, Wish } from "./types" */
import { html, fill, spoken } from "./draw.js";
import { oneOf } from "./words.js";
import { placeBox } from "./places.js";

/** Where more trains than this may be meant, one is named rather than pointed at. */
const FEW = 8;

/** @param {Feed} feed */
export function waiting({ known }) {
  let held = 0;
  if (known.head.phase !== "halted") for (const train of known.trains.values()) if (train.held) held += 1;
  return known.questions.length + known.doubts.length + known.dark.length + known.linksDown.length + held + strange(known).length;
}

/** Sections with something that nobody knows and no doubt asks about. @param {Known} known */
function strange({ odd, sections, doubts }) {
  return [...odd].filter((name) => sections.get(name)?.is === "unexplained" && !doubts.some((doubt) => doubt.sections.includes(name)));
}

export class Queue {
  /** @param {HTMLElement} holder @param {Feed} feed @param {Asks} asks */
  constructor(holder, feed, asks) {
    this.holder = holder;
    this.feed = feed;
    this.asks = asks;
  }

  show() {
    const { known } = this.feed;
    if (this.holder.closest("section")?.hidden) return;
    const held = known.head.phase === "halted" ? [] : [...known.trains.values()].filter((train) => train.held);
    const odd = strange(known);
    const off = [...known.trains.values()].filter((train) => train.covers.length === 0).map((train) => train.name);
    const key = JSON.stringify([known.questions, known.doubts, held.map((train) => [train.name, train.held, train.to]), odd, known.dark, known.linksDown, known.suspects, off]);
    fill(this.holder, key, () => {
      const items = [
        ...known.questions.map((question) => this.#question(question)),
        ...known.doubts.map((doubt) => this.#doubt(doubt)),
        ...odd.map((section) => this.#strange(section)),
        ...known.dark.map((row) => this.#dark(row)),
        ...known.linksDown.map((link) => this.#plain("link down", `The link ${link} is down.`, "What it carries is unknown, and counts as occupied.", "When it is up again and has reported, trains run on by themselves.")),
        ...held.map((train) => this.#hold(train)),
        ...known.suspects.map((row) => this.#plain("look at it", `The ${row.kind} ${row.name} should be looked at.`, row.because, "")),
      ];
      return items.length ? items : [html("li", { class: "calm" }, "Nothing waits for you. Every train is known, and none is held.")];
    });
  }

  /** @param {string} words @param {Wish} wish @param {string} label */
  #answer(label, words, wish) {
    return html("button", { type: "button", class: "answer", "data-focus": words, onclick: () => void this.asks.ask(words, wish) }, label);
  }

  /** One tap for each train that may be there; of many, one is named. @param {string} section @param {string[]} trains @param {(train: string) => string} label @returns {HTMLElement[]} */
  #whoIsIn(section, trains, label) {
    const wish = (/** @type {string} */ train) => ({ ask: "identify", section, train });
    if (trains.length <= FEW) return trains.map((train) => this.#answer(label(train), `${train} is in ${section}`, wish(train)));
    const name = placeBox({ placeholder: "name of the train", "aria-label": `which train is in ${section}`, "data-focus": `who ${section}` }, () => trains);
    return [html("form", { class: "go", onsubmit: (event) => {
      event.preventDefault();
      const train = name.value.trim();
      if (train) void this.asks.ask(`${train} is in ${section}`, wish(train)); else name.focus();
    } }, name, html("button", { type: "submit", class: "answer", "aria-label": `Is in ${section}` }, `is in ${section}`))];
  }

  /** @param {string} section */
  #nothing(section) {
    return this.#answer(`Nothing is in ${section}`, `nothing is in ${section}`, { ask: "found-empty", section });
  }

  /** @param {QuestionRow} question */
  #question({ number, script, text, answers }) {
    return html("li", { class: "question asks" },
      html("h3", {}, html("span", { class: "kind" }, "question"), text),
      html("p", { class: "then" }, `The script ${script} goes on with whatever you answer.`),
      html("div", { class: "answers" }, ...answers.map((answer) => this.#answer(answer, `answer \u201c${text}\u201d with \u201c${answer}\u201d`, { ask: "answer", question: number, answer }))));
  }

  /** @param {DoubtRow} doubt */
  #doubt(doubt) {
    // Of a stranger no train is named: it may be one that is said to be nowhere.
    const off = [...this.feed.known.trains.values()].filter((train) => train.covers.length === 0).map((train) => train.name);
    const likely = doubt.trains.length ? doubt.trains : off.length ? off : [...this.feed.known.trains.keys()];
    const answers = doubt.sections.flatMap((section) => this.#whoIsIn(section, likely, (train) => `${train} is in ${section}`));
    if (doubt.trains.length === 0) answers.push(...doubt.sections.map((section) => this.#nothing(section)));
    return html("li", { class: "question doubt", "data-doubt": doubt.number },
      html("h3", {}, html("span", { class: "kind" }, "doubt"), doubt.sections.length ? `Who is in ${doubt.sections.join(", ")}?` : `Where is ${oneOf(doubt.trains)}?`),
      html("p", {}, "It may be so:"),
      html("ol", {}, ...doubt.alternatives.map((text) => html("li", {}, ...spoken(text)))),
      html("p", { class: "then" }, "What settles it: ", ...spoken(doubt["settled-by"])),
      html("p", { class: "hint" }, "Look first, then say what you see. What you say is believed: only trains whose safety depended on this are set free again."),
      html("div", { class: "answers" }, ...answers,
        ...doubt.trains.map((train) => this.#answer(`${train} is off the track`, `${train} was taken off`, { ask: "lift", train })),
        this.#answer(doubt["roll-call"] ? `Roll call: move ${doubt["roll-call"]} a little` : "Roll call", "a roll call", doubt["roll-call"] ? { ask: "roll-call", train: doubt["roll-call"] } : { ask: "roll-call" })));
  }

  /** @param {string} section */
  #strange(section) {
    const { trains } = this.feed.known;
    const off = [...trains.values()].filter((train) => train.covers.length === 0);
    return html("li", { class: "question strange" },
      html("h3", {}, html("span", { class: "kind" }, "nobody's"), `Something is in ${section} that no known train explains.`),
      html("p", {}, "It is an obstacle: no train is let in. Take it off, say who it is, or that nothing is there."),
      html("div", { class: "answers" }, ...this.#whoIsIn(section, (off.length ? off : [...trains.values()]).map((train) => train.name), (train) => `It is ${train}`), this.#nothing(section)));
  }

  /** @param {DarkRow} row */
  #dark({ district, because }) {
    const switched = this.feed.plan?.districts.some((it) => it.name === district && it.switched);
    const card = this.#plain("no power", `${district ? `The power district ${district} is` : "Everything is"} without power.`, because, "Its trains stand. When the power is back and nothing has changed they run on by themselves.");
    if (district && switched) {
      card.append(html("p", { class: "hint" }, "Look first at what happened there."),
        html("div", { class: "answers" }, this.#answer("Restore power", `restore the power of ${district}`, { ask: "restore-power", district })));
    }
    return card;
  }

  /** @param {TrainRow} train */
  #hold(train) {
    return html("li", { class: "question hold" },
      html("h3", {}, html("span", { class: "kind" }, "hold"), `${train.name} is held.`),
      html("p", {}, ...spoken(train.held ?? "")),
      html("p", { class: "then" }, train.to ? `Released, it goes on to ${train.to} as soon as that is safe.` : "Released, it may be sent on its way."),
      html("div", { class: "answers" }, this.#answer("Release", `release ${train.name}`, { ask: "release", train: train.name })));
  }

  /** @param {string} kind @param {string} title @param {string} text @param {string} then */
  #plain(kind, title, text, then) {
    return html("li", { class: "question plain" }, html("h3", {}, html("span", { class: "kind" }, kind), title), html("p", {}, ...spoken(text)), then && html("p", { class: "then" }, then));
  }
}
