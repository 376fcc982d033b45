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

export class Times {
  #from = "";
  #to = "";
  #span = 900;
  /** @type {Stand[]} */ #recorded = [];
  #plot = html("div", { class: "graph", tabindex: 0, role: "region", "aria-label": "train graph" });
  #note = html("p", { class: "hint" });
  #drawnAt = 0;

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
    const pick = (/** @type {string} */ label, /** @type {string} */ chosen, /** @type {(value: string) => void} */ take) => {
      const select = html("select", {}, ...names.map((name) => html("option", { value: name, selected: name === chosen }, name)));
      select.addEventListener("change", () => { take(select.value); this.draw(); });
      return html("label", {}, label, " ", select);
    };
    const span = html("select", {}, ...[[300, "5 minutes"], [900, "a quarter of an hour"], [3600, "an hour"], [14400, "four hours"]].map(([value, text]) => html("option", { value, selected: value === this.#span }, String(text))));
    span.addEventListener("change", () => { this.#span = Number(span.value); void this.open(); });
    this.holder.replaceChildren(html("h2", {}, "Train graph"),
      html("div", { class: "answers" }, pick("from", this.#from, (value) => { this.#from = value; }), pick("to", this.#to, (value) => { this.#to = value; }), html("label", {}, "over ", span)),
      this.#note, this.#plot);
  }

  /** The two ends of the layout that are farthest apart. @returns {[string, string]} */
  #longest() {
    const { plan } = this.feed;
    const first = plan?.sections[0]?.name ?? "";
    const far = (/** @type {string} */ from) => [...this.#distances(from).keys()].pop() ?? from;
    const one = far(first);
    return [one, far(one)];
  }

  /** Every section that can be reached, the nearest first, with the one before it. @param {string} from */
  #distances(from) {
    const { plan } = this.feed;
    /** @type {Map<string, string[]>} */
    const meets = new Map();
    for (const [a, b] of plan?.joints ?? []) {
      meets.set(a, [...(meets.get(a) ?? []), b]);
      meets.set(b, [...(meets.get(b) ?? []), a]);
    }
    const ways = new Map(plan?.sections.map((section) => [section.name, section.ways]));
    /** @type {Map<string, { path: string[] }>} */
    const found = new Map([[from, { path: [from] }]]);
    /** @type {[string, string[]][]} */
    const next = (ways.get(from) ?? []).flatMap((way) => way.ends).map((end) => [end, [from]]);
    /** @type {Set<string>} */
    const seen = new Set();
    for (let i = 0; i < next.length && i < 200000; i += 1) {
      const [leave, path] = next[i];
      for (const enter of meets.get(leave) ?? []) {
        if (seen.has(enter)) continue;
        seen.add(enter);
        const section = sectionOf(enter);
        const on = [...path, section];
        if (!found.has(section)) found.set(section, { path: on });
        for (const way of ways.get(section) ?? []) if (way.ends.includes(enter)) next.push([way.ends[way.ends[0] === enter ? 1 : 0], on]);
      }
    }
    return found;
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
    const path = this.#distances(this.#from).get(this.#to)?.path ?? [];
    if (path.length < 2) { this.#plot.replaceChildren(html("p", {}, "No track leads from one to the other.")); return; }
    const long = new Map(plan.sections.map((section) => [section.name, section.ways[0]?.["length-mm"] ?? 1000]));
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
    this.#beside(path, order, places);
    const to = known.head.at;
    const from = Math.max(0, to - this.#span);
    const x = (/** @type {number} */ at) => left + ((Math.max(from, at) - from) / Math.max(1, to - from)) * (width - left - right);
    const root = svg("svg", { class: "plot", width, height, viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": `train graph from ${this.#from} to ${this.#to}, ${clock(from)} to ${clock(to)}` });
    for (const name of path) {
      const [y0, y1] = places.get(name) ?? [0, 0];
      root.append(svg("path", { class: "grid", d: `M${left} ${y0}H${width - right}` }));
      if (y1 - y0 > 10) root.append(svg("text", { x: left - 6, y: (y0 + y1) / 2 + 4, "text-anchor": "end" }, name.length > 16 ? `${name.slice(0, 15)}\u2026` : name));
    }
    for (const tick of ticks(from, to, Math.max(3, Math.floor(width / 110)))) {
      root.append(svg("path", { class: "grid", d: `M${x(tick)} ${top}V${height - foot}` }), svg("text", { x: x(tick), y: height - 8, "text-anchor": "middle" }, clock(tick)));
    }
    const names = [...known.trains.keys()];
    for (const [train, stands] of this.#byTrain(places, from)) this.#line(root, train, stands, order, places, x, to, hue(names, train));
    this.#plot.replaceChildren(root);
  }

  /**
   * Tracks side by side with one of the path's, between the same throats, count as one place with it.
   * @param {string[]} path @param {Map<string, number>} order @param {Map<string, [number, number]>} places
   */
  #beside(path, order, places) {
    /** @type {Map<string, Set<string>>} */
    const neighbours = new Map();
    for (const [a, b] of this.feed.plan?.joints ?? []) {
      for (const [one, other] of [[a, b], [b, a]]) {
        const of = sectionOf(one);
        neighbours.set(of, (neighbours.get(of) ?? new Set()).add(sectionOf(other)));
      }
    }
    for (let i = 1; i < path.length - 1; i += 1) {
      const [before, here, after] = [path[i - 1], path[i], path[i + 1]];
      for (const name of neighbours.get(before) ?? []) {
        const place = places.get(here);
        if (place && !places.has(name) && neighbours.get(name)?.has(after)) { places.set(name, place); order.set(name, i); }
      }
    }
  }

  /** @param {Map<string, [number, number]>} places @param {number} from */
  #byTrain(places, from) {
    const begun = this.record.seen[0]?.since ?? Infinity;
    const all = [...this.#recorded.filter((stand) => stand.since < begun).map((stand) => ({ ...stand, until: stand.until ?? begun })), ...this.record.seen];
    /** @type {Map<string, Stand[]>} */
    const found = new Map();
    for (const stand of all) {
      if (!places.has(stand.section) || (stand.until ?? Infinity) < from) continue;
      found.set(stand.train, [...(found.get(stand.train) ?? []), stand]);
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
