// How long the page takes for a frame of a layout of some 10,000 sections on which 500 trains run, measured in Chromium:
//   node tests/browser/large.mjs        with the variables that page.mjs wants
// It makes a line of passing loops, has a train run to and fro between each four and the next, and looks at the whole line, then at a
// part of it.

import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { browser, daemon, open, until } from "./helpers.mjs";

const [LOOPS, TRAINS, SECONDS] = [2000, 500, 20];

/** A line of passing loops, five sections each. */
function layout() {
  const folder = mkdtempSync(join(tmpdir(), "lineclear-large-"));
  const track = ["[layout]", 'name = "Long line"', 'scale = "H0"'];
  const joint = (one, other) => track.push("[[joint]]", `ends = ["${one}", "${other}"]`);
  for (let number = 0; number < LOOPS; number += 1) {
    track.push("[[section]]", `name = "line-${number}"`, "length = 1500");
    for (const side of ["west", "east"]) {
      track.push("[[turnout]]", `name = "${side[0]}${number}"`, "reported = true", "[[section]]", `name = "${side}-${number}"`,
        `ways = [{ from = "toe", to = "t0", length = 250, needs = { ${side[0]}${number} = "straight" } }, { from = "toe", to = "t1", length = 255, needs = { ${side[0]}${number} = "diverging" } }]`);
    }
    for (const line of [0, 1]) {
      track.push("[[section]]", `name = "track-${number}-${line}"`, "length = 1200");
      joint(`west-${number}.t${line}`, `track-${number}-${line}.a`);
      joint(`track-${number}-${line}.b`, `east-${number}.t${line}`);
      for (const end of ["a", "b"]) track.push("[[signal]]", `name = "${end}${number}-${line}"`, `at = "track-${number}-${line}.${end}"`);
    }
    for (const end of ["a", "b"]) track.push("[[stopping-point]]", `at = "track-${number}-0.${end}"`, "short-of-end = 80");
    joint(`line-${number}.b`, `west-${number}.toe`);
    if (number > 0) joint(`east-${number - 1}.toe`, `line-${number}.a`);
  }
  track.push("[[buffer-stop]]", `at = ["line-0.a", "east-${LOOPS - 1}.toe"]`);
  const every = Math.floor(LOOPS / TRAINS);
  const trains = Array.from({ length: TRAINS }, (_, number) => `[[train]]\nname = "T${number}"\nvehicles = [{ name = "railcar", length = 250, detectable = true }]\naddress = ${number + 1000}\ntop-speed = "80 km/h"\nstands = { on = ["track-${number * every}-0"], nose = "track-${number * every}-0.b" }\n`);
  // A script asks for so much at once at most.
  const script = (/** @type {number} */ first) => `for number = ${first}, ${first + 49} do
  task("shuttle " .. number, function()
    local home = number * ${every}
    while true do
      send("T" .. number, "track-" .. (home + 1) .. "-0.b")
      send("T" .. number, "track-" .. home .. "-0.a")
    end
  end)
end
`;
  mkdirSync(join(folder, "scripts"));
  writeFileSync(join(folder, "layout.toml"), track.join("\n"));
  writeFileSync(join(folder, "trains.toml"), trains.join("\n"));
  for (let first = 0; first < TRAINS; first += 50) writeFileSync(join(folder, "scripts", `from-${first}.lua`), script(first));
  return folder;
}

/** How long frames take over some time: what the page's own script takes for each, and all that the page's thread does. */
async function measure(page, words) {
  const chrome = await page.context().newCDPSession(page);
  await chrome.send("Performance.enable");
  const busy = async () => Object.fromEntries((await chrome.send("Performance.getMetrics")).metrics.map((it) => [it.name, it.value]));
  const before = await busy();
  const shown = await page.evaluate((seconds) => new Promise((resolve) => {
    const [frames, began] = [[], performance.now()];
    let [last, gap, before] = [0, 0, began];
    const look = (now) => {
      if (window.lineclearFrame !== last) { last = window.lineclearFrame; frames.push(last); }
      gap = Math.max(gap, now - before);
      before = now;
      if (now - began < seconds * 1000) requestAnimationFrame(look); else resolve({ frames, gap });
    };
    requestAnimationFrame(look);
  }), SECONDS);
  const after = await busy();
  const sorted = shown.frames.sort((a, b) => a - b);
  const at = (share) => sorted[Math.min(sorted.length - 1, Math.floor(sorted.length * share))].toFixed(1);
  const took = (name) => (((after[name] - before[name]) * 1000) / sorted.length).toFixed(0);
  console.log(`${words}: ${sorted.length} frames with news in ${SECONDS} s; the page's script ${at(0.5)} ms in the middle, ${at(0.99)} ms at the 99th percentile; all work of its thread ${took("TaskDuration")} ms a frame, of which ${took("RecalcStyleDuration")} to find styles and ${took("LayoutDuration")} to lay out; the longest time between two frames ${shown.gap.toFixed(0)} ms`);
}

const folder = layout();
const railway = await daemon([], folder);
const chrome = await browser();
try {
  await until("the trains run", async () => (await railway.picture()).trains.filter((train) => train.step > 0).length > TRAINS * 0.8, 120000);
  const picture = await railway.picture();
  console.log(`${picture.sections.length} sections, ${picture.trains.length} trains, ${picture.trains.filter((train) => train.step > 0).length} of which run`);
  const { page } = await open(chrome, railway.door);
  await page.waitForTimeout(3000);
  await measure(page, "the line at its first size");
  await page.evaluate(() => document.querySelector("#whole").click());
  await page.waitForTimeout(2000);
  await measure(page, "the whole line");
} finally {
  await chrome.close();
  await railway.kill();
  rmSync(folder, { recursive: true });
}
