// The line diagram: the layout as it was placed by the program, with what is known laid over it.

/** @import { Feed, Changes } from "./feed.js" */
/** @import { Place, PlanSignal, DrawnTurnout } from "./types" */
/** @import { Box, Tile } from "./tiles.js" */
import { Scale, path, pointAt, lengthOf } from "./geometry.js";
import { Track, sectionOf } from "./track.js";
import { Ribbons } from "./ribbons.js";
import { svg } from "./draw.js";
import { drawLamps, inWords, longOf } from "./lamps.js";
import { Room } from "./room.js";
import { saidOf } from "./words.js";
import { Tiles, layerOf, EVERYTHING } from "./tiles.js";
import { turnoutParts, edgeMark, jointMark, crosses, patterns } from "./marks.js";

/** Above so many sections, what is out of sight is not drawn, */
const MANY = 400;
/** and, made smaller than this, the line is drawn as it is seen from far away. */
const FAR = 0.35;
/** So far beyond what is in sight is drawn, in pixels of the screen: whoever scrolls finds it there. */
const MARGIN = 300;

/** What a person pointed at. @typedef {{ kind: "section" | "turnout" | "signal" | "train", name: string }} Chosen */

export class Sheet {
  zoom = 1;
  /** @type {Scale | null} */ scale = null;
  /** @type {Track | null} */ track = null;
  /** @type {Ribbons | null} */ ribbons = null;
  /** @type {Map<string, { group: SVGElement | null, line: Place[], lines: Place[][], tile: Tile }>} */ #sections = new Map();
  /** Those that are in the document. @type {Map<string, { group: SVGElement, drawn: DrawnTurnout }>} */ #turnouts = new Map();
  /** Those that are in the document. @type {Map<string, { group: SVGElement, signal: PlanSignal }>} */ #signals = new Map();
  #tiles = new Tiles(svg("g"), () => "", () => svg("g"));
  /** What is in sight. @type {Box} */ #view = EVERYTHING;
  #isAsked = false;
  /** Sections no detector sees. @type {Set<string>} */ #blind = new Set();
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
    holder.addEventListener("scroll", () => this.#soon(), { passive: true });
    this.#root.addEventListener("click", (event) => this.#clicked(event));
    holder.addEventListener("keydown", (event) => this.#key(event));
    new ResizeObserver(() => { if (feed.diagram && (this.#mustTurn() || this.#fits)) this.build(); }).observe(holder);
  }

  get tight() { return this.#tight; }
  setTight(/** @type {boolean} */ tight) { this.#tight = tight; this.build(); }

  /** Whether the line runs from top to bottom: on a narrow sheet. */
  #upright() { return innerWidth < 1000 && innerHeight > innerWidth; }
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
    this.#sections.clear(); this.#turnouts.clear(); this.#signals.clear();
    const [tiles, over] = [svg("g", { class: "tiles" }), svg("g", { class: "over" })];
    this.#tiles = new Tiles(tiles, (names) => names.map((name) => this.#kinds(name).join(" ")).join(), (names) => this.#sketch(names));
    this.#root.replaceChildren(patterns(), tiles, over);
    const tight = new Set(this.#tight ? diagram.yards.flatMap((yard) => yard.sections) : []);
    for (const link of diagram.links) {
      const line = this.scale.line(link.line);
      this.#tiles.add([line], (near) => { layerOf(near, "below").append(svg("path", { class: "rail link", d: path(line, 14) })); return () => {}; });
    }
    this.#blind = new Set(plan.sections.filter((section) => !section.detected).map((section) => section.name));
    this.#addSections(tight);
    for (const edge of diagram.edges) {
      const at = this.scale.at(edge.at);
      this.#tiles.add([[at]], (near) => { layerOf(near, "marks").append(edgeMark(edge, at, upright)); return () => {}; });
    }
    for (const turnout of diagram.turnouts) this.#tiles.add([[this.scale.at(turnout.at)]], (near) => this.#buildTurnout(near, turnout));
    const room = new Room();
    for (const drawn of diagram.signals) {
      const signal = this.feed.index?.signals.get(drawn.name);
      if (!signal) continue;
      const [x, y] = this.scale.at(drawn.at);
      this.#tiles.add([[[x, y]]], (near) => this.#buildSignal(near, drawn, signal, tight.has(sectionOf(drawn.end))));
      // Those that face the other way stand on the side of the track where names are.
      if (drawn.facing === -1) room.take(upright ? x : y, (upright ? y : x) + 3, (upright ? y : x) + 3 + longOf(signal));
    }
    this.ribbons = new Ribbons(over, this.track, tight, this.feed, room);
    if (this.#fits) this.fit(); else this.#resize();
    this.feed.changes.everything = true;
    this.feed.dispatchEvent(new Event("news"));
  }

  /** @param {Set<string>} tight */
  #addSections(tight) {
    for (const section of this.feed.diagram?.sections ?? []) {
      const lines = section.ways.map((way) => this.scale?.line(way.line) ?? []);
      const [first] = lines;
      if (!first?.length) continue;
      const tile = this.#tiles.add(lines, (near) => this.#buildSection(near, section.name, tight.has(section.name)));
      tile.sections.push(section.name);
      this.#sections.set(section.name, { group: null, line: first, lines, tile });
    }
  }

  /** @param {SVGElement} near @param {string} name @param {boolean} tight */
  #buildSection(near, name, tight) {
    const found = this.#sections.get(name);
    if (!found) return () => {};
    const { line, lines } = found;
    const d = lines.map((line) => path(line)).join("");
    const group = svg("g", { class: `section${name === this.#cursor ? " cursor" : ""}`, "data-section": name },
      svg("path", { class: "hit", d }), svg("path", { class: "band", d }), svg("path", { class: "rail", d }), svg("path", { class: "core", d }));
    layerOf(near, "rails").append(group);
    found.group = group;
    const named = tight || lines.length > 1 ? null : this.#name(name, line);
    if (named) layerOf(near, "names").append(named);
    for (const end of [line[0], line[line.length - 1]]) layerOf(near, "marks").append(jointMark(end, line));
    this.#showSection(name);
    return () => { found.group = null; };
  }

  /** A section's name, below the track at its left end: at the right one its signal stands. @param {string} name @param {Place[]} line */
  #name(name, line) {
    const upright = this.scale?.upright;
    const { at } = pointAt(line, lengthOf(line) / 2);
    const left = Math.min(line[0][0], line[line.length - 1][0]);
    // Of a line that runs downwards in its middle: signals stand at its ends.
    const place = upright ? { x: at[0] + 10, y: at[1] + 3 } : { x: left + 4, y: at[1] + 18 };
    const room = upright ? 44 : lengthOf(line) - 44;
    // One that does not fit is drawn closer; of a longer one the end stays, which tells it from its neighbours.
    const [letter, closer] = [6.3, 0.7];
    const most = Math.floor(room / (letter * closer));
    const shown = name.length > most && room > 30 ? `\u2026${name.slice(1 - most)}` : name;
    const text = svg("text", { class: "name", ...place }, shown);
    const long = shown.length * letter;
    if (long > room) text.setAttribute("textLength", String(Math.max(room, long * closer)));
    if (long > room) text.setAttribute("lengthAdjust", "spacingAndGlyphs");
    return text;
  }

  /** @param {SVGElement} near @param {DrawnTurnout} drawn */
  #buildTurnout(near, drawn) {
    const group = svg("g", { class: "turnout", "data-turnout": drawn.name });
    layerOf(near, "marks").append(group);
    this.#turnouts.set(drawn.name, { group, drawn });
    this.#showTurnout(drawn.name);
    return () => { this.#turnouts.delete(drawn.name); };
  }

  /** @param {SVGElement} near @param {import("./types").DrawnSignal} drawn @param {PlanSignal} signal @param {boolean} tight */
  #buildSignal(near, drawn, signal, tight) {
    const [x, y] = this.scale?.at(drawn.at) ?? [0, 0];
    const { facing } = drawn;
    const off = 13;
    // Right of the track, as its trains see it, its lamps against the way they run.
    const upright = this.scale?.upright;
    const turn = tight
      ? upright ? `translate(${x} ${y + facing * 2}) rotate(${facing * 90})` : `translate(${x + facing * 2} ${y}) rotate(${facing === 1 ? 0 : 180})`
      : upright
      ? `translate(${x - facing * off} ${y - facing * 3}) rotate(${facing === 1 ? -90 : 90})`
      : `translate(${x - facing * 3} ${y + facing * off}) rotate(${facing === 1 ? 180 : 0})`;
    const group = svg("g", { class: `signal${tight ? " small" : ""}`, "data-signal": drawn.name, transform: `${turn}${tight ? " scale(.72)" : ""}` });
    layerOf(near, "marks").append(group);
    this.#signals.set(drawn.name, { group, signal });
    this.#showSignal(drawn.name);
    return () => { this.#signals.delete(drawn.name); };
  }

  /** As what a section is seen from far away: whatever of it is not as it should be. @param {string} name */
  #kinds(name) {
    const row = this.feed.known.sections.get(name);
    const kinds = ["rail"];
    if (row && row.is !== "free" && row.is !== "sure") kinds.push(row.is);
    if (row?.withdrawn) kinds.push("withdrawn");
    if (this.darkBecause(name) !== null) kinds.push("dark", "core");
    return kinds;
  }

  /** Sections as they are seen from far away: their rails as one line, and the rest over it. @param {string[]} names */
  #sketch(names) {
    /** @type {Map<string, string>} */
    const lines = new Map();
    for (const name of names) {
      const d = this.#sections.get(name)?.lines.map((line) => path(line, 0)).join("") ?? "";
      for (const kind of this.#kinds(name)) lines.set(kind, (lines.get(kind) ?? "") + d);
    }
    const order = ["rail", "dark", "core", "unknown", "doubt", "unexplained", "withdrawn"];
    return svg("g", { class: "sketch" }, ...order.flatMap((kind) => (lines.has(kind) ? [svg("path", { class: `far-${kind}`, d: lines.get(kind) ?? "" })] : [])));
  }

  /** Shows what changed. @param {Changes} changes */
  show(changes) {
    const { known } = this.feed;
    if (!this.track || !this.ribbons) return;
    const all = changes.everything;
    const sections = all || changes.dark ? [...this.#sections.keys()] : changes.sections;
    for (const name of sections) this.#showSection(name);
    if (this.#isFar()) this.#tiles.again(new Set([...sections].flatMap((name) => this.#sections.get(name)?.tile ?? [])));
    for (const name of all ? this.#turnouts.keys() : changes.turnouts) this.#showTurnout(name);
    for (const name of all ? this.#signals.keys() : changes.signals) this.#showSignal(name);
    if (all) this.ribbons.see(this.#view, this.zoom, this.#isFar());
    else this.ribbons.show(this.#led(changes));
    if (all || changes.sections.size || changes.lists) this.ribbons.showDoubts(known, (name) => this.#sections.get(name));
  }

  /** Trains that changed, and those that may lie otherwise since turnouts do. @param {Changes} changes */
  #led(changes) {
    const { known } = this.feed;
    if (changes.turnouts.size === 0) return changes.trains;
    const sections = new Set([...changes.turnouts].flatMap((turnout) => this.track?.over.get(turnout) ?? []));
    const led = [...known.trains.values()].filter((train) => train.covers.some((cover) => sections.has(cover.section))).map((train) => train.name);
    this.ribbons?.doubt(led);
    return new Set([...changes.trains, ...led]);
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
    const blind = this.#blind.has(name) ? " blind" : "";
    const form = `section ${row.is}${blind}${dark ? " dark" : ""}${row.withdrawn ? " withdrawn" : ""}${row.granted ? " kept" : ""}${name === this.#cursor ? " cursor" : ""}`;
    if (found.group.getAttribute("class") === form) return;
    found.group.setAttribute("class", form);
    found.group.querySelectorAll(".cross, .mark").forEach((mark) => mark.remove());
    if (row.withdrawn) found.group.append(crosses(found.lines));
    const middle = pointAt(found.line, lengthOf(found.line) / 2).at;
    if (dark) found.group.append(svg("path", { class: "mark moon", d: `M${middle[0] - 2} ${middle[1] - 19}a6 6 0 1 0 7 8a5 5 0 0 1 -7 -8z` }));
    if (row.is === "unexplained") {
      /** @type {Record<string, string | number>} */
      const place = this.scale?.upright ? { x: middle[0] + 12, y: middle[1] + 16 } : { x: middle[0], y: middle[1] - 12, "text-anchor": "middle" };
      found.group.append(svg("text", { class: "mark what", ...place }, "who?"));
    }
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
    group.replaceChildren(...turnoutParts(row, this.scale.at(drawn.at), this.scale.at(drawn.straight), this.scale.at(drawn.diverging)));
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
    const { clientWidth, clientHeight } = this.holder;
    // Where another view is shown there is nothing to fit it to; it is drawn anew once it is seen.
    if (clientWidth === 0) { this.#resize(); return; }
    const { width, height, upright } = this.scale;
    const whole = upright ? Math.min(clientWidth / width, (clientHeight - 44) / height) : Math.min(clientWidth / width, (innerHeight * 0.58) / height);
    // What would be too small to read is scrolled.
    if (upright) this.zoom = whole < 0.9 ? Math.min(1.3, clientWidth / width) : Math.min(1.8, whole);
    else this.zoom = whole < 0.6 ? 0.82 : Math.min(2.4, whole);
    this.#resize();
  }

  /** All of it, however small that is. */
  whole() {
    if (!this.scale) return;
    this.setZoom(Math.min(this.holder.clientWidth / this.scale.width, (this.holder.clientHeight - 40) / this.scale.height, 2.4));
  }

  /** @param {number} zoom */
  setZoom(zoom) {
    const { scrollLeft, scrollTop, clientWidth, clientHeight } = this.holder;
    const [x, y] = [(scrollLeft + clientWidth / 2) / this.zoom, (scrollTop + clientHeight / 2) / this.zoom];
    this.#fits = false;
    this.zoom = Math.max(0.03, Math.min(4, zoom));
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

  /** Whether the line is drawn as it is seen from far away. */
  #isFar() { return this.#sections.size >= MANY && this.zoom < FAR; }

  /** Looks once a frame what is in sight, however often that changes. */
  #soon() {
    if (this.#isAsked || this.#sections.size < MANY) return;
    this.#isAsked = true;
    requestAnimationFrame(() => { this.#isAsked = false; this.#cull(); });
  }

  /** Of a large layout only what is in sight is drawn; seen from far away, only rails, trains and what is not as it should be. */
  #cull() {
    if (!this.scale) return;
    if (this.#sections.size >= MANY) {
      const { scrollLeft, scrollTop, clientWidth, clientHeight } = this.holder;
      const place = (/** @type {number} */ pixels) => pixels / this.zoom;
      this.#view = [place(scrollLeft - MARGIN), place(scrollTop - MARGIN), place(scrollLeft + clientWidth + MARGIN), place(scrollTop + clientHeight + MARGIN)];
    } else this.#view = EVERYTHING;
    this.#tiles.see(this.#view, this.#isFar());
    this.ribbons?.see(this.#view, this.zoom, this.#isFar());
    this.ribbons?.showDoubts(this.feed.known, (name) => this.#sections.get(name));
  }
}
