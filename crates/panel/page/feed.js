// What is known now, as it comes over the stream. Nothing here is shown as live when nothing was heard for a second and a half.

/** @import { Message, SectionRow, TrainRow, SignalRow, TurnoutRow, AccessoryRow, DoubtRow, RouteRow, DarkRow, SuspectRow, QuestionRow, LineRow, Plan, PlanSection, PlanSignal, Diagram, DrawnSection, Head } from "./types" */

/** News come at least twice a second; after so many milliseconds of silence what is known is old. */
const SILENT = 1500;
/** So many of the last lines are kept. */
const LINES = 300;

/** Everything that is known. */
export class Known {
  /** @type {Map<string, SectionRow>} */ sections = new Map();
  /** @type {Map<string, TrainRow>} */ trains = new Map();
  /** @type {Map<string, SignalRow>} */ signals = new Map();
  /** @type {Map<string, TurnoutRow>} */ turnouts = new Map();
  /** @type {Map<string, AccessoryRow>} */ accessories = new Map();
  /** @type {DoubtRow[]} */ doubts = [];
  /** @type {RouteRow[]} */ routes = [];
  /** @type {DarkRow[]} */ dark = [];
  /** @type {string[]} */ linksDown = [];
  /** @type {SuspectRow[]} */ suspects = [];
  /** @type {QuestionRow[]} */ questions = [];
  /** @type {LineRow[]} */ lines = [];
  /** Sections in doubt, or with something that nobody knows: few, however large the layout. @type {Set<string>} */ odd = new Set();
  /** The place of each train among all of them. @type {Map<string, number>} */ order = new Map();
  /** @type {Head} */ head = { number: 0, at: 0, phase: "running", pace: null, "broken-rules": 0 };
}

/** What is looked up on a layout by name. */
export class Index {
  /** @param {Plan} plan @param {Diagram} diagram */
  constructor(plan, diagram) {
    /** @type {Map<string, PlanSection>} */ this.sections = new Map(plan.sections.map((it) => [it.name, it]));
    /** @type {Map<string, PlanSignal>} */ this.signals = new Map(plan.signals.map((it) => [it.name, it]));
    /** @type {Map<string, DrawnSection>} */ this.drawn = new Map(diagram.sections.map((it) => [it.name, it]));
  }
}

/** What changed since it was looked at last. */
export class Changes {
  /** @type {Set<string>} */ sections = new Set();
  /** @type {Set<string>} */ trains = new Set();
  /** @type {Set<string>} */ signals = new Set();
  /** @type {Set<string>} */ turnouts = new Set();
  lists = false;
  dark = false;
  lines = false;
  everything = false;
}

/** @param {string} path */
async function textOf(path) {
  const answer = await fetch(path, { cache: "no-store", signal: AbortSignal.timeout(10000) });
  if (!answer.ok) throw new Error(`${path}: ${answer.status}`);
  return answer.text();
}

/**
 * @template T
 * @param {string} path
 * @returns {Promise<T>}
 */
export async function fetched(path) {
  return JSON.parse(await textOf(path));
}

/** Follows the stream, and comes back when it is lost. */
export class Feed extends EventTarget {
  known = new Known();
  changes = new Changes();
  /** @type {Plan | null} */ plan = null;
  /** @type {Diagram | null} */ diagram = null;
  /** @type {Index | null} */ index = null;
  /** Where a train can be sent: stopping points, then sections. @type {string[]} */ places = [];
  /** Sections of which the last message said something. @type {string[]} */ latest = [];
  /** Whether what is known is live. */
  live = false;
  /** When something was heard last, in milliseconds of this page. */
  heardAt = 0;
  /** By how many seconds the wall clock was told when something was heard last. @type {Date | null} */
  heardWhen = null;
  /** @type {WebSocket | null} */ #socket = null;
  /** The line over which the picture came that news are about. @type {WebSocket | null} */ #placed = null;
  #layoutText = "";
  #lookedAt = 0;
  #waits = 250;

  start() {
    this.#connect();
    setInterval(() => this.#look(), 200);
    document.addEventListener("visibilitychange", () => this.#look());
  }

  /** Takes what changed; it is empty afterwards. */
  taken() {
    const taken = this.changes;
    this.changes = new Changes();
    return taken;
  }

  #look() {
    const now = performance.now();
    // Where this page itself was busy, what came meanwhile is still to be read.
    if (now - this.#lookedAt > 700) this.heardAt = Math.max(this.heardAt, Math.min(now - SILENT + 500, this.heardAt + (now - this.#lookedAt)));
    this.#lookedAt = now;
    if (this.live && performance.now() - this.heardAt > SILENT) {
      this.#lost();
      this.#socket?.close();
    }
  }

  #lost() {
    if (!this.live) return;
    this.live = false;
    this.dispatchEvent(new Event("live"));
  }

  #connect() {
    const url = new URL("/v1/stream", location.href);
    url.protocol = url.protocol.replace("http", "ws");
    const socket = new WebSocket(url);
    this.#socket = socket;
    let ended = false;
    let wasOpen = false;
    const again = () => {
      if (ended) return;
      ended = true;
      if (!wasOpen) void this.#isLocked();
      if (this.#socket === socket) this.#lost();
      setTimeout(() => this.#connect(), this.#waits);
      this.#waits = Math.min(this.#waits * 1.5, 2000);
    };
    // One that never opens must not be waited for.
    const patience = setTimeout(() => socket.close(), 5000);
    socket.addEventListener("open", () => { wasOpen = true; clearTimeout(patience); });
    socket.addEventListener("close", again);
    socket.addEventListener("error", () => { socket.close(); again(); });
    socket.addEventListener("message", (event) => {
      if (this.#socket === socket && !ended) this.#hear(JSON.parse(event.data), socket);
    });
  }

  /** @param {Message} message @param {WebSocket} socket */
  async #hear(message, socket) {
    this.heardAt = performance.now();
    this.heardWhen = new Date();
    this.#take(message);
    if (message.kind === "picture") {
      try {
        await this.#learnLayout();
      } catch {
        socket.close();
        return;
      }
      if (this.#socket !== socket) return;
      this.#waits = 250;
      this.#placed = socket;
    }
    if (!this.live && this.#placed === socket && performance.now() - this.heardAt < SILENT) {
      this.live = true;
      this.dispatchEvent(new Event("live"));
    }
    this.dispatchEvent(new Event("news"));
  }

  /** @param {Message} message */
  #take(message) {
    const { known, changes } = this;
    const { number, at, phase, pace } = message;
    known.head = { number, at, phase, pace, "broken-rules": message["broken-rules"] };
    if (message.kind === "picture") this.#keepOnly(message);
    this.latest = put(known.sections, message.sections, changes.sections);
    put(known.trains, message.trains, changes.trains);
    put(known.signals, message.signals, changes.signals);
    put(known.turnouts, message.turnouts, changes.turnouts);
    for (const name of this.latest) {
      const is = known.sections.get(name)?.is;
      if (is === "doubt" || is === "unexplained") known.odd.add(name); else known.odd.delete(name);
    }
    for (const { name, ...moved } of (message.kind === "news" && message.moves) || []) {
      const row = known.trains.get(name);
      if (row) { known.trains.set(name, { ...row, ...moved }); changes.trains.add(name); }
    }
    for (const name of known.trains.keys()) if (!known.order.has(name)) known.order.set(name, known.order.size);
    for (const row of message.accessories ?? []) { known.accessories.set(row.name, row); changes.lists = true; }
    if (message.doubts) { known.doubts = message.doubts; changes.lists = true; }
    if (message.routes) { known.routes = message.routes; changes.lists = true; }
    if (message.dark) { known.dark = message.dark; changes.lists = changes.dark = true; }
    if (message["links-down"]) { known.linksDown = message["links-down"]; changes.lists = changes.dark = true; }
    if (message.suspects) { known.suspects = message.suspects; changes.lists = true; }
    if (message.questions) { known.questions = message.questions; changes.lists = true; }
    if (message.lines) {
      known.lines.push(...message.lines);
      known.lines.splice(0, known.lines.length - LINES);
      changes.lines = true;
    }
  }

  /** A picture is all there is: what it does not name is gone. @param {import("./types").Picture} picture */
  #keepOnly(picture) {
    const { known, changes } = this;
    known.lines = [];
    const keep = (/** @type {Map<string, unknown>} */ rows, /** @type {{ name: string }[]} */ there) => {
      const names = new Set(there.map((row) => row.name));
      for (const name of rows.keys()) if (!names.has(name)) rows.delete(name);
    };
    keep(known.sections, picture.sections ?? []);
    keep(known.signals, picture.signals ?? []);
    keep(known.turnouts, picture.turnouts ?? []);
    keep(known.accessories, picture.accessories ?? []);
    const names = (picture.trains ?? []).map((row) => row.name);
    if (names.join("|") !== [...known.trains.keys()].join("|")) {
      for (const name of known.trains.keys()) changes.trains.add(name);
      known.trains.clear();
      known.order = new Map(names.map((name, place) => [name, place]));
    }
    for (const name of known.odd) if (!known.sections.has(name)) known.odd.delete(name);
  }

  /** Whether the door is shut to this device, rather than nobody there. */
  async #isLocked() {
    const answer = await fetch("/v1/diagram", { cache: "no-store", signal: AbortSignal.timeout(5000) }).catch(() => null);
    if (answer?.status === 401) this.dispatchEvent(new Event("locked"));
  }

  async #learnLayout() {
    const [plan, diagram] = await Promise.all([textOf("/v1/layout"), textOf("/v1/diagram")]);
    if (plan + diagram === this.#layoutText) return;
    this.#layoutText = plan + diagram;
    this.plan = /** @type {Plan} */ (JSON.parse(plan));
    this.diagram = /** @type {Diagram} */ (JSON.parse(diagram));
    this.index = new Index(this.plan, this.diagram);
    this.places = [...this.plan.stops, ...this.plan.sections].map((it) => it.name);
    this.dispatchEvent(new Event("layout"));
  }
}

/**
 * Puts rows in the place of those of the same name, and notes which are other than they were.
 * @template {{ name: string }} T
 * @param {Map<string, T>} rows @param {T[] | undefined} news @param {Set<string>} changed
 * @returns {string[]} the names of those that are other
 */
function put(rows, news, changed) {
  /** @type {string[]} */
  const others = [];
  for (const row of news ?? []) {
    const before = rows.get(row.name);
    if (before && JSON.stringify(before) === JSON.stringify(row)) continue;
    rows.set(row.name, row);
    changed.add(row.name);
    others.push(row.name);
  }
  return others;
}
