// The page: puts its parts together, and shows what changed once a frame.

import { Feed } from "./feed.js";
import { Sheet } from "./sheet.js";
import { Asks } from "./asks.js";
import { stopEverything } from "./stop.js";
import { Trains } from "./trains.js";
import { Switches } from "./switches.js";
import { Queue, waiting } from "./queue.js";
import { Detail } from "./detail.js";
import { Seen } from "./record.js";
import { Times } from "./times.js";
import { Past } from "./history.js";
import { Cab } from "./cab.js";
import { TrainView } from "./train.js";
import { pairing } from "./pair.js";
import { legend } from "./legend.js";
import { Lines } from "./lines.js";
import { html, byId, say } from "./draw.js";
import { clock, phase } from "./words.js";

const feed = new Feed();
const asks = new Asks(byId("asked", HTMLElement), feed);
const stop = stopEverything(feed, asks);
const detail = new Detail(byId("detail", HTMLElement), feed, asks);
const sheet = new Sheet(byId("sheet", HTMLElement), feed, (chosen) => {
  if (chosen.kind === "train" && document.body.classList.contains("wide")) trains.choose(chosen.name);
  detail.open(chosen);
});
detail.sheet = sheet;
const trains = new Trains(byId("trains", HTMLElement), feed, asks, sheet);
const switches = new Switches(byId("switches", HTMLElement), feed, asks);
const queue = new Queue(byId("open", HTMLElement), feed, asks);

const times = new Times(byId("view-times", HTMLElement), feed, sheet, new Seen(feed));

const past = new Past(byId("view-past", HTMLElement), feed);
const cab = new Cab(byId("view-cab", HTMLElement), feed, asks, sheet);
const one = new TrainView(byId("view-train", HTMLElement), feed);
const lines = new Lines(byId("lines", HTMLElement));
pairing(byId("pair", HTMLElement), feed);

const VIEWS = ["line", "trains", "open", "times", "past", "cab", "train"];

/** Views of one train belong to that of all. */
const UNDER = new Map([["cab", "trains"], ["train", "trains"]]);

function route() {
  const [view = "line", of = ""] = location.hash.slice(1).split("/").map(decoded);
  const shown = VIEWS.includes(view) ? view : "line";
  document.body.dataset.view = shown;
  for (const name of VIEWS) {
    const wide = document.body.classList.contains("wide");
    const beside = wide && ["trains", "open"].includes(name) && ["line", "trains", "open"].includes(shown);
    byId(`view-${name}`, HTMLElement).hidden = !(name === shown || beside || (wide && name === "line" && beside2(shown)));
  }
  for (const link of document.querySelectorAll("nav a")) {
    if (link.getAttribute("href") === `#${UNDER.get(shown) ?? shown}`) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  soon();
  if (shown === "times" && feed.plan) void times.open();
  if (shown === "past" && feed.plan) void past.open();
  if (shown === "cab" && feed.plan) cab.open(of); else if (shown !== "cab") cab.close();
  if (shown === "train" && feed.plan) one.open(of); else if (shown !== "train") one.close();
}
/** What somebody typed behind the address may be no text at all. @param {string} part */
function decoded(part) {
  try { return decodeURIComponent(part); } catch { return part; }
}
const beside2 = (/** @type {string} */ shown) => ["trains", "open"].includes(shown);

function measure() {
  document.body.classList.toggle("wide", innerWidth >= 1000);
  route();
}

let isAsked = false;
function soon() {
  if (isAsked) return;
  isAsked = true;
  requestAnimationFrame(() => {
    isAsked = false;
    show();
  });
}

function show() {
  const changes = feed.taken();
  if (!feed.diagram || !feed.plan) { feed.changes = changes; return; }
  const began = performance.now();
  sheet.show(changes);
  trains.show(changes);
  queue.show();
  if (changes.everything || changes.lists) switches.show();
  detail.show();
  asks.look();
  stop.show();
  times.show();
  cab.show();
  one.show();
  const { head } = feed.known;
  say(byId("clock", HTMLElement), clock(head.at));
  say(byId("pace", HTMLElement), `${head.pace === null ? "as fast as it can" : head.pace === 1 ? "" : `${head.pace}\u00d7 life`}${head.phase === "running" ? "" : ` \u00b7 ${phase(head)}`}`);
  const open = waiting(feed);
  const count = byId("open-count", HTMLElement);
  count.hidden = open === 0;
  say(count, String(open));
  lines.show(feed.known.lines);
  /** @type {any} */ (window).lineclearFrame = performance.now() - began;
}

function showLive() {
  const old = byId("old", HTMLElement);
  document.body.classList.toggle("old", !feed.live);
  byId("link", HTMLElement).textContent = feed.live ? "live" : feed.heardWhen ? "no connection" : "connecting \u2026";
  old.hidden = feed.live || !feed.heardWhen;
  if (!feed.live && feed.heardWhen) {
    old.replaceChildren(
      html("strong", {}, "No connection."),
      ` What you see is from ${feed.heardWhen.toLocaleTimeString()} and may be wrong by now. Trains may be moving. Looking for the daemon \u2026`);
  }
  stop.show();
}

feed.addEventListener("news", soon);
feed.addEventListener("live", showLive);
feed.addEventListener("layout", () => {
  const { plan } = feed;
  if (!plan) return;
  byId("layout", HTMLElement).textContent = plan.name;
  document.title = `${plan.name} \u00b7 Lineclear`;
  sheet.build();
  times.build();
  route();
});

byId("larger", HTMLElement).addEventListener("click", () => sheet.setZoom(sheet.zoom * 1.25));
byId("smaller", HTMLElement).addEventListener("click", () => sheet.setZoom(sheet.zoom / 1.25));
byId("whole", HTMLElement).addEventListener("click", () => sheet.whole());
const yards = byId("yards", HTMLElement);
yards.addEventListener("click", () => {
  sheet.setTight(!sheet.tight);
  yards.setAttribute("aria-pressed", String(sheet.tight));
  yards.textContent = sheet.tight ? "yards folded" : "yards open";
});
const legendKey = byId("legend-key", HTMLElement);
legendKey.addEventListener("click", () => {
  const box = byId("legend", HTMLElement);
  if (!box.childElementCount) box.append(legend());
  box.hidden = !box.hidden;
  legendKey.setAttribute("aria-expanded", String(!box.hidden));
});
addEventListener("hashchange", () => {
  route();
  // Another view begins at its top, where the connection is to be seen.
  if (!document.body.classList.contains("wide")) scrollTo({ top: 0, behavior: "instant" });
});
addEventListener("resize", measure);
measure();
feed.start();
Object.assign(window, { lineclear: { feed, sheet } });
