// The page in a real browser, against a daemon that runs the demo. Each check is a sentence; all are run, and told.

import { execFileSync } from "node:child_process";
import { cpSync, mkdtempSync, readFileSync, writeFileSync } from "node:fs";
import { networkInterfaces, tmpdir } from "node:os";
import { join } from "node:path";
import { assert, AXE, browser, daemon, equal, jsqr, open, until } from "./helpers.mjs";
import { passingLoops } from "./loops.mjs";

const checks = [];
const check = (words, run) => checks.push({ words, run });

const stateOf = (page) => page.evaluate(() => Object.fromEntries([...document.querySelectorAll("#sheet [data-section]")].map((group) => [group.dataset.section, group.getAttribute("class")])));

const lampsOf = (page) => page.evaluate(() => Object.fromEntries([...document.querySelectorAll("[data-signal]")].map((it) => [it.dataset.signal, it.querySelector("title")?.textContent ?? ""])));
const ribbonsOf = (page) => page.evaluate(() => [...document.querySelectorAll("[data-train]")].map((it) => it.dataset.train).sort());

/** What the page shows otherwise than the daemon said both before and after; and how much was compared. Notes in `was` what each
 * section was last, and in `changed` those that were something else before. */
async function differences(railway, page, was, changed) {
  const before = await railway.picture();
  const [shown, ribbons, lamps] = [await stateOf(page), await ribbonsOf(page), await lampsOf(page)];
  const after = await railway.picture();
  const unchanged = (rows, row) => JSON.stringify(rows.find((it) => it.name === row.name)) === JSON.stringify(row);
  const found = [];
  let compared = 0;
  for (const row of after.sections) {
    if ((was.get(row.name) ?? row.is) !== row.is) changed.add(row.name);
    was.set(row.name, row.is);
    if (!unchanged(before.sections, row)) continue;
    compared += 1;
    if (!shown[row.name].split(" ").includes(row.is)) found.push(`${row.name} is ${row.is}, and shown as ${shown[row.name]}`);
  }
  for (const row of after.signals) {
    if (unchanged(before.signals, row) && !lamps[row.name].startsWith(`${row.name}: ${row.aspect}`)) found.push(`${row.name} shows ${row.aspect}, and is drawn as ${lamps[row.name]}`);
  }
  const onLine = (picture) => JSON.stringify(picture.trains.filter((train) => train.covers.length).map((train) => train.name).sort());
  if (onLine(before) === onLine(after) && JSON.stringify(ribbons) !== onLine(after)) found.push(`on the line are ${onLine(after)}, and drawn are ${ribbons}`);
  return { found, compared };
}

check("what the line shows of trains is what the daemon says of them, over time", async ({ chrome }) => {
  const railway = await daemon(["--pace", "6"]);
  const { page, complaints, close } = await open(chrome, railway.door);
  let compared = 0;
  const [was, changed] = [new Map(), new Set()];
  for (let round = 0; round < 200 && (round < 12 || changed.size < 2); round += 1) {
    await page.waitForTimeout(170);
    // The page may be behind by what a message takes; what is still otherwise when looked at again and again is wrong.
    let said = await differences(railway, page, was, changed);
    for (let again = 0; said.found.length && again < 20; again += 1) {
      await page.waitForTimeout(100);
      const next = await differences(railway, page, was, changed);
      said = { compared: next.compared, found: said.found.filter((words) => next.found.includes(words)) };
    }
    equal(said.found, [], "what is shown otherwise");
    compared += said.compared;
  }
  assert(compared > 200 && changed.size >= 2, `compared ${compared} sections, ${changed.size} of which changed`);
  equal(complaints, [], "the console");
  await close();
  await railway.kill();
});

check("every train stops by the button, by the key, and by a bare form, and it is shown", async ({ chrome }) => {
  const railway = await daemon(["--pace", "5"]);
  const { page, complaints, close } = await open(chrome, railway.door);
  const halted = async () => (await railway.picture()).phase === "halted";
  await page.click("#stop button[type=submit]");
  await until("the button stopped all trains", halted);
  await page.waitForFunction(() => document.querySelector("#stop-said").textContent.includes("All 4 trains stand"));
  await page.click("#onward");
  await until("trains run again", async () => (await railway.picture()).phase === "running");
  await page.waitForFunction(() => document.querySelector("#onward").hidden);
  await page.focus("#sheet");
  await page.keyboard.press("s");
  await until("the key stopped all trains", halted);
  await railway.ask({ ask: "resume-all" });
  await close();
  const bare = await open(chrome, railway.door, { script: false });
  await until("trains run", async () => (await railway.picture()).phase === "running");
  await bare.page.click("#stop button[type=submit]");
  await until("the form stopped all trains", halted);
  assert((await bare.page.textContent("h1")).includes("Every train was told to stop"), "the form says so");
  equal([...complaints, ...bare.complaints], [], "the console");
  await bare.close();
  await railway.kill();
});

check("a train that nobody knows any more is named again with one tap", async ({ chrome }) => {
  const railway = await daemon();
  equal((await railway.ask({ ask: "lift", train: "Dunlin" })).fate, "accepted", "lifting Dunlin");
  const { page, complaints, close } = await open(chrome, railway.door, { view: "open" });
  await page.click("button:has-text('Dunlin is in yard-2')", { timeout: 30000 });
  await until("Dunlin is known", async () => (await railway.picture()).sections.some((row) => row.is === "sure" && row.trains[0] === "Dunlin"));
  await page.waitForSelector(".asked.done");
  equal(complaints, [], "the console");
  await close();
  await railway.kill();
});

/** Waits for a doubt, looks at how it is shown, and taps an answer; false where it went away by itself meanwhile. */
async function settlesDoubt(railway, page) {
  const question = page.locator(".question.doubt", { has: page.locator("button:has-text(' is in ')") }).first();
  const gone = () => null;
  // Whether there is a doubt before long is for the dice.
  if (await question.waitFor({ timeout: 30000 }).then(() => true, gone) === null) return false;
  await railway.ask({ ask: "stop-all" });
  const number = Number(await question.getAttribute("data-doubt", { timeout: 2000 }).catch(gone));
  const doubt = (await railway.picture()).doubts.find((doubt) => doubt.number === number);
  const text = await page.locator(`[data-doubt="${number}"]`).textContent({ timeout: 2000 }).catch(gone);
  if (!doubt || doubt.trains.length === 0 || text === null) return false;
  const hatched = await page.evaluate(() => document.querySelectorAll("#sheet .section.doubt, #sheet .train.unsure").length);
  const isStill = (await railway.picture()).doubts.some((doubt) => doubt.number === number);
  if (!isStill) return false;
  for (const train of doubt.trains) assert(text.includes(train), `${train} is not named: ${text}`);
  assert(hatched > 0, "the line shows no doubt");
  if (await page.locator(`[data-doubt="${number}"] button.answer`).first().click({ timeout: 2000 }).catch(() => "gone") === "gone") return false;
  // What was tapped may have been taken away under the finger, or have been settled just then.
  if (await page.waitForSelector(".asked.done", { timeout: 10000 }).catch(gone) === null) return false;
  return until("the doubt is gone", async () => !(await railway.picture()).doubts.some((doubt) => doubt.number === number), 5000).catch(() => false);
}

check("a doubt is shown with all its trains and is settled by a tap", async ({ chrome }) => {
  // With these faults a train is soon in doubt; then all stand, so that little but the tap can settle it.
  for (let seed = 1; seed <= 24; seed += 1) {
    const railway = await daemon(["--pace", "20", "--faults", "harsh", "--seed", String(seed)]);
    const { page, complaints, close } = await open(chrome, railway.door, { view: "open" });
    const isSettled = await settlesDoubt(railway, page);
    // A tap that came too late is refused, which browsers note.
    equal(complaints.filter((text) => isSettled || !text.includes("409")), [], "the console");
    await close();
    await railway.kill();
    if (isSettled) return;
  }
  throw new Error("no doubt of twenty-four runs was settled by a tap");
});

check("a request that is refused is shown with its reason, and one that is granted with how it goes on", async ({ chrome }) => {
  const railway = await daemon();
  const { page, complaints, close } = await open(chrome, railway.door, { view: "trains" });
  const card = page.locator("[data-card=Plover]");
  await card.locator("input").fill("nowhere");
  await card.locator("button:has-text('Go')").click();
  await page.waitForSelector(".asked.failed:has-text('nowhere')");
  await page.evaluate(() => fetch("/v1/requests", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ ask: "take-over", train: "Curlew" }) }));
  const curlew = page.locator("[data-card=Curlew]");
  await curlew.locator("input").fill("quay-1");
  await curlew.locator("button:has-text('Go')").click();
  const refused = page.locator(".asked.refused .reason");
  await refused.waitFor();
  assert((await refused.textContent()).length > 10, "the reason is told");
  await page.locator("[data-card=Heron] button:has-text('Hold')").click();
  await page.waitForSelector(".asked.done:has-text('hold Heron')");
  await page.waitForSelector("[data-card=Heron] button:has-text('Release')");
  equal(complaints.filter((text) => !/40[49]/.test(text)), [], "the console");
  await close();
  await railway.kill();
});

check("a lost daemon is unmistakable before long, and the page finds the next one", async ({ chrome }) => {
  const railway = await daemon();
  const { page, close } = await open(chrome, railway.door);
  await railway.kill();
  const began = Date.now();
  await page.waitForFunction(() => document.body.classList.contains("old") && !document.querySelector("#old").hidden, null, { polling: 20 });
  console.log(`measured: ${Date.now() - began} ms until a lost daemon is seen`);
  assert((await page.textContent("#old")).includes("may be wrong by now"), "what is shown is said to be old");
  const again = await daemon(["--door", railway.door.replace("http://", "")]);
  await page.waitForFunction(() => !document.body.classList.contains("old"), null, { timeout: 15000 });
  await page.waitForFunction(() => document.querySelector("#link").textContent === "live");
  await close();
  await again.kill();
});

check("what was is drawn from the record: how close trains stopped, and who was where when", async ({ chrome }) => {
  const state = mkdtempSync(join(tmpdir(), "lineclear-page-"));
  const railway = await daemon(["--pace", "40", "--state", state]);
  await until("two trains have arrived", async () => (await railway.picture()).trains.reduce((sum, train) => sum + train.trips, 0) >= 3, 60000);
  const { page, complaints, close } = await open(chrome, railway.door, { view: "times" });
  await page.waitForSelector("#view-times .run path");
  const began = await page.evaluate(() => Math.min(...[...document.querySelectorAll("#view-times .run path")].map((path) => path.getBBox().x)));
  assert(began < 400, `the train graph begins at ${began}, before this page was opened it must`);
  await page.evaluate(() => { location.hash = "past"; });
  await page.waitForSelector("#view-past figure .bar", { timeout: 20000 });
  const told = await (await fetch(`${railway.door}/v1/past/stops`)).json();
  assert(told.kept && told.rows.length >= 1, "stops are recorded");
  equal((await fetch(`${railway.door}/v1/past/weather`)).status, 400, "what nobody records");
  equal(complaints, [], "the console");
  await close();
  await railway.kill();
});

check("a train that is driven from the page stands as soon as the page is not heard of", async ({ chrome }) => {
  const railway = await daemon(["--pace", "2"]);
  const heron = async () => (await railway.picture()).trains.find((train) => train.name === "Heron");
  await railway.ask({ ask: "go", train: "Heron", to: "loop-1.b" });
  const { page, complaints, close } = await open(chrome, railway.door, { view: "cab/Heron", width: 390, height: 844 });
  await page.click("button:has-text('Take the throttle')");
  await page.waitForSelector(".throttle:not([disabled])", { timeout: 20000 });
  const set = (step) => page.evaluate((step) => { const slider = document.querySelector(".throttle"); slider.value = String(step); slider.dispatchEvent(new Event("input")); }, step);
  await set(14);
  await until("Heron runs", async () => (await heron()).step > 0, 30000);
  await set(0);
  await until("Heron stands at throttle zero", async () => (await heron()).step === 0);
  await set(12);
  await until("Heron runs again", async () => (await heron()).step > 0, 30000);
  equal(complaints, [], "the console");
  const began = Date.now();
  await close();
  await until("Heron was told to stand", async () => (await heron()).step === 0);
  console.log(`measured: ${Date.now() - began} ms until the train of a lost page is told to stand`);
  await railway.kill();
});

check("another machine sees no train before it gives a code, and may do what that code allows", async ({ chrome }) => {
  const own = Object.values(networkInterfaces()).flat().find((it) => it && it.family === "IPv4" && !it.internal)?.address;
  if (!own) { console.log("skipped: this machine has no address but its loopback"); return; }
  const railway = await daemon(["--door", "0.0.0.0:0", "--pair"]);
  const codes = await until("the codes are told", () => (railway.lines.filter((line) => line.includes("with the code")).length === 3 ? railway.lines : null));
  const code = (role) => codes.find((line) => line.includes(` to ${role} `)).match(/\d{4}-\d{4}/)[0];
  const door = `http://${own}:${new URL(railway.door).port}`;
  equal((await fetch(`${door}/v1/picture`)).status, 401, "looking in");
  equal((await fetch(`${door}/v1/stop-all`, { method: "POST" })).status, 401, "stopping");
  const context = await chrome.newContext();
  const page = await context.newPage();
  await page.goto(`${door}/`);
  await page.fill("#code", "0000-0000");
  await page.click("#pair button");
  await page.waitForFunction(() => document.querySelector("#pair [role=status]").textContent.includes("none of the codes"));
  await page.fill("#code", code("drive"));
  await page.click("#pair button");
  await page.waitForFunction(() => window.lineclear?.feed.live && document.querySelector("#pair").hidden, null, { timeout: 20000 });
  assert(!page.url().includes(code("drive")), "the code does not stay in the address");
  const status = (wish) => page.evaluate(async (wish) => (await fetch("/v1/requests", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(wish) })).status, wish);
  equal(await status({ ask: "hold", train: "Heron", reason: "tea" }), 200, "holding a train");
  equal(await status({ ask: "out-of-service", section: "yard-4" }), 403, "taking track out of service");
  equal(await page.evaluate(() => document.cookie), "", "what scripts see of the token");
  await context.close();
  await railway.kill();
});

/** Reads a picture of blocks, two rows of modules a line, as a camera would: each module some pixels wide. */
function seen(lines) {
  const size = 5;
  const [wide, high] = [lines[0].length * size, lines.length * 2 * size];
  const pixels = new Uint8ClampedArray(wide * high * 4).fill(255);
  for (let y = 0; y < high; y += 1) {
    for (let x = 0; x < wide; x += 1) {
      const [row, column] = [Math.floor(y / size), Math.floor(x / size)];
      const isDark = (row % 2 ? "\u2588\u2584" : "\u2588\u2580").includes(lines[row >> 1][column]);
      pixels.fill(isDark ? 0 : 255, (y * wide + x) * 4, (y * wide + x) * 4 + 3);
    }
  }
  return jsqr(pixels, wide, high)?.data;
}

check("a device whose camera sees the picture of a code is let in by it, and for no more than it says", async ({ chrome }) => {
  const own = Object.values(networkInterfaces()).flat().find((it) => it && it.family === "IPv4" && !it.internal)?.address;
  if (!own) { console.log("skipped: this machine has no address but its loopback"); return; }
  for (const [role, status] of [["look", 403], ["drive", 200]]) {
    const railway = await daemon(["--door", "0.0.0.0:0", "--pair", "--pair-picture", role, "--pair-host", own]);
    const at = await until("the picture is drawn", () => {
      const begin = railway.lines.findIndex((line) => line.includes("sees this picture"));
      const wide = railway.lines[begin + 1]?.length ?? Infinity;
      return begin >= 0 && railway.lines.length > begin + (wide + 1) / 2 ? begin : null;
    });
    const [said, first] = railway.lines.slice(at, at + 2);
    assert(said.includes(`is let in to ${role}`), said);
    const lines = railway.lines.slice(at + 1, at + 1 + (first.length + 1) / 2);
    assert(lines.every((line) => /^[\u2588\u2580\u2584 ]+$/.test(line) && line.length === first.length), lines.join("\n"));
    const code = railway.lines.find((line) => line.includes(` to ${role} with the code`)).match(/\d{4}-\d{4}/)[0];
    const read = seen(lines);
    equal(read, `http://${own}:${new URL(railway.door).port}/#pair/${code}`, "what a camera reads");
    const context = await chrome.newContext();
    const page = await context.newPage();
    await page.goto(read);
    await page.waitForFunction(() => window.lineclear?.feed.live && document.querySelector("#pair").hidden, null, { timeout: 20000 });
    assert(!page.url().includes(code), "the code does not stay in the address");
    equal(await page.evaluate(async () => (await fetch("/v1/requests", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ ask: "hold", train: "Heron", reason: "tea" }) })).status), status, `holding a train by the code to ${role}`);
    await context.close();
    await railway.kill();
  }
});

check("the line is drawn as hints in the layout wish, and is drawn anew when they change", async ({ chrome }) => {
  const layout = mkdtempSync(join(tmpdir(), "lineclear-page-"));
  cpSync(process.env.LINECLEAR_DEMO, layout, { recursive: true });
  const track = readFileSync(join(layout, "layout.toml"), "utf8");
  const railway = await daemon([], layout);
  const { page, complaints, close } = await open(chrome, railway.door);
  const placed = () => page.evaluate(() => {
    const middle = (name) => { const box = document.querySelector(`#sheet [data-section="${name}"] .rail`).getBoundingClientRect(); return [box.x + box.width / 2, box.y + box.height / 2]; };
    const [[quayX], [harbourX], [, one], [, two]] = ["quay-1", "harbour-2", "loop-1", "loop-2"].map(middle);
    return [quayX < harbourX, one < two];
  });
  equal(await placed(), [true, false], "as it is by itself: the quay at the left, loop-2 above loop-1");
  writeFileSync(join(layout, "layout.toml"), `${track}\n[diagram]\nleft = "quay-1.b"\nfrom-top = ["loop-1", "loop-2"]\n`);
  equal((await (await fetch(`${railway.door}/v1/reload`, { method: "POST" })).json()).fate, "accepted", "reading the layout anew");
  await until("the line is drawn as it is wished", async () => JSON.stringify(await placed()) === "[false,true]");
  equal(complaints, [], "the console");
  await close();
  await railway.kill();
});

check("another machine is served through an encrypted line, and told nothing plainly", async ({ chrome }) => {
  const own = Object.values(networkInterfaces()).flat().find((it) => it && it.family === "IPv4" && !it.internal)?.address;
  if (!own) { console.log("skipped: this machine has no address but its loopback"); return; }
  const folder = mkdtempSync(join(tmpdir(), "lineclear-encrypted-"));
  const [certificate, key] = ["pem", "key"].map((end) => join(folder, `ours.${end}`));
  execFileSync("openssl", ["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2", "-subj", "/CN=low-staithe", "-addext", `subjectAltName=IP:${own}`, "-out", certificate, "-keyout", key], { stdio: "ignore" });
  const railway = await daemon(["--door", "0.0.0.0:0", "--pair", "--certificate", certificate, "--key", key]);
  const codes = await until("the codes are told", () => (railway.lines.filter((line) => line.includes("with the code")).length === 3 ? railway.lines : null));
  const code = codes.find((line) => line.includes(" to drive ")).match(/\d{4}-\d{4}/)[0];
  const { port } = new URL(railway.door);
  const plainly = await fetch(`http://${own}:${port}/`).then((answer) => `answered ${answer.status}`, () => "not answered");
  equal(plainly, "not answered", "what is said plainly");
  const context = await chrome.newContext({ ignoreHTTPSErrors: true });
  const page = await context.newPage();
  await page.goto(`https://${own}:${port}/#pair/${code}`);
  await page.waitForFunction(() => window.lineclear?.feed.live && document.querySelector("#pair").hidden, null, { timeout: 20000 });
  const [token] = await context.cookies();
  assert(token.secure && token.httpOnly && token.sameSite === "Strict", `the token is kept as ${JSON.stringify({ ...token, value: "" })}`);
  await page.waitForFunction((at) => window.lineclear.feed.known.head.at > at, (await railway.picture()).at, { timeout: 20000 });
  await context.close();
  await railway.kill();
});

check("functions, accessories and the power of districts are switched from the page, and shown", async ({ chrome }) => {
  const railway = await daemon();
  const heron = async () => (await railway.picture()).trains.find((train) => train.name === "Heron");
  const { page, complaints, close } = await open(chrome, railway.door, { view: "cab/Heron", width: 390, height: 844 });
  const light = "button[aria-label='F0 light: function 0']";
  await page.click(light);
  await until("the headlight is on", async () => (await heron()).functions?.includes(0));
  await page.waitForSelector(`${light}[aria-pressed=true]`);
  await page.click(light);
  await until("the headlight is off", async () => !(await heron()).functions?.includes(0));
  await page.evaluate(() => { location.hash = "trains"; });
  await page.click("button[aria-label='Switch on: fog horn']");
  await page.waitForSelector("button[aria-label='Switch off: fog horn']");
  equal((await railway.picture()).accessories.find((it) => it.name === "fog horn").on, true, "the fog horn");
  await page.click("button[aria-label='Cut power: yard']");
  await page.waitForSelector("button[aria-label='Restore power: yard']");
  await page.evaluate(() => { location.hash = "open"; });
  await page.click("#open button:has-text('Restore power')");
  await until("there is power everywhere", async () => (await railway.picture()).dark.length === 0);
  await page.waitForFunction(() => document.querySelector("button[aria-label='Cut power: yard']"));
  equal(complaints, [], "the console");
  await close();
  await railway.kill();
});

check("how fast a train is at each step is drawn with its bounds, and told as a table", async ({ chrome }) => {
  const state = mkdtempSync(join(tmpdir(), "lineclear-page-"));
  const railway = await daemon(["--pace", "60", "--state", state]);
  const told = async (train) => (await fetch(`${railway.door}/v1/trains/${train}/profile`)).json();
  const fresh = await told("Heron");
  assert([...fresh.forward, ...fresh.backward].every((row) => row.runs === 0), "nothing is learned at first");
  const { page, complaints, close } = await open(chrome, railway.door, { view: "trains" });
  await page.click("a[aria-label='Speeds and faults of Heron']");
  await page.waitForSelector("#view-train svg.speeds");
  assert((await page.textContent("#view-train")).includes("Nothing was learned"), "what was not learned is said to be so");
  await until("runs have taught something", async () => (await told("Heron")).forward.some((row) => row.runs > 0), 60000);
  await page.waitForFunction(() => document.querySelector("#view-train svg.speeds .taught"), null, { timeout: 20000 });
  await railway.ask({ ask: "stop-all" });
  await until("all trains stand", async () => (await railway.picture()).trains.every((train) => train.step === 0));
  // It is asked for every few seconds: what is shown must come to be what is so.
  const cells = (profile) => profile.forward.map((row) => [row.step, (row.likely / 10).toFixed(1), row.runs || "none"].join(" "));
  const shown = () => page.evaluate(() => [...document.querySelectorAll("#view-train tbody tr")].filter((row) => row.cells.length === 7).map((row) => [row.cells[0].textContent, row.cells[1].textContent, row.cells[3].textContent].join(" ")));
  await until("the table says what the daemon says", async () => JSON.stringify(await shown()) === JSON.stringify(cells(await told("Heron"))));
  const drawn = await page.evaluate(() => [...document.querySelectorAll("svg.speeds")].map((it) => [it.querySelectorAll(".bound").length, it.querySelectorAll(".likely").length > 0, it.getAttribute("aria-label").includes("95 runs of 100")]));
  equal(drawn, [[2, true, true], [2, true, true]], "what is drawn of either way");
  equal((await fetch(`${railway.door}/v1/trains/Heorn/profile`)).status, 404, "a train that is not there");
  equal(complaints, [], "the console");
  await close();
  await railway.kill();
});

check("what is suspected of a train is told in its view, and what the register holds of it, if there is one", async ({ chrome }) => {
  const state = mkdtempSync(join(tmpdir(), "lineclear-page-"));
  const railway = await daemon(["--pace", "40", "--state", state]);
  const { page, complaints, close } = await open(chrome, railway.door, { view: "train/Heron" });
  await page.waitForFunction(() => /It was never suspected|It was suspected/.test(document.querySelector("#view-train").textContent));
  // What the daemon says of a train now, and what it said before, put in its mouth: whether wheels get dirty is for the dice.
  const because = "`Heron` lost contact 7 times in 4 sections";
  await page.evaluate((because) => { window.lineclear.feed.known.suspects = [{ kind: "train", name: "Heron", because }, { kind: "section", name: "Heron", because: "another" }]; window.lineclear.feed.dispatchEvent(new Event("news")); }, because);
  await page.waitForFunction(() => document.querySelector("#view-train ul")?.textContent === "Heron lost contact 7 times in 4 sections");
  await page.route("**/v1/past/faults?*", (route) => route.fulfill({ json: { columns: ["kind", "name", "because", "noticed_wall", "shift"], rows: [["train", "Heron", because, 1700000000000, 1], ["detector", "Heron", "another", 1700000000000, 1]], more: false, kept: true } }));
  await page.route("**/v1/past/suspects?*", (route) => route.fulfill({ json: { columns: ["kind", "name", "times", "last_wall"], rows: [["train", "Heron", 3, 1700000000000]], more: false, kept: true } }));
  await page.waitForFunction(() => document.querySelector("#view-train").textContent.includes("It was suspected 3 times"), null, { timeout: 20000 });
  equal(await page.evaluate(() => document.querySelectorAll("[aria-label='faults of Heron'] tbody tr").length), 1, "faults of the train alone");
  equal(complaints, [], "the console");
  await close();
  await railway.kill();
  const bare = await daemon();
  const again = await open(chrome, bare.door, { view: "train/Heron" });
  await again.page.waitForFunction(() => document.querySelector("#view-train").textContent.includes("Nothing is recorded in this run"));
  equal(again.complaints, [], "the console");
  await again.close();
  await bare.kill();
});

check("of a large layout what is in sight is drawn as it is and the rest is not, and from far away whatever is not as it should be", async ({ chrome }) => {
  const layout = passingLoops({ loops: 120, trains: 12, lines: 1 });
  const railway = await daemon([], layout);
  for (const train of (await railway.picture()).trains) await railway.ask({ ask: "stop", train: train.name });
  equal((await railway.ask({ ask: "stop-all" })).fate, "accepted", "stopping all trains");
  equal((await railway.ask({ ask: "out-of-service", section: "line-119", reason: "paint" })).fate, "accepted", "taking the last line out of service");
  const { page, complaints, close } = await open(chrome, railway.door);
  const drawn = () => page.evaluate(() => ({
    sections: [...document.querySelectorAll("#sheet [data-section]")].map((it) => it.dataset.section),
    trains: [...document.querySelectorAll("#sheet [data-train]")].map((it) => it.dataset.train).sort(),
    withdrawn: document.querySelectorAll("#sheet .section.withdrawn .cross, #sheet .far-withdrawn").length,
  }));
  const placed = (name) => page.evaluate((name) => { const [x] = window.lineclear.sheet.track.ways.get(name)[0].line[0]; const { holder, zoom } = window.lineclear.sheet; holder.scrollTo({ left: x * zoom - 300, behavior: "instant" }); }, name);
  await placed("line-0");
  await until("the first line is drawn", async () => (await drawn()).sections.includes("line-0"));
  const first = await drawn();
  assert(first.sections.length < 150 && !first.sections.includes("line-119"), `${first.sections.length} of 600 sections are drawn`);
  equal([first.trains.includes("T0"), first.trains.includes("T11"), first.withdrawn], [true, false, 0], "the first train, the last, what is out of service");
  await placed("line-119");
  await until("the last line is drawn, and the first is no more", async () => { const { sections } = await drawn(); return sections.includes("line-119") && !sections.includes("line-0"); });
  equal((await drawn()).withdrawn, 1, "what is out of service");
  await page.evaluate(() => window.lineclear.sheet.whole());
  await until("the line is seen from far away", async () => (await drawn()).sections.length === 0);
  const far = await drawn();
  equal(far.trains, (await railway.picture()).trains.map((train) => train.name).sort(), "the trains from far away");
  equal(far.withdrawn, 1, "what is out of service, from far away");
  equal((await railway.ask({ ask: "in-service", section: "line-119" })).fate, "accepted", "putting it back in service");
  await until("it is drawn no more", async () => (await drawn()).withdrawn === 0);
  equal(complaints, [], "the console");
  await close();
  await railway.kill();
});

check("a question of a script waits among what is open, and is answered with one tap", async ({ chrome }) => {
  const layout = mkdtempSync(join(tmpdir(), "lineclear-page-"));
  cpSync(process.env.LINECLEAR_DEMO, layout, { recursive: true });
  writeFileSync(join(layout, "scripts", "guest.lua"), `task("guest", function()
  local answer = ask("Is the guest train made up?", { "it is", "not yet" })
  say("the guest train: " .. answer)
end)
`);
  const railway = await daemon([], layout);
  const { page, complaints, close } = await open(chrome, railway.door, { view: "open", width: 390, height: 844 });
  const question = page.locator(".question.asks", { hasText: "Is the guest train made up?" });
  await question.locator("button:has-text('not yet')").click();
  await until("the script heard it", () => railway.lines.some((line) => line.includes("the guest train: not yet")));
  await question.waitFor({ state: "detached" });
  equal(complaints, [], "the console");
  await close();
  await railway.kill();
});

const VIEWS = ["line", "trains", "open", "times", "past", "train/Heron"];

check("everything is within reach on a phone and on a wall, and stopping never goes out of sight", async ({ chrome }) => {
  const railway = await daemon(["--pace", "10"]);
  for (const [width, height] of [[320, 640], [390, 844], [820, 1180], [1280, 800], [2560, 1440]]) {
    const { page, complaints, close } = await open(chrome, railway.door, { width, height });
    for (const view of VIEWS) {
      await page.evaluate((view) => { location.hash = view; }, view);
      await page.waitForTimeout(120);
      const { over, stop } = await page.evaluate(() => {
        const box = document.querySelector("#stop button[type=submit]").getBoundingClientRect();
        const at = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
        return { over: document.documentElement.scrollWidth - innerWidth, stop: box.top >= 0 && box.bottom <= innerHeight && box.height >= 44 && at?.closest("#stop") !== null };
      });
      assert(over <= 0, `${view} at ${width} is ${over} pixels too wide`);
      assert(stop, `the stop is out of reach in ${view} at ${width}`);
    }
    // What is told of a stop must not hide the way to the other views.
    await page.click("#stop button[type=submit]");
    await page.waitForFunction(() => document.querySelector("#stop-said").textContent.includes("stand"));
    const hidden = () => page.evaluate(() => [...document.querySelectorAll("nav a, #stop button")].filter((it) => {
      const box = it.getBoundingClientRect();
      return document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2)?.closest("a, button") !== it;
    }).map((it) => it.textContent.trim()));
    await until(`nothing is hidden at ${width} when all were told to stop`, async () => (await hidden()).length === 0, 3000);
    equal((await railway.ask({ ask: "resume-all" })).fate, "accepted", "letting trains run again");
    equal(complaints, [], `the console at ${width}`);
    await close();
  }
  await railway.kill();
});

check("the page has no serious fault that axe-core knows of, light and dark", async ({ chrome }) => {
  const railway = await daemon(["--pace", "10"]);
  for (const dark of [false, true]) {
    const { page, close } = await open(chrome, railway.door, { dark, width: dark ? 390 : 1280, height: 844, bypassCSP: true });
    await page.addScriptTag({ content: AXE });
    for (const view of [...VIEWS, "cab/Heron"]) {
      await page.evaluate((view) => { location.hash = view; }, view);
      await page.waitForTimeout(200);
      const found = await page.evaluate(() => window.axe.run(document, { resultTypes: ["violations"] }));
      const serious = found.violations.filter((it) => ["serious", "critical"].includes(it.impact));
      equal(serious.map((it) => `${it.id}: ${it.nodes.map((node) => `${node.target} ${node.failureSummary}`).slice(0, 3).join("; ")}`), [], `${view}${dark ? ", dark" : ""}`);
    }
    await close();
  }
  await railway.kill();
});

const wanted = process.argv[2];
const chrome = await browser();
let failed = 0;
let passed = 0;
for (const { words, run } of checks) {
  if (wanted && !words.includes(wanted)) continue;
  const began = Date.now();
  try {
    await run({ chrome });
    passed += 1;
    console.log(`ok      ${words} (${((Date.now() - began) / 1000).toFixed(1)} s)`);
  } catch (error) {
    failed += 1;
    console.log(`failed  ${words}: ${error.stack ?? error}`);
  }
}
await chrome.close();
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed ? 1 : 0);
