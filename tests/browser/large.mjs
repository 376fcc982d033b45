// How the page fares with a layout of some 10,000 sections on which 500 trains run, measured in Chromium:
//   node tests/browser/large.mjs        with the variables that page.mjs wants
// It makes lines of passing loops, has a train run to and fro between each four and the next, and looks at one line as the page
// opens, at all trains as cards, at the line from far away and on the move; then at twenty lines above each other on a wall, where
// all trains are in sight at once; and last at a page that stands still for some seconds. It prints figures, and
// asserts nothing of them.

import { rmSync } from "node:fs";
import { connect } from "node:net";
import { browser, daemon, open, until } from "./helpers.mjs";
import { passingLoops } from "./loops.mjs";

const [LOOPS, TRAINS, SECONDS] = [2000, 500, 20];

/** What came over the stream since the page was opened, by kind, and how long frames took: noted within the page. */
function note() {
  const noted = { picture: 0, news: 0, bytes: 0, largest: 0, gaps: [], script: [] };
  const parse = JSON.parse;
  JSON.parse = (text) => {
    const read = parse(text);
    if (read?.kind) {
      noted[read.kind] += 1;
      noted.bytes += text.length;
      noted.largest = Math.max(noted.largest, text.length);
    }
    return read;
  };
  let before = performance.now();
  const look = (now) => {
    noted.gaps.push(now - before);
    before = now;
    if (window.lineclearFrame) { noted.script.push(window.lineclearFrame); window.lineclearFrame = 0; }
    requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
  window.noted = noted;
}

/** How long frames take over some time, from one to the next; how much of it is the page's own script, and what else its thread does. */
async function measure(page, words) {
  const chrome = await page.context().newCDPSession(page);
  await chrome.send("Performance.enable", { timeDomain: "threadTicks" });
  const busy = async () => Object.fromEntries((await chrome.send("Performance.getMetrics")).metrics.map((it) => [it.name, it.value]));
  await page.evaluate(() => Object.assign(window.noted, { picture: 0, news: 0, bytes: 0, largest: 0, gaps: [], script: [] }));
  const before = await busy();
  await page.waitForTimeout(SECONDS * 1000);
  const after = await busy();
  const { gaps, script, ...told } = await page.evaluate(() => window.noted);
  const at = (values, share) => {
    const sorted = [...values].sort((a, b) => a - b);
    return (sorted[Math.min(sorted.length - 1, Math.floor(sorted.length * share))] ?? 0).toFixed(0);
  };
  const each = (name) => (((after[name] - before[name]) * 1000) / Math.max(1, script.length)).toFixed(1);
  const there = await page.evaluate(() => [document.querySelectorAll("*").length, document.querySelectorAll("#sheet [data-train]").length]);
  console.log(`${words}: ${gaps.length} frames in ${SECONDS} s, ${script.length} with news; from one to the next ${at(gaps, 0.5)} ms in the middle, ${at(gaps, 0.95)} at the 95th percentile, ${at(gaps, 0.99)} at the 99th, ${at(gaps, 1)} at the longest`);
  console.log(`  of one with news: the page's script ${at(script, 0.5)} ms in the middle, ${at(script, 1)} at the longest; all work of its thread ${each("TaskDuration")} ms of processor time, of which ${each("RecalcStyleDuration")} to find styles and ${each("LayoutDuration")} to lay out`);
  console.log(`  ${there[0]} elements, ${there[1]} trains drawn; ${told.news} news and ${told.picture} pictures, ${(told.bytes / 1024 / Math.max(1, told.news + told.picture)).toFixed(0)} KiB each, the largest ${(told.largest / 1024).toFixed(0)}`);
}

/** A page that looks on, with what is noted within it. */
async function looking(chrome, railway, size) {
  const { page, close } = await open(chrome, railway.door, { ...size, patience: 60000 });
  await page.evaluate(note);
  await page.waitForTimeout(3000);
  return { page, close };
}

/** Somebody who follows the stream, and does nothing with what is heard: a browser would take the processor from the daemon. */
function follower(door) {
  const { hostname, port } = new URL(door);
  const line = connect(Number(port), hostname);
  const one = { line, heard: 0 };
  line.write(`GET /v1/stream HTTP/1.1\r\nHost: ${hostname}:${port}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: ${btoa("somebody follows").slice(0, 22)}==\r\n\r\n`);
  line.on("data", (data) => { one.heard += data.length; });
  return one;
}

/** What those who look on cost the daemon: its processor time by thread while nobody does, and while ten follow, in turn. */
async function costs(railway) {
  const threads = async () => {
    const before = railway.processorTime();
    await new Promise((resolve) => setTimeout(resolve, 8000));
    const after = railway.processorTime();
    return [...after].map(([name, took]) => `${name} ${((took - (before.get(name) ?? 0)) / 8).toFixed(0)}`).join(", ");
  };
  for (const turn of [1, 2, 3]) {
    console.log(`turn ${turn}, nobody looks on: ${await threads()} ms of processor time a second`);
    const followers = Array.from({ length: 10 }, () => follower(railway.door));
    await new Promise((resolve) => setTimeout(resolve, 3000));
    for (const one of followers) one.heard = 0;
    const took = await threads();
    const heard = followers.reduce((sum, one) => sum + one.heard, 0) / 8 / 1024;
    console.log(`turn ${turn}, ten look on: ${took} ms of processor time a second; they hear ${heard.toFixed(0)} KiB a second`);
    for (const one of followers) one.line.destroy();
  }
}

async function started(folder) {
  const railway = await daemon([], folder);
  await until("the trains run", async () => (await railway.picture()).trains.filter((train) => train.step > 0).length > TRAINS * 0.8, 120000);
  const picture = await railway.picture();
  console.log(`${picture.sections.length} sections, ${picture.trains.length} trains, ${picture.trains.filter((train) => train.step > 0).length} of which run`);
  return railway;
}

async function oneLine(chrome) {
  const folder = passingLoops({ loops: LOOPS, trains: TRAINS, lines: 1 });
  const railway = await started(folder);
  await costs(railway);
  const { page, close } = await looking(chrome, railway);
  await measure(page, "the line as the page opens it");
  await page.evaluate(() => window.lineclear.sheet.setZoom(0.05));
  await measure(page, "the line from far away");
  await page.evaluate(() => { window.lineclear.sheet.fit(); setInterval(() => { document.querySelector("#sheet").scrollLeft += 25; }, 16); });
  await measure(page, "on the move along the line");
  await close();
  const phone = await looking(chrome, railway, { width: 390, height: 844, view: "trains" });
  await measure(phone.page, "all trains as cards, on a phone");
  await phone.page.evaluate(() => { const end = performance.now() + 5000; while (performance.now() < end) { /* it stands still */ } });
  await phone.page.waitForTimeout(1000);
  const told = await phone.page.evaluate(() => ({ ...window.noted, gaps: [], script: [] }));
  console.log(`a page that stood still for 5 s: ${told.picture} pictures since, the largest message ${(told.largest / 1024).toFixed(0)} KiB`);
  await phone.close();
  await railway.kill();
  rmSync(folder, { recursive: true });
}

async function manyLines(chrome) {
  const folder = passingLoops({ loops: LOOPS, trains: TRAINS, lines: 20 });
  const railway = await started(folder);
  const { page, close } = await looking(chrome, railway, { width: 2560, height: 1440 });
  await measure(page, "twenty lines on a wall, as the page opens them");
  await page.evaluate(() => window.lineclear.sheet.whole());
  await measure(page, "twenty lines on a wall, all trains in sight");
  await close();
  await railway.kill();
  rmSync(folder, { recursive: true });
}

const chrome = await browser();
try {
  await oneLine(chrome);
  await manyLines(chrome);
} finally {
  await chrome.close();
}
