// The train graph: time from left to right, the sections of a path from top to bottom, each train a line.

/** @import { Feed } from "./feed.js" */
/** @import { Sheet } from "./sheet.js" */
/** @import { Stand, Seen } from "./record.js" */
import { html, svg } from "./draw.js";
import { hue } from "./ribbons.js";
import { past } from "./record.js";
import { ticks } from "./plots.js";
import { clock } from "./words.js";
import { sectionOf } from "./track.js";
import { placeBox } from "./places.js";

/** Of more sections one is named rather than chosen from a list. */
const MANY = 200;
/** A path that nobody asked for is no longer than so many sections: of more nothing could be read. */
const LONGEST = 60;

export class Times {
  #from = "";
  #to = "";
  #span = 900;
  /** @type {Stand[]} */ #recorded = [];
  #plot = html("div", { class: "graph", tabindex: 0, role: "region", "aria-label": "train graph" });
  #note = html("p", { class: "hint" });
  #drawnAt = 0;
  /** The sections from the one end to the other, and what lies beside them. */
  #way = { of: "", path: /** @type {string[]} */ ([]), beside: /** @type {Map<string, string>} */ (new Map()) };

  /** @param {HTMLElement} holder @param {Feed} feed @param {Sheet} sheet @param {Seen} record */
  constructor(holder, feed, sheet, record) {
    this.holder = holder;
    this.feed = feed;
    this.sheet = sheet;
    this.record = record;
  }

  /** The sections are known: offers a path over as much of the layout as there is. */
  build() {
    const { plan } = this.feed;
    if (!plan) return;
    const names = plan.sections.map((section) => section.name);
    if (!names.includes(this.#from) || !names.includes(this.#to)) [this.#from, this.#to] = this.#longest();
    this.#way.of = "";
    const pick = (/** @type {string} */ label, /** @type {string} */ chosen, /** @type {(value: string) => void} */ take) => {
      const choice = names.length > MANY
        ? placeBox({ value: chosen, placeholder: "section" }, () => names)
        : html("select", {}, ...names.map((name) => html("option", { value: name, selected: name === chosen }, name)));
      choice.addEventListener("change", () => { take(choice.value.trim()); this.draw(); });
      return html("label", {}, label, " ", choice);
    };
    const span = html("select", {}, ...[[300, "5 minutes"], [900, "a quarter of an hour"], [3600, "an hour"], [14400, "four hours"]].map(([value, text]) => html("option", { value, selected: value === this.#span }, String(text))));
    span.addEventListener("change", () => { this.#span = Number(span.value); void this.open(); });
    this.holder.replaceChildren(html("h2", {}, "Train graph"),
      html("div", { class: "answers" }, pick("from", this.#from, (value) => { this.#from = value; }), pick("to", this.#to, (value) => { this.#to = value; }), html("label", {}, "over ", span)),
      this.#note, this.#plot);
  }

  /** The two ends of the layout that are farthest apart, if it is not large. @returns {[string, string]} */
  #longest() {
    const { plan } = this.feed;
    const first = plan?.sections[0]?.name ?? "";
    const far = (/** @type {string} */ from) => [...this.#reached(from).sections.keys()].pop() ?? from;
    const one = far(first);
    const path = this.#path(one, far(one));
    return [one, path[Math.min(path.length, LONGEST) - 1] ?? one];
  }

  /**
   * Every section that can be reached without turning back, the nearest first, with the end it is entered by; and for each end that
   * is entered, the one that was entered before.
   * @param {string} from
   */
  #reached(from) {
    const { track } = this.sheet;
    /** @type {Map<string, string>} */
    const sections = new Map([[from, ""]]);
    /** @type {Map<string, string>} */
    const before = new Map();
    /** @type {[string, string][]} */
    const next = (track?.ways.get(from) ?? []).flatMap((way) => way.ends).map((leave) => [leave, ""]);
    for (let i = 0; i < next.length; i += 1) {
      const [leave, entered] = next[i];
      for (const enter of track?.meets.get(leave) ?? []) {
        if (before.has(enter)) continue;
        before.set(enter, entered);
        const section = sectionOf(enter);
        if (!sections.has(section)) sections.set(section, enter);
        for (const way of track?.ways.get(section) ?? []) if (way.ends.includes(enter)) next.push([way.ends[way.ends[0] === enter ? 1 : 0], enter]);
      }
    }
    return { sections, before };
  }

  /** The sections from one to another; none where no track leads there. @param {string} from @param {string} to */
  #path(from, to) {
    const { sections, before } = this.#reached(from);
    const path = [];
    for (let enter = sections.get(to) ?? ""; enter; enter = before.get(enter) ?? "") path.push(sectionOf(enter));
    return path.length ? [from, ...path.reverse()] : [];
  }

  /** The path that is drawn, found once. */
  #chosen() {
    const of = `${this.#from}|${this.#to}`;
    if (this.#way.of !== of) {
      const path = this.#path(this.#from, this.#to);
      this.#way = { of, path, beside: this.#beside(path) };
    }
    return this.#way;
  }

  /** Asks for what was recorded, and draws. */
  async open() {
    try {
      const rows = await past("stands", { from: String(Date.now() - (this.#span * 1000) / Math.min(1, this.feed.known.head.pace ?? 1)) });
      this.#note.textContent = rows ? "" : "Nothing is recorded (the daemon was started without --state): this is what this page has seen since it was opened.";
      const shift = Math.max(0, ...(rows ?? []).map((row) => row.shift));
      this.#recorded = (rows ?? []).filter((row) => row.shift === shift && row.train).flatMap((row) => String(row.train).split(", ").map((train) => ({ section: row.section, train, said: row.said, since: row.since_s, until: row.until_s })));
    } catch (error) {
      this.#note.textContent = `What was recorded cannot be told: ${error instanceof Error ? error.message : error}`;
    }
    this.draw();
  }

  /** Draws anew, now and then. */
  show() {
    if (!this.holder.hidden && performance.now() - this.#drawnAt > 500) this.draw();
  }

  draw() {
    this.#drawnAt = performance.now();
    const { plan, known } = this.feed;
    if (!plan || !this.#from) return;
    const { path, beside } = this.#chosen();
    if (path.length < 2) { this.#plot.replaceChildren(html("p", {}, "No track leads from one to the other.")); return; }
    const { index } = this.feed;
    const long = new Map(path.map((name) => [name, index?.sections.get(name)?.ways[0]?.["length-mm"] ?? 1000]));
    const [left, top, right, foot] = [110, 12, 12, 26];
    const width = Math.max(300, this.holder.clientWidth - 4);
    const height = Math.max(360, Math.min(path.length * 34 + 40, 760));
    const total = path.reduce((sum, name) => sum + (long.get(name) ?? 1000), 0);
    /** @type {Map<string, [number, number]>} */
    const places = new Map();
    let mm = 0;
    for (const name of path) {
      const next = mm + (long.get(name) ?? 1000);
      places.set(name, [top + (mm / total) * (height - top - foot), top + (next / total) * (height - top - foot)]);
      mm = next;
    }
    const order = new Map(path.map((name, index) => [name, index]));
    for (const [name, like] of beside) {
      places.set(name, places.get(like) ?? [0, 0]);
      order.set(name, order.get(like) ?? 0);
    }
    const to = known.head.at;
    const from = Math.max(0, to - this.#span);
    const x = (/** @type {number} */ at) => left + ((Math.max(from, at) - from) / Math.max(1, to - from)) * (width - left - right);
    const root = svg("svg", { class: "plot", width, height, viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": `train graph from ${this.#from} to ${this.#to}, ${clock(from)} to ${clock(to)}` });
    for (const name of path) {
      const [y0, y1] = places.get(name) ?? [0, 0];
      if (y1 - y0 > 3) root.append(svg("path", { class: "grid", d: `M${left} ${y0}H${width - right}` }));
      if (y1 - y0 > 10) root.append(svg("text", { x: left - 6, y: (y0 + y1) / 2 + 4, "text-anchor": "end" }, name.length > 16 ? `${name.slice(0, 15)}\u2026` : name));
    }
    for (const tick of ticks(from, to, Math.max(3, Math.floor(width / 110)))) {
      root.append(svg("path", { class: "grid", d: `M${x(tick)} ${top}V${height - foot}` }));
      if (x(tick) < width - 26) root.append(svg("text", { x: x(tick), y: height - 8, "text-anchor": "middle" }, clock(tick)));
    }
    for (const [train, stands] of this.#byTrain(places, from)) this.#line(root, train, stands, order, places, x, to, hue(known, train));
    this.#plot.replaceChildren(root);
  }

  /** Tracks side by side with one of the path's, with the same neighbours, count as one place with it. @param {string[]} path */
  #beside(path) {
    const { track } = this.sheet;
    const next = (/** @type {string} */ name) => [...new Set((track?.ways.get(name) ?? []).flatMap((way) => way.ends.flatMap((end) => track?.meets.get(end) ?? [])).map(sectionOf))];
    const on = new Set(path);
    /** @type {Map<string, string>} */
    const beside = new Map();
    for (const [i, here] of path.entries()) {
      const between = [path[i - 1], path[i + 1]].filter((name) => name !== undefined);
      const isEnd = between.length === 1 && next(here).length === 1;
      for (const name of next(between[0] ?? here)) {
        if (on.has(name) || beside.has(name)) continue;
        const around = next(name);
        if (between.every((one) => around.includes(one)) && (between.length === 2 || (isEnd && around.length === 1))) beside.set(name, here);
      }
    }
    return beside;
  }

  /** @param {Map<string, [number, number]>} places @param {number} from */
  #byTrain(places, from) {
    const begun = this.record.seen[0]?.since ?? Infinity;
    const all = [...this.#recorded.filter((stand) => stand.since < begun).map((stand) => ({ ...stand, until: stand.until ?? begun })), ...this.record.seen];
    /** @type {Map<string, Stand[]>} */
    const found = new Map();
    for (const stand of all) {
      if (!places.has(stand.section) || (stand.until ?? Infinity) < from) continue;
      const stands = found.get(stand.train);
      if (stands) stands.push(stand); else found.set(stand.train, [stand]);
    }
    return found;
  }

  /**
   * @param {Element} root @param {string} train @param {Stand[]} stands @param {Map<string, number>} order
   * @param {Map<string, [number, number]>} places @param {(at: number) => number} x @param {number} now @param {string} colour
   */
  #line(root, train, stands, order, places, x, now, colour) {
    const apart = (/** @type {Stand} */ to, /** @type {Stand} */ from) => (order.get(to.section) ?? 0) - (order.get(from.section) ?? 0);
    const group = svg("g", { class: `run ${colour}` });
    stands.sort((a, b) => a.since - b.since);
    let d = "";
    /** @type {Stand | null} */
    let before = null;
    for (const stand of stands) {
      const [y0, y1] = places.get(stand.section) ?? [0, 0];
      const step = before ? apart(stand, before) : 0;
      if (stand.said.startsWith("doubt")) {
        group.append(svg("rect", { class: "unsure", x: x(stand.since), y: y0, width: Math.max(1, x(stand.until ?? now) - x(stand.since)), height: y1 - y0 }));
      }
      // A train that comes on over a joint crosses it; one that comes from elsewhere begins in the middle.
      if (before && Math.abs(step) === 1 && stand.since <= (before.until ?? now) + 3) d += `L${x(stand.since)} ${step > 0 ? y0 : y1}`;
      else d += `M${x(stand.since)} ${(y0 + y1) / 2}`;
      before = stand;
      const end = stand.until ?? now;
      const isLast = !stands.some((other) => other.since > stand.since && other.since <= end + 3 && Math.abs(apart(other, stand)) === 1);
      if (isLast) d += `L${x(end)} ${(y0 + y1) / 2}`;
    }
    group.append(svg("path", { d }));
    const last = stands[stands.length - 1];
    const [y0, y1] = places.get(last.section) ?? [0, 0];
    group.append(svg("text", { x: x(last.until ?? now) - 4, y: (y0 + y1) / 2 - 5, "text-anchor": "end" }, train));
    root.append(group);
  }
}
