// Trains: ribbons along their footprint, with name and nose; how far each may go; and doubts, with all their names.

/** @import { Place, TrainRow } from "./types" */
/** @import { Feed, Known } from "./feed.js" */
/** @import { Track } from "./track.js" */
/** @import { Box } from "./tiles.js" */
/** @import { Room } from "./room.js" */
import { path, piece, pointAt, lengthOf } from "./geometry.js";
import { drawnAt, joined } from "./track.js";
import { meet, EVERYTHING } from "./tiles.js";
import { svg } from "./draw.js";
import { about, oneOf } from "./words.js";

/** So many colours there are for trains; their names tell them apart, whatever the colour. */
const HUES = 10;
const WIDE = 15;
/** From far away trains are drawn no more often than after so many milliseconds: they come on by a pixel or two. */
const SELDOM = 250;
/** How long a train is from far away, and how much room its name takes there, in pixels of the screen. */
const MARK = 12;
const ROOM = /** @type {const} */ ([22, 15]);

/** The colour of a train, by its place among all trains. @param {Known} known @param {string} name */
export const hue = (known, name) => `hue-${(known.order.get(name) ?? 0) % HUES}`;

/** The drawing of one train: its parts are made once, and changed where something else is to be seen. */
class Ribbon {
  title = svg("title");
  maybe = svg("path", { class: "maybe" });
  edging = svg("path", { class: "edging" });
  body = svg("path", { class: "body" });
  nose = svg("path", { class: "nose" });
  tag = svg("text", { class: "tag" });
  way = svg("path", { class: "way" });
  end = svg("path", { class: "end" });
  mark = svg("g", {}, this.maybe, this.edging, this.body, this.nose);
  /** @type {SVGElement} */ group;
  /** @type {SVGElement} */ ahead;
  /** Where its nose is. @type {Place} */ at = [0, 0];
  /** The train as it was drawn, and how many pixels of the sheet a millimetre is there. @type {TrainRow | null} */ train = null;
  scale = 0;
  /** Whether its name is to be read from far away, and stands left of it. */
  isNamed = false;
  isBack = false;
  /** @type {Map<SVGElement, Record<string, string>>} */ #was = new Map();

  /** @param {string} name */
  constructor(name) {
    this.group = svg("g", { "data-train": name }, this.title, this.mark, this.tag);
    this.ahead = svg("g", { "data-of": name }, this.way, this.end);
  }

  /** @param {SVGElement} part @param {Record<string, string | number>} attributes an empty one is taken away */
  set(part, attributes) {
    const was = this.#was.get(part) ?? {};
    this.#was.set(part, was);
    for (const [name, value] of Object.entries(attributes)) {
      const text = String(value);
      if ((was[name] ?? "") === text) continue;
      was[name] = text;
      if (name === "text") part.textContent = text;
      else if (text === "") part.removeAttribute(name);
      else part.setAttribute(name, text);
    }
  }

  remove() {
    this.group.remove();
    this.ahead.remove();
  }
}

export class Ribbons {
  /** Those that are in the document. @type {Map<string, Ribbon>} */ #trains = new Map();
  #ahead = svg("g", { class: "aheads" });
  #ribbons = svg("g", { class: "ribbons" });
  #doubts = svg("g", { class: "doubts" });
  /** @type {Box} */ #view = EVERYTHING;
  #zoom = 1;
  #isFar = false;
  /** Trains that wait to be drawn, from far away. @type {Set<string>} */ #late = new Set();
  #drawnAt = 0;

  /** @param {SVGElement} over @param {Track} track @param {Set<string>} tight sections that are drawn close to others @param {Feed} feed @param {Room} room where signals stand */
  constructor(over, track, tight, feed, room) {
    this.room = room;
    this.track = track;
    this.tight = tight;
    this.feed = feed;
    over.append(this.#ahead, this.#ribbons, this.#doubts);
  }

  /** Draws the trains that are in sight now, and no others. @param {Box} view @param {number} zoom @param {boolean} isFar */
  see(view, zoom, isFar) {
    [this.#view, this.#zoom, this.#isFar] = [view, zoom, isFar];
    for (const name of this.#trains.keys()) if (!this.feed.known.trains.has(name)) this.#drop(name);
    for (const ribbon of this.#trains.values()) ribbon.train = null;
    this.#drawnAt = 0;
    this.show(this.feed.known.trains.keys());
  }

  /** These trains may be drawn otherwise though they are as they were: turnouts lie otherwise. @param {Iterable<string>} names */
  doubt(names) {
    for (const name of names) {
      const ribbon = this.#trains.get(name);
      if (ribbon) ribbon.train = null;
    }
  }

  /** Draws some trains as they are now. @param {Iterable<string>} names */
  show(names) {
    for (const name of names) this.#late.add(name);
    if (this.#isFar && performance.now() - this.#drawnAt < SELDOM) return;
    this.#drawnAt = performance.now();
    const late = this.#late;
    this.#late = new Set();
    this.#showNow(late);
  }

  /** @param {Set<string>} names */
  #showNow(names) {
    let isOther = false;
    for (const name of names) {
      const train = this.feed.known.trains.get(name);
      const ribbon = this.#trains.get(name);
      if (train && ribbon && this.#isAlike(ribbon, train)) continue;
      if (train && this.#isSeen(train)) this.#draw(train); else this.#drop(name);
      isOther = true;
    }
    if (this.#isFar && isOther) this.#labels();
  }

  /** Whether nobody could see that a train is drawn anew. @param {Ribbon} ribbon @param {TrainRow} train */
  #isAlike({ train: was, scale }, train) {
    if (!was || was.covers !== train.covers || was.ahead !== train.ahead || was.sure !== train.sure || was.stop !== train.stop) return false;
    if (about(was).state !== about(train).state || !was.nose !== !train.nose) return false;
    const moved = !was.nose || !train.nose ? 0 : Math.max(Math.abs(was.nose.least - train.nose.least), Math.abs(was.nose.most - train.nose.most));
    return moved * scale * this.#zoom < 0.5;
  }

  /** @param {string} name */
  #drop(name) {
    this.#trains.get(name)?.remove();
    this.#trains.delete(name);
  }

  /** @param {TrainRow} train */
  #isSeen(train) {
    if (train.covers.length === 0) return false;
    const lies = (/** @type {string} */ section) => {
      const box = this.track.boxes.get(section);
      return box !== undefined && meet(box, this.#view);
    };
    return train.covers.some((cover) => lies(cover.section)) || train.ahead.some(({ enter }) => lies(enter.slice(0, enter.lastIndexOf("."))));
  }

  /** @param {TrainRow} train */
  #draw(train) {
    const { known } = this.feed;
    let ribbon = this.#trains.get(train.name);
    if (!ribbon) {
      ribbon = new Ribbon(train.name);
      this.#trains.set(train.name, ribbon);
      this.#ribbons.append(ribbon.group);
      this.#ahead.append(ribbon.ahead);
    }
    const colour = hue(known, train.name);
    const { state, word, text } = about(train);
    ribbon.set(ribbon.group, { class: `train ${colour} ${state}${train.sure ? "" : " unsure"}${this.#isFar ? " mark" : ""}` });
    ribbon.set(ribbon.ahead, { class: `ahead ${colour}${this.#isFar ? " mark" : ""}` });
    ribbon.set(ribbon.title, { text: `${train.name}: ${word}${text ? ` (${text})` : ""}` });
    const stand = this.track.stand(train, known.turnouts);
    const leg = stand?.legs[stand.covered - 1];
    ribbon.train = train;
    ribbon.scale = leg ? leg.long / (leg.mm || 1) : 0;
    const isTight = train.covers.every((cover) => this.tight.has(cover.section));
    if (stand) this.#lay(ribbon, train, stand, isTight);
    else this.#layWhole(ribbon, train, isTight);
  }

  /**
   * @param {Ribbon} ribbon @param {TrainRow} train @param {NonNullable<ReturnType<Track["stand"]>>} stand @param {boolean} isTight
   */
  #lay(ribbon, train, stand, isTight) {
    const { line, legs } = joined(this.track, stand.legs);
    const covered = stand.legs.slice(0, stand.covered).reduce((sum, leg) => sum + leg.mm, 0);
    const whole = isTight ? { tail: 0, nose: covered, most: covered } : stand;
    let [tail, nose] = [drawnAt(legs, whole.tail), drawnAt(legs, whole.nose)];
    const [most, end] = [drawnAt(legs, whole.most), drawnAt(legs, stand.end)];
    // Short trains on long track are still to be seen.
    if (nose - tail < 16) tail = Math.max(0, nose - 16);
    if (nose - tail < 16) nose = tail + 16;
    this.#layAhead(ribbon, line, nose, end);
    const tip = pointAt(line, nose);
    ribbon.at = tip.at;
    if (this.#isFar) { this.#mark(ribbon, train, tip.dx, tip.dy); return; }
    const body = path(piece(line, tail, Math.max(tail + 2, nose - 8)), 5);
    ribbon.set(ribbon.group, { transform: "" });
    ribbon.set(ribbon.mark, { transform: "" });
    ribbon.set(ribbon.maybe, { d: most > nose + 1 ? path(piece(line, nose - 2, most), 5) : "" });
    ribbon.set(ribbon.edging, { d: body });
    ribbon.set(ribbon.body, { d: body });
    ribbon.set(ribbon.nose, { d: noseOf(tip.at, tip.dx, tip.dy) });
    this.#tag(ribbon, train, line, tail, nose, isTight);
  }

  /** How far it may go, to a bar. @param {Ribbon} ribbon @param {Place[]} line @param {number} nose @param {number} end */
  #layAhead(ribbon, line, nose, end) {
    const isLong = end > nose + 4;
    const stop = pointAt(line, end);
    const half = this.#isFar ? 5 / this.#zoom : 10;
    const [nx, ny] = [-stop.dy * half, stop.dx * half].map(round);
    const [x, y] = stop.at.map(round);
    ribbon.set(ribbon.way, { d: isLong ? path(piece(line, nose, end), 5) : "" });
    ribbon.set(ribbon.end, { d: isLong ? `M${round(x - nx)} ${round(y - ny)}L${round(x + nx)} ${round(y + ny)}` : "" });
  }

  /** Which way round it is, nobody knows: it lies over all of its sections. @param {Ribbon} ribbon @param {TrainRow} train @param {boolean} isTight */
  #layWhole(ribbon, train, isTight) {
    const lines = train.covers.flatMap((cover) => this.track.ways.get(cover.section)?.slice(0, 1).map((way) => way.line) ?? []);
    const last = lines[lines.length - 1];
    for (const part of [ribbon.maybe, ribbon.nose, ribbon.way, ribbon.end]) ribbon.set(part, { d: "" });
    if (!last) return;
    ribbon.at = pointAt(last, lengthOf(last) / 2).at;
    if (this.#isFar) { this.#mark(ribbon, train, 0, 0); return; }
    const body = lines.map((line) => path(piece(line, 6, lengthOf(line) - 6), 5)).join("");
    ribbon.set(ribbon.group, { transform: "" });
    ribbon.set(ribbon.mark, { transform: "" });
    ribbon.set(ribbon.edging, { d: body });
    ribbon.set(ribbon.body, { d: body });
    this.#tag(ribbon, train, last, 0, lengthOf(last), isTight);
  }

  /** A train from far away: a mark of the same size however small the line is. @param {Ribbon} ribbon @param {TrainRow} train @param {number} dx @param {number} dy */
  #mark(ribbon, train, dx, dy) {
    const [x, y] = ribbon.at.map(round);
    const turn = dx || dy ? Math.round((Math.atan2(dy, dx) * 180) / Math.PI) : 0;
    ribbon.set(ribbon.group, { transform: `translate(${x} ${y}) scale(${round(1 / this.#zoom)})` });
    ribbon.set(ribbon.mark, { transform: turn ? `rotate(${turn})` : "" });
    const d = dx || dy ? `M${-MARK} 0H-4` : `M${-MARK / 2} 0H${MARK / 2}`;
    ribbon.set(ribbon.maybe, { d: "" });
    ribbon.set(ribbon.edging, { d });
    ribbon.set(ribbon.body, { d });
    ribbon.set(ribbon.nose, { d: dx || dy ? "M-6 -5L2 0L-6 5Z" : "" });
    // Its name behind its tail: before its nose is how far it may go.
    ribbon.isBack = dx > 0.5;
    const [side, anchor] = ribbon.isBack ? [-MARK - 4, "end"] : [MARK + 4, "start"];
    ribbon.set(ribbon.tag, { class: "tag beside", x: side, y: -2, "text-anchor": anchor, transform: "", text: ribbon.isNamed ? shownName(train) : "" });
  }

  /** From far away names stand where they have room; those that stood there before come first. */
  #labels() {
    /** @type {Set<string>} */
    const taken = new Set();
    const [wide, high] = ROOM;
    const byNamed = [...this.#trains].sort((a, b) => Number(b[1].isNamed) - Number(a[1].isNamed));
    for (const [name, ribbon] of byNamed) {
      const train = this.feed.known.trains.get(name);
      if (!train) continue;
      const shown = shownName(train);
      const [x, y] = [ribbon.at[0] * this.#zoom, ribbon.at[1] * this.#zoom];
      const long = MARK + shown.length * 6.8 + 4;
      const [from, to] = ribbon.isBack ? [x - long, x] : [x, x + long];
      const row = Math.round(y / high);
      const cells = [];
      for (let column = Math.floor(from / wide); column <= Math.floor(to / wide); column += 1) cells.push(`${column} ${row}`);
      ribbon.isNamed = !cells.some((cell) => taken.has(cell));
      if (ribbon.isNamed) for (const cell of cells) taken.add(cell);
      ribbon.set(ribbon.tag, { text: ribbon.isNamed ? shown : "" });
    }
  }

  /**
   * A train's name: within the ribbon where it has room, else beside it.
   * @param {Ribbon} ribbon @param {TrainRow} train @param {Place[]} line @param {number} tail @param {number} nose @param {boolean} isTight
   */
  #tag(ribbon, train, line, tail, nose, isTight) {
    const text = shownName(train);
    const long = text.length * 6.6 + 14;
    const { at, dx, dy } = pointAt(line, (tail + nose - 8) / 2);
    const [x, y] = at.map(round);
    const isLevel = Math.min(Math.abs(dx), Math.abs(dy)) < 0.2;
    const steep = Math.abs(dy) > Math.abs(dx);
    const within = { class: "tag within", x, y: round(y + 4), "text-anchor": "middle", transform: steep ? `rotate(90 ${x} ${y})` : "" };
    const beside = steep
      ? { class: "tag beside", x: round(x + WIDE / 2 + (this.room.isTaken(x, y - 8, y + 8) ? 16 : 4)), y: round(y + 4), "text-anchor": "", transform: "" }
      : { class: "tag beside", x: round(x + this.room.aside(y, x - long / 2 + 7, x + long / 2 - 7)), y: round(y - WIDE / 2 - 5), "text-anchor": "middle", transform: "" };
    ribbon.set(ribbon.tag, { ...((nose - tail >= long && isLevel) || isTight ? within : beside), text });
  }

  /** @param {Known} known @param {(name: string) => { line: Place[] } | undefined} find */
  showDoubts(known, find) {
    /** @type {SVGElement[]} */
    const shown = [];
    for (const name of known.odd) {
      const row = known.sections.get(name);
      const found = row && find(name);
      // Where the one train that may be there lies there, its own name says it.
      const isSaid = row?.trains.length === 1 && known.trains.get(row.trains[0])?.covers.some((cover) => cover.section === name);
      const box = this.track.boxes.get(name);
      if (!row || !found || isSaid || !box || !meet(box, this.#view)) continue;
      if (row.is === "unexplained" && !this.#isFar) continue;
      const { at: [x, y], dx, dy } = pointAt(found.line, lengthOf(found.line) / 2);
      const steep = Math.abs(dy) > Math.abs(dx);
      const words = row.is === "doubt" ? oneOf(row.trains) : "who?";
      /** @type {Record<string, string | number>} */
      const place = this.#isFar
        ? { transform: `translate(${round(x)} ${round(y)}) scale(${round(1 / this.#zoom)})`, y: -10, "text-anchor": "middle" }
        : steep ? { x: x + 12, y: y + 16 } : { x, y: y - 14, "text-anchor": "middle" };
      shown.push(svg("text", { class: "tag doubtful", ...place }, words));
    }
    this.#doubts.replaceChildren(...shown);
  }
}

/** Its name, with two bars where it is held, as on its card, and asked where it is not sure. @param {TrainRow} train */
const shownName = (train) => `${train.held ? "\u2016 " : ""}${train.name}${train.sure ? "" : "?"}`;

const round = (/** @type {number} */ value) => Math.round(value * 10) / 10;

/** @param {Place} at @param {number} dx @param {number} dy */
function noseOf([x, y], dx, dy) {
  const [nx, ny] = [-dy * (WIDE / 2), dx * (WIDE / 2)];
  const [bx, by] = [x - dx * 9, y - dy * 9];
  return `M${round(bx + nx)} ${round(by + ny)}L${round(x)} ${round(y)}L${round(bx - nx)} ${round(by - ny)}Z`;
}
