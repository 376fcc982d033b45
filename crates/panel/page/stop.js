// Stop everything: always within reach, by key too, and by a bare form where nothing else works. It shows that it worked.

/** @import { Feed } from "./feed.js" */
/** @import { Asks } from "./asks.js" */
import { byId } from "./draw.js";

/** A stop that was not answered for so many milliseconds is sent as a bare form, which leaves this page. */
const PATIENCE = 2500;

/** @param {Feed} feed @param {Asks} asks */
export function stopEverything(feed, asks) {
  const form = byId("stop", HTMLFormElement);
  const said = byId("stop-said", HTMLElement);
  const onward = byId("onward", HTMLButtonElement);
  let asked = "";

  const stop = async () => {
    asked = "asked for: stop everything \u2026";
    show();
    try {
      const answer = await fetch("/v1/stop-all", { method: "POST", signal: AbortSignal.timeout(PATIENCE) });
      const fate = await answer.json();
      asked = fate.fate === "accepted" ? "" : `not stopped: ${fate.reason}`;
    } catch {
      asked = "nobody answered; the bare form is sent";
      form.submit();
    }
    show();
  };
  form.addEventListener("submit", (event) => { event.preventDefault(); void stop(); });
  onward.addEventListener("click", () => void asks.ask("let trains run again", { ask: "resume-all" }));
  document.addEventListener("keydown", (event) => {
    const writes = event.target instanceof Element && event.target.closest("input, textarea, select");
    if (writes || event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
    if (event.key.toLowerCase() === "s") { event.preventDefault(); void stop(); }
  });

  // On a phone the way to the other views stands above it, however much it says.
  new ResizeObserver(() => document.documentElement.style.setProperty("--stop", `${form.offsetHeight}px`)).observe(form);

  function show() {
    const { head, trains } = feed.known;
    const there = [...trains.values()].filter((train) => train.covers.length > 0);
    const stand = there.filter((train) => !train.speed || train.speed.most === 0);
    const halted = feed.live && head.phase === "halted";
    document.body.classList.toggle("halted", halted);
    onward.hidden = !halted;
    let text = asked;
    if (!asked && halted) {
      text = stand.length === there.length
        ? `Told to stop. All ${there.length} trains stand.`
        : `Told to stop. ${stand.length} of ${there.length} trains stand, the others are braking.`;
    }
    if (said.textContent !== text) said.textContent = text;
  }
  return { show };
}
