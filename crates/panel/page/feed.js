// What is known now, as it comes over the stream. Nothing here is shown as live when nothing was heard for a second and a half.

/** @import { Message, SectionRow, TrainRow, SignalRow, TurnoutRow, AccessoryRow, DoubtRow, RouteRow, DarkRow, SuspectRow, LineRow, Plan, Diagram, Head } from "./types" */

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
  /** @type {LineRow[]} */ lines = [];
  /** @type {Head} */ head = { number: 0, at: 0, phase: "running", pace: null, "broken-rules": 0 };
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

/**
 * @template T
 * @param {string} path
 * @returns {Promise<T>}
 */
export async function fetched(path) {
  const answer = await fetch(path, { cache: "no-store", signal: AbortSignal.timeout(10000) });
  if (!answer.ok) throw new Error(`${path}: ${answer.status}`);
  return answer.json();
}

/** Follows the stream, and comes back when it is lost. */
export class Feed extends EventTarget {
  known = new Known();
  changes = new Changes();
  /** @type {Plan | null} */ plan = null;
  /** @type {Diagram | null} */ diagram = null;
  /** Whether what is known is live. */
  live = false;
  /** When something was heard last, in milliseconds of this page. */
  heardAt = 0;
  /** By how many seconds the wall clock was told when something was heard last. @type {Date | null} */
  heardWhen = null;
  /** @type {WebSocket | null} */ #socket = null;
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
    if (message.kind === "picture") {
      this.known = Object.assign(new Known(), { lines: this.known.lines });
      this.changes.everything = true;
      this.#take(message);
      try {
        await this.#learnLayout();
      } catch {
        socket.close();
        return;
      }
      this.#waits = 250;
      if (!this.live && performance.now() - this.heardAt < SILENT) {
        this.live = true;
        this.dispatchEvent(new Event("live"));
      }
    } else {
      this.#take(message);
      if (!this.live && this.plan && !this.changes.everything) {
        this.live = true;
        this.dispatchEvent(new Event("live"));
      }
    }
    this.dispatchEvent(new Event("news"));
  }

  /** @param {Message} message */
  #take(message) {
    const { known, changes } = this;
    const { number, at, phase, pace } = message;
    known.head = { number, at, phase, pace, "broken-rules": message["broken-rules"] };
    for (const row of message.sections ?? []) { known.sections.set(row.name, row); changes.sections.add(row.name); }
    for (const row of message.trains ?? []) { known.trains.set(row.name, row); changes.trains.add(row.name); }
    for (const row of message.signals ?? []) { known.signals.set(row.name, row); changes.signals.add(row.name); }
    for (const row of message.turnouts ?? []) { known.turnouts.set(row.name, row); changes.turnouts.add(row.name); }
    for (const row of message.accessories ?? []) { known.accessories.set(row.name, row); changes.lists = true; }
    if (message.doubts) { known.doubts = message.doubts; changes.lists = true; }
    if (message.routes) { known.routes = message.routes; changes.lists = true; }
    if (message.dark) { known.dark = message.dark; changes.lists = changes.dark = true; }
    if (message["links-down"]) { known.linksDown = message["links-down"]; changes.lists = changes.dark = true; }
    if (message.suspects) { known.suspects = message.suspects; changes.lists = true; }
    if (message.kind === "news" && message.lines) {
      known.lines.push(...message.lines);
      known.lines.splice(0, known.lines.length - LINES);
      changes.lines = true;
    }
  }

  /** Whether the door is shut to this device, rather than nobody there. */
  async #isLocked() {
    const answer = await fetch("/v1/diagram", { cache: "no-store", signal: AbortSignal.timeout(5000) }).catch(() => null);
    if (answer?.status === 401) this.dispatchEvent(new Event("locked"));
  }

  async #learnLayout() {
    const [plan, diagram] = await Promise.all([fetched("/v1/layout"), fetched("/v1/diagram")]);
    const text = JSON.stringify(diagram) + JSON.stringify(plan);
    if (text === this.#layoutText) return;
    this.#layoutText = text;
    this.plan = /** @type {Plan} */ (plan);
    this.diagram = /** @type {Diagram} */ (diagram);
    this.dispatchEvent(new Event("layout"));
  }
}
