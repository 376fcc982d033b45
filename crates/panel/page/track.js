// Paths over the layout: which line a train lies on, and how far along it things are.

/** @import { Plan, Diagram, Place, TrainRow, TurnoutRow, PlanWay } from "./types" */
/** @import { Scale } from "./geometry.js" */
/** @import { Box } from "./tiles.js" */
import { lengthOf } from "./geometry.js";
import { boxOf } from "./tiles.js";

/**
 * One way as it is run through.
 * @typedef {object} Leg
 * @property {string} section
 * @property {string} enter
 * @property {string} leave
 * @property {Place[]} line  from where it is entered to where it is left, in pixels
 * @property {number} long   how long that line is
 * @property {number} mm     how long the way is in truth; made up where nobody measured it
 * @property {boolean} measured
 */

/** @param {string} end */
export const sectionOf = (end) => end.slice(0, end.lastIndexOf("."));

/**
 * A way as it is run through, either way.
 * @param {string} section @param {import("./types").DrawnWay} way @param {Place[]} line
 * @returns {[Leg, Leg]}
 */
function legsOf(section, { ends: [a, b], "length-mm": mm }, line) {
  const both = { section, long: lengthOf(line), mm: mm ?? 1000, measured: mm !== null };
  return [{ ...both, enter: a, leave: b, line }, { ...both, enter: b, leave: a, line: [...line].reverse() }];
}

/** What is looked up on a layout. */
export class Track {
  /** @type {Map<string, { section: string, ends: [string, string], line: Place[], needs: PlanWay["needs"], legs: [Leg, Leg] }[]>} */
  ways = new Map();
  /** Where each section lies. @type {Map<string, Box>} */ boxes = new Map();
  /** The sections that each turnout is part of. @type {Map<string, string[]>} */ over = new Map();
  /** @type {Map<string, string[]>} */ meets = new Map();
  /** @type {Map<string, string>} */ signalAt = new Map();
  /** @type {Map<string, number | null>} */ trainLength = new Map();
  /** @type {Map<string, string>} */ stopSection = new Map();
  /** @type {Map<string, { ends: [string, string], line: Place[] }>} */ links = new Map();

  /** @param {Plan} plan @param {Diagram} diagram @param {Scale} scale */
  constructor(plan, diagram, scale) {
    const needs = new Map(plan.sections.flatMap((section) => section.ways.map((way) => [way.ends.join("|"), way.needs])));
    for (const section of diagram.sections) {
      const ways = section.ways.map((way) => {
        const line = scale.line(way.line);
        return { section: section.name, ends: way.ends, line, needs: needs.get(way.ends.join("|")) ?? {}, legs: legsOf(section.name, way, line) };
      });
      this.ways.set(section.name, ways);
      this.boxes.set(section.name, boxOf(ways.map((way) => way.line)));
      for (const turnout of new Set(ways.flatMap((way) => Object.keys(way.needs)))) this.over.set(turnout, [...(this.over.get(turnout) ?? []), section.name]);
    }
    for (const [a, b] of plan.joints) {
      this.meets.set(a, [...(this.meets.get(a) ?? []), b]);
      this.meets.set(b, [...(this.meets.get(b) ?? []), a]);
    }
    for (const link of diagram.links) this.links.set([...link.ends].sort().join("|"), { ends: link.ends, line: scale.line(link.line) });
    for (const signal of plan.signals) this.signalAt.set(signal.at, signal.name);
    for (const train of plan.trains) this.trainLength.set(train.name, train["length-mm"]);
    for (const stop of plan.stops) this.stopSection.set(stop.name, stop.section);
  }

  /**
   * The way from one end to another of a section.
   * @param {string} enter @param {string | null} leave @param {Map<string, TurnoutRow>} [turnouts]
   * @returns {Leg | null}
   */
  leg(enter, leave, turnouts) {
    const ways = (this.ways.get(sectionOf(enter)) ?? []).filter((way) => way.ends.includes(enter));
    const fits = (/** @type {typeof ways[0]} */ way) =>
      Object.entries(way.needs).every(([turnout, lie]) => turnouts?.get(turnout)?.lies === lie);
    const way = leave ? ways.find((way) => way.ends.includes(leave)) : (ways.find(fits) ?? ways[0]);
    if (!way) return null;
    return way.legs[way.ends[0] === enter ? 0 : 1];
  }

  /**
   * The legs that a train covers and may still run over, and where on them it lies. Nothing where it is not known which way
   * round it is.
   * @param {TrainRow} train @param {Map<string, TurnoutRow>} turnouts
   */
  stand(train, turnouts) {
    const { covers } = train;
    const last = covers[covers.length - 1];
    if (!last || !last.entered) return null;
    /** @type {Leg[]} */
    const legs = [];
    for (let i = 0; i < covers.length - 1; i += 1) {
      const enter = covers[i].entered;
      const next = covers[i + 1].entered;
      const leave = (next && (this.meets.get(next) ?? []).find((end) => sectionOf(end) === covers[i].section)) || null;
      const from = enter ?? this.#otherEnd(covers[i].section, leave);
      const leg = from && this.leg(from, leave, turnouts);
      if (leg) legs.push(leg);
    }
    const ahead = train.ahead[0] && sectionOf(train.ahead[0].enter) === last.section ? train.ahead : [];
    const noseLeg = this.leg(last.entered, ahead[0]?.enter === last.entered ? ahead[0].leave : null, turnouts);
    if (!noseLeg) return null;
    const noseIn = legs.length;
    legs.push(noseLeg);
    const covered = legs.length;
    for (const passage of ahead.slice(1)) {
      const leg = this.leg(passage.enter, passage.leave);
      if (leg) legs.push(leg);
    }
    const before = legs.slice(0, noseIn).reduce((sum, leg) => sum + leg.mm, 0);
    const known = train.nose !== null && noseLeg.measured;
    const least = before + (known && train.nose ? Math.max(0, train.nose.least) : noseLeg.mm * 0.75);
    const most = before + (known && train.nose ? Math.max(0, train.nose.most) : noseLeg.mm * 0.95);
    const coveredMm = legs.slice(0, covered).reduce((sum, leg) => sum + leg.mm, 0);
    const nose = Math.min((least + most) / 2, coveredMm);
    const long = known ? (this.trainLength.get(train.name) ?? null) : null;
    const tail = long === null ? 0 : Math.max(0, nose - long);
    return { legs, covered, tail, nose, most: Math.min(most, coveredMm), measured: known, end: this.#end(train, legs) };
  }

  /** @param {TrainRow} train @param {Leg[]} legs */
  #end(train, legs) {
    const all = legs.reduce((sum, leg) => sum + leg.mm, 0);
    const last = legs[legs.length - 1];
    const short = train.stop && last ? (this.shortOf.get(train.stop) ?? 0) : 0;
    return Math.max(0, all - short);
  }

  /** @type {Map<string, number>} */ shortOf = new Map();

  /** @param {string} section @param {string | null} leave */
  #otherEnd(section, leave) {
    const way = (this.ways.get(section) ?? []).find((way) => leave && way.ends.includes(leave));
    return way ? way.ends[way.ends[0] === leave ? 1 : 0] : null;
  }

  /**
   * The signal that a train comes to next, and how far that is in millimetres.
   * @param {TrainRow} train @param {Map<string, TurnoutRow>} turnouts
   */
  nextSignal(train, turnouts) {
    const stand = this.stand(train, turnouts);
    if (!stand) return null;
    let at = 0;
    let measured = stand.measured;
    for (const [index, leg] of stand.legs.entries()) {
      at += leg.mm;
      measured &&= leg.measured;
      const signal = this.signalAt.get(leg.leave);
      if (index >= stand.covered - 1 && signal) {
        return { signal, mm: measured ? Math.max(0, Math.round(at - stand.nose)) : null };
      }
    }
    return null;
  }
}

/**
 * Where along the drawn line of some legs a number of millimetres comes to.
 * @param {Leg[]} legs @param {number} mm
 */
export function drawnAt(legs, mm) {
  let left = mm;
  let along = 0;
  for (const leg of legs) {
    if (left <= leg.mm) return along + (leg.long * left) / (leg.mm || 1);
    left -= leg.mm;
    along += leg.long;
  }
  return along;
}

/**
 * The line of legs in a row; where two of them lie apart, the line between their ends comes in between.
 * @param {Track} track @param {Leg[]} legs
 * @returns {{ line: Place[], legs: Leg[] }}
 */
export function joined(track, legs) {
  /** @type {Place[]} */
  const line = [];
  /** @type {Leg[]} */
  const all = [];
  for (const [index, leg] of legs.entries()) {
    const before = legs[index - 1];
    const link = before && track.links.get([before.leave, leg.enter].sort().join("|"));
    if (link) {
      const bow = link.ends[0] === before.leave ? link.line : [...link.line].reverse();
      line.push(...bow.slice(1));
      all.push({ section: "", enter: before.leave, leave: leg.enter, line: bow, long: lengthOf(bow), mm: 0, measured: true });
    }
    line.push(...(line.length ? leg.line.slice(1) : leg.line));
    all.push(leg);
  }
  return { line, legs: all };
}
