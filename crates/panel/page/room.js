// Where along the line signals stand, so that no train's name is written over their lamps.

/** How long a part of a lane is that is looked through at once, in pixels of the sheet. */
const PART = 200;
/** How far a name may be moved: farther off nobody would know whose it is. */
const FARTHEST = 52;
const GAP = 3;

export class Room {
  /** @type {Map<string, [number, number][]>} */ #taken = new Map();

  /** @param {number} across @param {number} from @param {number} to */
  take(across, from, to) {
    for (let part = Math.floor(from / PART); part <= Math.floor(to / PART); part += 1) {
      const key = `${Math.round(across)} ${part}`;
      const taken = this.#taken.get(key);
      if (taken) taken.push([from, to]); else this.#taken.set(key, [[from, to]]);
    }
  }

  /** What stands between two places along a lane. @param {number} across @param {number} from @param {number} to */
  #between(across, from, to) {
    const found = [];
    for (let part = Math.floor(from / PART); part <= Math.floor(to / PART); part += 1) {
      for (const one of this.#taken.get(`${Math.round(across)} ${part}`) ?? []) if (one[0] < to && from < one[1]) found.push(one);
    }
    return found;
  }

  /** Whether anything stands there. @param {number} across @param {number} from @param {number} to */
  isTaken(across, from, to) {
    return this.#between(across, from, to).length > 0;
  }

  /** By how much something must be moved along its lane so that nothing stands there; not at all where no place near by is free. @param {number} across @param {number} from @param {number} to */
  aside(across, from, to) {
    const ways = this.#between(across, from, to).flatMap(([begin, end]) => [end + GAP - from, begin - GAP - to]);
    const free = ways.filter((way) => Math.abs(way) <= FARTHEST && !this.isTaken(across, from + way, to + way));
    return free.sort((a, b) => Math.abs(a) - Math.abs(b))[0] ?? 0;
  }
}
