// The sheet in parts that come and go together: of a large layout only those in sight are in the document.

/** @import { Place } from "./types" */
import { svg } from "./draw.js";

/** How wide and high a part is, in pixels of the sheet. */
const SIZE = 800;

/** A rectangle: left, top, right, bottom. @typedef {[number, number, number, number]} Box */

/** All of the sheet. @type {Box} */
export const EVERYTHING = [-Infinity, -Infinity, Infinity, Infinity];

/** @param {Place[][]} lines @returns {Box} */
export function boxOf(lines) {
  /** @type {Box} */
  const box = [Infinity, Infinity, -Infinity, -Infinity];
  for (const [x, y] of lines.flat()) widen(box, [x, y, x, y]);
  return box;
}

/** @param {Box} box @param {Box} by */
export function widen(box, by) {
  for (const side of [0, 1]) {
    box[side] = Math.min(box[side], by[side]);
    box[side + 2] = Math.max(box[side + 2], by[side + 2]);
  }
}

/** @param {Box} one @param {Box} other */
export const meet = (one, other) => one[0] <= other[2] && other[0] <= one[2] && one[1] <= other[3] && other[1] <= one[3];

/**
 * What is drawn near by, and from far away, of one part of the sheet.
 * @typedef {object} Tile
 * @property {Box} box  all that is drawn of it lies within
 * @property {((near: SVGElement) => () => void)[]} jobs  each draws something, and gives what is to be done once it is gone
 * @property {(() => void)[]} gone
 * @property {string[]} sections
 * @property {SVGElement | null} near
 * @property {SVGElement | null} far
 * @property {string} look  what the one from far away was made from
 */

const LAYERS = /** @type {const} */ (["below", "rails", "marks", "names"]);

/** The group for what is drawn in a layer of a part. @param {SVGElement} near @param {(typeof LAYERS)[number]} layer */
export const layerOf = (near, layer) => /** @type {SVGElement} */ (near.children[LAYERS.indexOf(layer)]);

export class Tiles {
  /** @type {Map<string, Tile>} */ #tiles = new Map();

  /**
   * @param {SVGElement} holder
   * @param {(sections: string[]) => string} look how sections look from far away, as a key
   * @param {(sections: string[]) => SVGElement} sketch draws them so
   */
  constructor(holder, look, sketch) {
    this.holder = holder;
    this.look = look;
    this.sketch = sketch;
  }

  /** The part that a place belongs to. @param {Place} at @returns {Tile} */
  at([x, y]) {
    const key = `${Math.floor(x / SIZE)} ${Math.floor(y / SIZE)}`;
    let tile = this.#tiles.get(key);
    if (!tile) {
      tile = { box: [Infinity, Infinity, -Infinity, -Infinity], jobs: [], gone: [], sections: [], near: null, far: null, look: "" };
      this.#tiles.set(key, tile);
    }
    return tile;
  }

  /** What is drawn whenever its part of the sheet is in sight. @param {Place[][]} lines where it lies @param {Tile["jobs"][number]} job */
  add(lines, job) {
    const tile = this.at(lines[0][0]);
    widen(tile.box, boxOf(lines));
    tile.jobs.push(job);
    return tile;
  }

  /** Puts into the document what is in sight, and takes out of it what is not. @param {Box} view @param {boolean} isFar */
  see(view, isFar) {
    for (const tile of this.#tiles.values()) {
      const seen = meet(tile.box, view);
      if (seen && isFar) this.#drawFar(tile);
      else { tile.far?.remove(); tile.far = null; }
      if (seen && !isFar) this.#drawNear(tile);
      else if (tile.near) drop(tile);
    }
  }

  /** Sections may look otherwise: their parts are drawn anew where they do from far away. @param {Iterable<Tile>} tiles */
  again(tiles) {
    for (const tile of tiles) {
      if (!tile.far || tile.look === this.look(tile.sections)) continue;
      tile.far.remove();
      tile.far = null;
      this.#drawFar(tile);
    }
  }

  /** @param {Tile} tile */
  #drawNear(tile) {
    if (tile.near) return;
    const near = svg("g", {}, ...LAYERS.map((layer) => svg("g", { class: layer })));
    tile.near = near;
    tile.gone = tile.jobs.map((job) => job(near));
    this.holder.append(near);
  }

  /** @param {Tile} tile */
  #drawFar(tile) {
    if (tile.far) return;
    tile.look = this.look(tile.sections);
    tile.far = this.sketch(tile.sections);
    this.holder.append(tile.far);
  }
}

/** @param {Tile} tile */
function drop(tile) {
  tile.near?.remove();
  tile.near = null;
  for (const gone of tile.gone) gone();
  tile.gone = [];
}
