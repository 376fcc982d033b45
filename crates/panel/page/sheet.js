// The line diagram: the layout as it was placed by the program, with what is known laid over it.

/** @import { Feed, Changes } from "./feed.js" */
/** @import { Place, PlanSignal, DrawnTurnout } from "./types" */
import { Scale, path, pointAt, lengthOf, towards } from "./geometry.js";
import { Track, sectionOf } from "./track.js";
import { Ribbons } from "./ribbons.js";
import { svg } from "./draw.js";
import { drawLamps, inWords } from "./lamps.js";
import { saidOf } from "./words.js";

/** Above so many sections, what is out of sight is not drawn. */
const MANY = 400;
/** Parts of the sheet that come and go together, in pixels along it. */
const TILE = 900;

/** What a person pointed at. @typedef {{ kind: "section" | "turnout" | "signal" | "train", name: string }} Chosen */

export class Sheet {
  zoom = 1;
  /** @type {Scale | null} */ scale = null;
  /** @type {Track | null} */ track = null;
  /** @type {Ribbons | null} */ ribbons = null;
  /** @type {Map<string, { group: SVGElement | null, line: Place[], lines: Place[][] }>} */ #sections = new Map();
  /** @type {Map<string, { group: SVGElement, drawn: DrawnTurnout }>} */ #turnouts = new Map();
  /** @type {Map<string, { group: SVGElement, signal: PlanSignal }>} */ #signals = new Map();
  /** @type {Map<number, SVGElement>} */ #tiles = new Map();
  /** What is still to be drawn of each part of the sheet. @type {Map<number, (() => void)[]>} */ #jobs = new Map();
  #sketch = svg("path", { class: "rail sketch" });
  /** @type {SVGElement} */ #root = svg("svg", { class: "line", role: "group", "aria-label": "line diagram" });
  /** @type {Map<string, string | null>} */ #districts = new Map();
  #tight = true;
  #fits = true;
  #cursor = "";

  /**
   * @param {HTMLElement} holder @param {Feed} feed
   * @param {(chosen: Chosen) => void} choose
   */
  constructor(holder, feed, choose) {
    this.holder = holder;
    this.feed = feed;
    this.choose = choose;
    holder.append(this.#root);
    holder.addEventListener("scroll", () => this.#cull(), { passive: true });
    this.#root.addEventListener("click", (event) => this.#clicked(event));
    holder.addEventListener("keydown", (event) => this.#key(event));
    new ResizeObserver(() => { if (feed.diagram && (this.#mustTurn() || this.#fits)) this.build(); }).observe(holder);
  }

  get tight() { return this.#tight; }
  setTight(/** @type {boolean} */ tight) { this.#tight = tight; this.build(); }

  /** Whether the line runs from top to bottom: on a narrow sheet. */
  #upright() { return this.holder.clientWidth < 640 && innerHeight > innerWidth; }
  #mustTurn() { return this.scale !== null && this.scale.upright !== this.#upright(); }

  /** Draws the track anew: the layout is another, or the sheet was turned. */
  build() {
    const { plan, diagram } = this.feed;
    if (!plan || !diagram) return;
    const upright = this.#upright();
    this.#districts = new Map(plan.sections.map((section) => [section.name, section.district]));
    this.scale = new Scale(diagram, { upright, tight: this.#tight });
    this.track = new Track(plan, diagram, this.scale);
    for (const stop of diagram.stops) this.track.shortOf.set(stop.name, stop["short-of-end-mm"]);
    this.#tiles.clear(); this.#jobs.clear(); this.#sections.clear(); this.#turnouts.clear(); this.#signals.clear();
    const over = svg("g", { class: "over" });
    this.#root.replaceChildren(patterns(), this.#sketch, svg("g", { class: "tiles" }), over);
    const tight = new Set(this.#tight && !upright ? diagram.yards.flatMap((yard) => yard.sections) : []);
    for (const link of diagram.links) {
      const line = this.scale.line(link.line);
      this.#later(line[0], () => this.#tile(line[0]).append(svg("path", { class: "rail link", d: path(line, 14) })));
    }
    this.#buildSections(tight);
    for (const edge of diagram.edges) this.#later(this.scale.at(edge.at), () => this.#edge(edge));
    for (const turnout of diagram.turnouts) this.#later(this.scale.at(turnout.at), () => this.#buildTurnout(turnout));
    const signals = new Map(plan.signals.map((signal) => [signal.name, signal]));
    for (const drawn of diagram.signals) {
      const signal = signals.get(drawn.name);
      if (signal) this.#later(this.scale.at(drawn.at), () => this.#buildSignal(drawn, signal, tight.has(sectionOf(drawn.end))));
    }
    if (diagram.sections.length < MANY) for (const number of [...this.#jobs.keys()]) this.#work(number);
    const all = diagram.sections.length < MANY ? [] : [...this.#sections.values()].flatMap((section) => section.lines);
    this.#sketch.setAttribute("d", all.map((line) => path(line, 0)).join(""));
    this.ribbons = new Ribbons(over, this.track, tight);
    if (this.#fits) this.fit(); else this.#resize();
    this.feed.changes.everything = true;
    this.feed.dispatchEvent(new Event("news"));
  }

  /** @param {Place} at */
  #number(at) {
    return Math.floor((this.scale?.upright ? at[1] : at[0]) / TILE);
  }

  /** What is drawn once its part of the sheet is in sight. @param {Place} at @param {() => void} job */
  #later(at, job) {
    const number = this.#number(at);
    this.#tile(at);
    const jobs = this.#jobs.get(number);
    if (jobs) jobs.push(job); else this.#jobs.set(number, [job]);
  }

  /** @param {number} number */
  #work(number) {
    const jobs = this.#jobs.get(number) ?? [];
    this.#jobs.delete(number);
    for (const job of jobs) job();
  }

  /** The part of the sheet that a place belongs to. @param {Place} at */
  #tile(at) {
    const number = this.#number(at);
    let tile = this.#tiles.get(number);
    if (!tile) {
      tile = svg("g");
      tile.append(...["below", "rails", "marks", "names"].map((layer) => svg("g", { class: layer })));
      this.#tiles.set(number, tile);
      this.#root.querySelector(".tiles")?.append(tile);
    }
    return /** @type {SVGElement} */ (tile.children[1]);
  }

  /** @param {Place} at @param {"below" | "rails" | "marks" | "names"} layer */
  #layer(at, layer) {
    const tile = this.#tile(at).parentElement;
    return /** @type {SVGElement} */ (/** @type {unknown} */ (tile?.querySelector(`.${layer}`)));
  }

  /** @param {Set<string>} tight */
  #buildSections(tight) {
    const { plan, diagram } = this.feed;
    if (!plan || !diagram || !this.scale) return;
    const dark = new Set(plan.sections.filter((section) => !section.detected).map((section) => section.name));
    for (const section of diagram.sections) {
      const lines = section.ways.map((way) => this.scale?.line(way.line) ?? []);
      const [first] = lines;
      if (!first) continue;
      this.#sections.set(section.name, { group: null, line: first, lines });
      this.#later(first[0], () => {
        const group = svg("g", { class: `section${dark.has(section.name) ? " blind" : ""}`, "data-section": section.name });
        const d = lines.map((line) => path(line)).join("");
        group.append(svg("path", { class: "hit", d }), svg("path", { class: "band", d }), svg("path", { class: "rail", d }));
        group.append(svg("path", { class: "core", d }));
        this.#tile(first[0]).append(group);
        this.#sections.set(section.name, { group, line: first, lines });
        if (!tight.has(section.name)) this.#name(section.name, first, lines.length > 1);
        for (const end of [first[0], first[first.length - 1]]) this.#layer(end, "marks").append(this.#joint(end, first));
        this.#showSection(section.name);
      });
    }
  }

  /** @param {Place} at @param {Place[]} line */
  #joint(at, line) {
    const inner = pointAt(line, at === line[0] ? 1 : lengthOf(line) - 1);
    const [nx, ny] = [-inner.dy, inner.dx];
    return svg("path", { class: "joint", d: `M${at[0] - nx * 4} ${at[1] - ny * 4}L${at[0] + nx * 4} ${at[1] + ny * 4}` });
  }

  /** @param {string} name @param {Place[]} line @param {boolean} throat */
  #name(name, line, throat) {
    const upright = this.scale?.upright;
    const { at } = throat ? { at: line[0] } : pointAt(line, lengthOf(line) / 2);
    if (throat) return;
    // Below the track at its left end: at the right one its signal stands.
    const left = Math.min(line[0][0], line[line.length - 1][0]);
    const place = upright ? { x: at[0] + 10, y: Math.max(line[0][1], line[line.length - 1][1]) - 9 } : { x: left + 4, y: at[1] + 17 };
    const room = upright ? 44 : lengthOf(line) - 38;
    const text = svg("text", { class: "name", ...place }, name);
    const long = name.length * 5.2;
    if (long > room) text.setAttribute("textLength", String(Math.max(room, long * 0.72)));
    if (long > room) text.setAttribute("lengthAdjust", "spacingAndGlyphs");
    this.#layer(at, "names").append(text);
  }

  /** @param {import("./types").DrawnEdge} edge */
  #edge(edge) {
    if (!this.scale) return;
    const [x, y] = this.scale.at(edge.at);
    const [dx, dy] = this.scale.upright ? [0, edge.facing] : [edge.facing, 0];
    const d = edge.beyond === "buffer-stop"
      ? `M${x - dy * 8} ${y - dx * 8}L${x + dy * 8} ${y + dx * 8}M${x + dx * 4 - dy * 8} ${y + dy * 4 - dx * 8}L${x + dx * 4 + dy * 8} ${y + dy * 4 + dx * 8}`
      : `M${x} ${y}l${dx * 16} ${dy * 16}m${-dx * 6 - dy * 5} ${-dy * 6 - dx * 5}l${dx * 6 + dy * 5} ${dy * 6 + dx * 5}l${-dx * 6 + dy * 5} ${-dy * 6 + dx * 5}`;
    this.#layer([x, y], "marks").append(svg("path", { class: `edge ${edge.beyond}`, d }));
  }

  /** @param {DrawnTurnout} drawn */
  #buildTurnout(drawn) {
    if (!this.scale) return;
    const at = this.scale.at(drawn.at);
    const group = svg("g", { class: "turnout", "data-turnout": drawn.name });
    this.#layer(at, "marks").append(group);
    this.#turnouts.set(drawn.name, { group, drawn });
    this.#showTurnout(drawn.name);
  }

  /** @param {import("./types").DrawnSignal} drawn @param {PlanSignal} signal @param {boolean} tight */
  #buildSignal(drawn, signal, tight) {
    if (!this.scale) return;
    const [x, y] = this.scale.at(drawn.at);
    const { facing } = drawn;
    const off = 13;
    // Right of the track, as its trains see it, its lamps against the way they run.
    const turn = tight
      ? `translate(${x + facing * 2} ${y}) rotate(${facing === 1 ? 0 : 180})`
      : this.scale.upright
      ? `translate(${x - facing * off} ${y - facing * 3}) rotate(${facing === 1 ? -90 : 90})`
      : `translate(${x - facing * 3} ${y + facing * off}) rotate(${facing === 1 ? 180 : 0})`;
    const group = svg("g", { class: `signal${tight ? " small" : ""}`, "data-signal": drawn.name, transform: `${turn}${tight ? " scale(.72)" : ""}` });
    this.#layer([x, y], "marks").append(group);
    this.#signals.set(drawn.name, { group, signal });
    this.#showSignal(drawn.name);
  }

  /** Shows what changed. @param {Changes} changes */
  show(changes) {
    const { known } = this.feed;
    if (!this.track || !this.ribbons) return;
    const all = changes.everything;
    for (const name of all || changes.dark ? this.#sections.keys() : changes.sections) this.#showSection(name);
    for (const name of all ? this.#turnouts.keys() : changes.turnouts) this.#showTurnout(name);
    for (const name of all ? this.#signals.keys() : changes.signals) this.#showSignal(name);
    const trains = all || changes.turnouts.size ? [...known.trains.keys()] : [...changes.trains];
    for (const name of trains) {
      const train = known.trains.get(name);
      if (train) this.ribbons.show(train, known);
    }
    if (all || changes.sections.size) this.ribbons.showDoubts(known, (name) => this.#sections.get(name));
  }

  /** @param {string} name */
  #showSignal(name) {
    const found = this.#signals.get(name);
    const row = this.feed.known.signals.get(name);
    if (!found || !row) return;
    drawLamps(found.group, found.signal, row);
    found.group.classList.toggle("danger", row.danger);
    found.group.append(svg("title", {}, `${name}: ${inWords(found.signal, row)}`));
  }

  /** @param {string} name */
  #showSection(name) {
    const found = this.#sections.get(name);
    const row = this.feed.known.sections.get(name);
    if (!found?.group || !row) return;
    const dark = this.darkBecause(name) !== null;
    const blind = found.group.classList.contains("blind") ? " blind" : "";
    found.group.setAttribute("class", `section ${row.is}${blind}${dark ? " dark" : ""}${row.withdrawn ? " withdrawn" : ""}${row.granted ? " kept" : ""}`);
    found.group.querySelectorAll(".cross, .mark").forEach((mark) => mark.remove());
    if (row.withdrawn) found.group.append(crosses(found.lines));
    const middle = pointAt(found.line, lengthOf(found.line) / 2).at;
    if (dark) found.group.append(svg("path", { class: "mark moon", d: `M${middle[0] - 2} ${middle[1] - 19}a6 6 0 1 0 7 8a5 5 0 0 1 -7 -8z` }));
    if (row.is === "unexplained") found.group.append(svg("text", { class: "mark what", x: middle[0], y: middle[1] - 12, "text-anchor": "middle" }, "who?"));
  }

  /** Why a section is without power; nothing where it has it. @param {string} name */
  darkBecause(name) {
    if (this.feed.known.dark.length === 0) return null;
    const district = this.#districts.get(name) ?? null;
    const found = this.feed.known.dark.find((row) => row.district === null || row.district === district);
    return found?.because ?? null;
  }

  /** @param {string} name */
  #showTurnout(name) {
    const found = this.#turnouts.get(name);
    const row = this.feed.known.turnouts.get(name);
    if (!found || !row || !this.scale) return;
    const { drawn, group } = found;
    const [at, straight, diverging] = [drawn.at, drawn.straight, drawn.diverging].map((place) => /** @type {Scale} */ (this.scale).at(place));
    const gap = (/** @type {Place} */ to) => {
      const [a, b] = [towards(at, to, 5), towards(at, to, 14)];
      return svg("path", { class: "gap", d: `M${a[0]} ${a[1]}L${b[0]} ${b[1]}` });
    };
    /** @type {SVGElement[]} */
    const parts = [];
    if (row.lies !== "straight") parts.push(gap(straight));
    if (row.lies !== "diverging") parts.push(gap(diverging));
    if (row.lies) {
      const to = towards(at, row.lies === "straight" ? straight : diverging, 17);
      parts.push(svg("path", { class: "blade", d: `M${at[0]} ${at[1]}L${to[0]} ${to[1]}` }));
    }
    const [x, y] = at;
    parts.push(row.locked
      ? svg("path", { class: "point locked", d: `M${x - 5} ${y}L${x} ${y - 5}L${x + 5} ${y}L${x} ${y + 5}Z` })
      : svg("circle", { class: "point", cx: x, cy: y, r: 3.6 }));
    if (!row.lies) parts.push(svg("text", { class: "unsure", x: x + 3, y: y - 7 }, "?"));
    parts.push(svg("circle", { class: "hit", cx: x, cy: y, r: 11 }));
    const lies = row.lies ? `lies ${row.lies}` : "moves, or nobody knows how it lies";
    parts.push(svg("title", {}, `${name} ${lies}${row.locked ? ", locked" : ""}`));
    group.replaceChildren(...parts);
    group.classList.toggle("unknown", !row.lies);
  }

  /** @param {Event} event */
  #clicked(event) {
    const target = event.target instanceof Element ? event.target.closest("[data-train], [data-turnout], [data-signal], [data-section]") : null;
    if (!(target instanceof SVGElement)) return;
    for (const kind of /** @type {const} */ (["train", "turnout", "signal", "section"])) {
      const name = target.dataset[kind];
      if (name !== undefined) { this.choose({ kind, name }); return; }
    }
  }

  /** Arrow keys go from section to section, Enter opens. @param {KeyboardEvent} event */
  #key(event) {
    const [dx, dy] = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key] ?? [0, 0];
    if (event.key === "Enter" && this.#cursor) this.choose({ kind: "section", name: this.#cursor });
    if (event.key === "+" || event.key === "=") this.setZoom(this.zoom * 1.25);
    if (event.key === "-") this.setZoom(this.zoom / 1.25);
    if (event.key === "0") this.fit();
    if (dx === 0 && dy === 0) return;
    event.preventDefault();
    const middle = (/** @type {Place[]} */ line) => pointAt(line, lengthOf(line) / 2).at;
    const here = this.#sections.get(this.#cursor);
    let best = here ? "" : this.#sections.keys().next().value ?? "";
    let least = Infinity;
    if (here) {
      const [x, y] = middle(here.line);
      for (const [name, { line }] of this.#sections) {
        const [mx, my] = middle(line);
        const [on, aside] = [(mx - x) * dx + (my - y) * dy, Math.abs((mx - x) * dy) + Math.abs((my - y) * dx)];
        if (on > 1 && on + 2 * aside < least) { least = on + 2 * aside; best = name; }
      }
    }
    if (best) this.point(best);
  }

  /** Puts the cursor on a section and says what is known of it. @param {string} name */
  point(name) {
    const found = this.#sections.get(name);
    const row = this.feed.known.sections.get(name);
    if (!found || !row) return;
    if (found.group === null) this.#work(this.#number(found.line[0]));
    this.#sections.get(this.#cursor)?.group?.classList.remove("cursor");
    this.#cursor = name;
    this.#sections.get(name)?.group?.classList.add("cursor");
    const [x, y] = pointAt(found.line, lengthOf(found.line) / 2).at;
    this.holder.scrollTo({ left: x * this.zoom - this.holder.clientWidth / 2, top: y * this.zoom - this.holder.clientHeight / 2 });
    const said = document.getElementById("said");
    if (said) said.textContent = `${name}: ${saidOf(row, this.darkBecause(name)).join("; ")}`;
  }

  /** The section under the cursor, if there is one. */
  get cursor() { return this.#cursor; }

  /** As large as fits; what is longer than that is scrolled. */
  fit() {
    if (!this.scale) return;
    this.#fits = true;
    const { clientWidth } = this.holder;
    const { width, height, upright } = this.scale;
    const whole = upright ? clientWidth / width : Math.min(clientWidth / width, (innerHeight * 0.58) / height);
    // What would be too small to read is scrolled.
    this.zoom = whole < (upright ? 0.75 : 0.6) ? 0.82 : Math.min(2.4, whole);
    this.#resize();
  }

  /** @param {number} zoom */
  setZoom(zoom) {
    const { scrollLeft, scrollTop, clientWidth, clientHeight } = this.holder;
    const [x, y] = [(scrollLeft + clientWidth / 2) / this.zoom, (scrollTop + clientHeight / 2) / this.zoom];
    this.#fits = false;
    this.zoom = Math.max(0.06, Math.min(4, zoom));
    this.#resize();
    this.holder.scrollTo({ left: x * this.zoom - clientWidth / 2, top: y * this.zoom - clientHeight / 2, behavior: "instant" });
  }

  #resize() {
    if (!this.scale) return;
    const { width, height } = this.scale;
    this.#root.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.#root.setAttribute("width", String(Math.round(width * this.zoom)));
    this.#root.setAttribute("height", String(Math.round(height * this.zoom)));
    this.#root.classList.toggle("far", this.zoom < 0.5);
    this.#cull();
  }

  /** Of a large layout only what is in sight is drawn; seen from far away, only its rails and trains. */
  #cull() {
    if (this.#sections.size < MANY || !this.scale) return;
    const isFar = this.zoom < 0.25;
    if (isFar) this.#sketch.removeAttribute("display"); else this.#sketch.setAttribute("display", "none");
    const { scrollLeft, scrollTop, clientWidth, clientHeight } = this.holder;
    const [begin, room] = this.scale.upright ? [scrollTop, clientHeight] : [scrollLeft, clientWidth];
    const [from, to] = [begin / this.zoom - TILE, (begin + room) / this.zoom];
    for (const [number, tile] of this.#tiles) {
      const seen = !isFar && number * TILE >= from - TILE / 2 && number * TILE <= to + TILE / 2;
      if (seen && this.#jobs.has(number)) this.#work(number);
      if (seen) tile.removeAttribute("display"); else if (!tile.hasAttribute("display")) tile.setAttribute("display", "none");
    }
  }
}

/** @param {Place[][]} lines */
function crosses(lines) {
  let d = "";
  for (const line of lines) {
    const long = lengthOf(line);
    for (let along = 9; along < long; along += 18) {
      const [x, y] = pointAt(line, along).at;
      d += `M${x - 4} ${y - 4}l8 8m0 -8l-8 8`;
    }
  }
  return svg("path", { class: "cross", d });
}

function patterns() {
  const hatch = svg("pattern", { id: "hatch", width: 8, height: 8, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
    svg("rect", { class: "hatch-ground", width: 8, height: 8 }), svg("rect", { class: "hatch-stroke", width: 3.4, height: 8 }));
  const weave = svg("pattern", { id: "weave", width: 7, height: 7, patternUnits: "userSpaceOnUse" },
    svg("rect", { class: "weave-ground", width: 7, height: 7 }), svg("path", { class: "weave-stroke", d: "M0 3.5L1.75 0L5.25 7L7 3.5" }));
  return svg("defs", {}, hatch, weave);
}

