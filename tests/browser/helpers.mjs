// What the tests of the page share: a daemon, a browser, waiting until something is so.

import { spawn } from "node:child_process";
import { createRequire } from "node:module";
import { createInterface } from "node:readline";
import { readFileSync, readdirSync } from "node:fs";
import { join } from "node:path";

const need = createRequire(join(process.env.LINECLEAR_NODE ?? ".", "package.json"));
const { chromium } = need("playwright-core");
/** Finds and reads a QR code in an image: a decoder that knows nothing of whoever drew it. */
export const jsqr = need("jsqr");
export const AXE = readFileSync(need.resolve("axe-core/axe.min.js"), "utf8");

const PROGRAM = process.env.LINECLEAR_PROGRAM;
const DEMO = process.env.LINECLEAR_DEMO;

/** A daemon with its pretend table, and where its door is. */
export async function daemon(args = [], layout = DEMO) {
  const process_ = spawn(PROGRAM, ["run", layout, "--plain", "--for", "3600s", ...(args.includes("--door") ? [] : ["--door", "127.0.0.1:0"]), ...args], { stdio: ["ignore", "pipe", "pipe"] });
  let complaints = "";
  const said = [];
  process_.stderr.on("data", (data) => { complaints += data; });
  const lines = createInterface({ input: process_.stdout });
  const door = await new Promise((resolve, reject) => {
    lines.on("line", (line) => {
      if (said.length < 200) said.push(line);
      const found = line.match(/the control door is at (https?:\/\/\S+)/);
      if (found) resolve(found[1]);
    });
    process_.on("exit", () => reject(new Error(`the daemon ended: ${complaints}`)));
  });
  const ended = new Promise((resolve) => process_.on("exit", resolve));
  return {
    lines: said,
    door: door.replace("0.0.0.0", "127.0.0.1"),
    async picture() { return (await fetch(`${this.door}/v1/picture`)).json(); },
    async ask(wish) {
      const answer = await fetch(`${this.door}/v1/requests`, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(wish) });
      return answer.json();
    },
    /** How much processor time its threads took so far, by name, in milliseconds. */
    processorTime() {
      const took = new Map();
      for (const thread of readdirSync(`/proc/${process_.pid}/task`)) {
        const [, name, rest] = readFileSync(`/proc/${process_.pid}/task/${thread}/stat`, "utf8").match(/\((.*)\) (.*)/s);
        const [user, system] = rest.split(" ").slice(11, 13);
        took.set(name, (took.get(name) ?? 0) + (Number(user) + Number(system)) * 10);
      }
      return took;
    },
    async kill() { process_.kill("SIGKILL"); await ended; },
  };
}

export async function browser() {
  return chromium.launch({ executablePath: process.env.LINECLEAR_CHROMIUM ?? "/usr/bin/chromium", args: ["--no-sandbox", "--disable-gpu", ...(process.env.LINECLEAR_CHROMIUM_ARGS ?? "").split(" ").filter(Boolean)] });
}

/** Opens the page, and keeps what its console complains of. */
export async function open(in_, door, { width = 1280, height = 800, dark = false, view = "line", script = true, patience = 20000, ...more } = {}) {
  const context = await in_.newContext({ viewport: { width, height }, colorScheme: dark ? "dark" : "light", javaScriptEnabled: script, ...more });
  const page = await context.newPage();
  const complaints = [];
  page.on("console", (message) => { if (["error", "warning"].includes(message.type())) complaints.push(message.text()); });
  page.on("pageerror", (error) => complaints.push(String(error)));
  await page.goto(`${door}/#${view}`);
  if (script) await page.waitForFunction(() => window.lineclear?.feed.live && document.querySelector("#sheet svg .section.sure, #sheet svg .section.free"), null, { timeout: patience });
  return { page, complaints, close: () => context.close() };
}

export function assert(is, words) {
  if (!is) throw new Error(words);
}

export function equal(one, other, words) {
  const [a, b] = [JSON.stringify(one), JSON.stringify(other)];
  if (a !== b) throw new Error(`${words}: ${a} is not ${b}`);
}

/** Waits until something is so. */
export async function until(words, is, patience = 20000) {
  const began = Date.now();
  for (;;) {
    const found = await is();
    if (found) return found;
    if (Date.now() - began > patience) throw new Error(`it never was so that ${words}`);
    await new Promise((resolve) => setTimeout(resolve, 40));
  }
}
