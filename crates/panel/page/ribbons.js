// Trains: ribbons along their footprint, with name and nose; how far each may go; and doubts, with all their names.

/** @import { Place, TrainRow } from "./types" */
/** @import { Known } from "./feed.js" */
/** @import { Track } from "./track.js" */
import { path, piece, pointAt, lengthOf } from "./geometry.js";
import { drawnAt, joined } from "./track.js";
import { svg } from "./draw.js";
import { about, oneOf } from "./words.js";

/** So many colours there are for trains; their names tell them apart, whatever the colour. */
const HUES = 10;
const WIDE = 15;

/** The number of a train's colour, by its place among all trains. @param {string[]} names @param {string} name */
export const hue = (names, name) => `hue-${Math.max(0, names.indexOf(name)) % HUES}`;

export class Ribbons {
  /** @type {Map<string, SVGElement>} */ #trains = new Map();
  #ahead = svg("g", { class: "aheads" });
  /** How far each may go. @type {Map<string, SVGElement>} */ #aheads = new Map();
  #ribbons = svg("g", { class: "ribbons" });
  #doubts = svg("g", { class: "doubts" });

  /** @param {SVGElement} over @param {Track} track @param {Set<string>} tight sections that are drawn close to others */
  constructor(over, track, tight) {
    this.track = track;
    this.tight = tight;
    over.append(this.#ahead, this.#ribbons, this.#doubts);
  }

  /** @param {TrainRow} train @param {Known} known */
  show(train, known) {
    this.#trains.get(train.name)?.remove();
    this.#aheads.get(train.name)?.remove();
    this.#aheads.delete(train.name);
    this.#trains.delete(train.name);
    if (train.covers.length === 0) return;
    const colour = hue([...known.trains.keys()], train.name);
    const { state, word, text } = about(train);
    const group = svg("g", { class: `train ${colour} ${state}${train.sure ? "" : " unsure"}`, "data-train": train.name });
    group.append(svg("title", {}, `${train.name}: ${word}${text ? ` (${text})` : ""}`));
    const stand = this.track.stand(train, known.turnouts);
    const isTight = train.covers.every((cover) => this.tight.has(cover.section));
    if (stand) this.#lay(group, train, stand, colour, isTight);
    else this.#layWhole(group, train, isTight);
    this.#ribbons.append(group);
    this.#trains.set(train.name, group);
  }

  /**
   * @param {SVGElement} group @param {TrainRow} train @param {NonNullable<ReturnType<Track["stand"]>>} stand
   * @param {string} colour @param {boolean} isTight
   */
  #lay(group, train, stand, colour, isTight) {
    const { line, legs } = joined(this.track, stand.legs);
    const covered = stand.legs.slice(0, stand.covered).reduce((sum, leg) => sum + leg.mm, 0);
    const whole = isTight ? { tail: 0, nose: covered, most: covered } : stand;
    let [tail, nose] = [drawnAt(legs, whole.tail), drawnAt(legs, whole.nose)];
    const [most, end] = [drawnAt(legs, whole.most), drawnAt(legs, stand.end)];
    // Short trains on long track are still to be seen.
    if (nose - tail < 16) tail = Math.max(0, nose - 16);
    if (nose - tail < 16) nose = tail + 16;
    if (most > nose + 1) group.append(svg("path", { class: "maybe", d: path(piece(line, nose - 2, most), 5) }));
    const body = piece(line, tail, Math.max(tail + 2, nose - 8));
    group.append(svg("path", { class: "edging", d: path(body, 5) }), svg("path", { class: "body", d: path(body, 5) }));
    const tip = pointAt(line, nose);
    group.append(noseOf(tip.at, tip.dx, tip.dy));
    this.#tag(group, train.name, line, tail, nose, isTight);
    if (end > nose + 4) {
      const stop = pointAt(line, end);
      const [nx, ny] = [-stop.dy * 10, stop.dx * 10];
      const ahead = svg("g", { class: `ahead ${colour}`, "data-of": train.name },
        svg("path", { class: "way", d: path(piece(line, nose, end), 5) }),
        svg("path", { class: "end", d: `M${stop.at[0] - nx} ${stop.at[1] - ny}L${stop.at[0] + nx} ${stop.at[1] + ny}` }));
      this.#ahead.append(ahead);
      this.#aheads.set(train.name, ahead);
    }
  }

  /** Which way round it is, nobody knows: it lies over all of its sections. @param {SVGElement} group @param {TrainRow} train @param {boolean} isTight */
  #layWhole(group, train, isTight) {
    for (const cover of train.covers) {
      const line = this.track.ways.get(cover.section)?.[0]?.line;
      if (!line) continue;
      const body = piece(line, 6, lengthOf(line) - 6);
      group.append(svg("path", { class: "edging", d: path(body, 5) }), svg("path", { class: "body", d: path(body, 5) }));
      if (cover === train.covers[train.covers.length - 1]) this.#tag(group, train.name, line, 0, lengthOf(line), isTight);
    }
  }

  /**
   * A train's name: within the ribbon where it has room, else beside it.
   * @param {SVGElement} group @param {string} name @param {Place[]} line @param {number} tail @param {number} nose @param {boolean} isTight
   */
  #tag(group, name, line, tail, nose, isTight) {
    const shown = group.classList.contains("unsure") ? `${name}?` : name;
    const long = shown.length * 6.6 + 14;
    const { at, dx, dy } = pointAt(line, (tail + nose - 8) / 2);
    const isLevel = Math.min(Math.abs(dx), Math.abs(dy)) < 0.2;
    const fits = (nose - tail >= long && isLevel) || isTight;
    const steep = Math.abs(dy) > Math.abs(dx);
    if (fits) {
      const turn = steep ? ` rotate(90 ${at[0]} ${at[1]})` : "";
      group.append(svg("text", { class: "tag within", x: at[0], y: at[1] + 4, "text-anchor": "middle", transform: turn }, shown));
    } else if (steep) {
      group.append(svg("text", { class: "tag beside", x: at[0] + WIDE / 2 + 4, y: at[1] + 4 }, shown));
    } else {
      group.append(svg("text", { class: "tag beside", x: at[0], y: at[1] - WIDE / 2 - 5, "text-anchor": "middle" }, shown));
    }
  }

  /** @param {Known} known @param {(name: string) => { line: Place[] } | undefined} find */
  showDoubts(known, find) {
    /** @type {SVGElement[]} */
    const shown = [];
    for (const row of known.sections.values()) {
      const found = row.is === "doubt" ? find(row.name) : undefined;
      // Where the one train that may be there lies there, its own name says it.
      const isSaid = row.trains.length === 1 && known.trains.get(row.trains[0])?.covers.some((cover) => cover.section === row.name);
      if (!found || isSaid) continue;
      const { at, dx, dy } = pointAt(found.line, lengthOf(found.line) / 2);
      const steep = Math.abs(dy) > Math.abs(dx);
      /** @type {Record<string, string | number>} */
      const place = steep ? { x: at[0] + 12, y: at[1] + 16 } : { x: at[0], y: at[1] - 14, "text-anchor": "middle" };
      shown.push(svg("text", { class: "tag doubtful", ...place }, oneOf(row.trains)));
    }
    this.#doubts.replaceChildren(...shown);
  }
}

/** @param {Place} at @param {number} dx @param {number} dy */
function noseOf([x, y], dx, dy) {
  const [nx, ny] = [-dy * (WIDE / 2), dx * (WIDE / 2)];
  const [bx, by] = [x - dx * 9, y - dy * 9];
  return svg("path", { class: "nose", d: `M${bx + nx} ${by + ny}L${x} ${y}L${bx - nx} ${by - ny}Z` });
}
