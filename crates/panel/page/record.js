// What was: from the daemon's record where it keeps one, else as far as this page has seen it.

/** @import { Feed } from "./feed.js" */

/** Who was in a section, from when to when, in seconds of layout time. @typedef {{ section: string, train: string, said: string, since: number, until: number | null }} Stand */
/** @typedef {{ columns: string[], rows: (string | number | null)[][], more: boolean, kept: boolean }} Table */

/** So many are kept of what this page has seen. */
const MOST = 20000;

/** @param {string} topic @param {Record<string, string>} [part] @returns {Promise<Record<string, any>[] | null>} rows by column; nothing where no record is kept */
export async function past(topic, part = {}) {
  const answer = await fetch(`/v1/past/${topic}?${new URLSearchParams(part)}`, { cache: "no-store", signal: AbortSignal.timeout(15000) });
  if (!answer.ok) throw new Error((await answer.json().catch(() => ({}))).reason ?? String(answer.status));
  const table = /** @type {Table} */ (await answer.json());
  if (!table.kept) return null;
  return table.rows.map((row) => Object.fromEntries(table.columns.map((column, index) => [column, row[index]])));
}

export class Seen {
  /** @type {Stand[]} */ seen = [];
  /** @type {Map<string, Stand[]>} */ #open = new Map();

  /** @param {Feed} feed */
  constructor(feed) {
    feed.addEventListener("news", () => this.#look(feed, feed.latest));
    feed.addEventListener("live", () => { if (feed.live) this.#look(feed, feed.known.sections.keys()); else this.#end(feed.known.head.at); });
  }

  /** @param {number} at */
  #end(at) {
    for (const stands of this.#open.values()) for (const stand of stands) stand.until = at;
    this.#open.clear();
  }

  /** @param {Feed} feed @param {Iterable<string>} names */
  #look(feed, names) {
    const { at } = feed.known.head;
    if (this.seen.length && at < this.seen[this.seen.length - 1].since - 1) { this.seen = []; this.#open.clear(); }
    for (const name of names) {
      const row = feed.known.sections.get(name);
      if (!row) continue;
      const open = this.#open.get(name) ?? [];
      const said = `${row.is} ${row.trains.join("|")}`;
      if (open.length && open[0].said === said) continue;
      for (const stand of open) stand.until = at;
      const now = row.is === "sure" || row.is === "doubt" ? row.trains.map((train) => ({ section: name, train, said, since: at, until: null })) : [];
      this.seen.push(...now);
      this.#open.set(name, now);
    }
    if (this.seen.length > MOST) this.seen.splice(0, this.seen.length - MOST);
  }
}
