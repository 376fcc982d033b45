// Letting this device in: a code that the daemon shows, given once.

/** @import { Feed } from "./feed.js" */
import { html } from "./draw.js";

/** @param {HTMLElement} holder @param {Feed} feed */
export function pairing(holder, feed) {
  const code = html("input", { id: "code", inputmode: "numeric", autocomplete: "one-time-code", placeholder: "0000-0000", "aria-label": "code" });
  const said = html("p", { role: "status" });
  // A code that came behind the address is used up at once, and does not stay there.
  const given = location.hash.match(/^#pair\/([\d-]+)$/)?.[1];
  if (given) history.replaceState(null, "", "/");
  const send = async (/** @type {string} */ value) => {
    said.textContent = "asked \u2026";
    try {
      const answer = await fetch("/pair", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ code: value }), signal: AbortSignal.timeout(8000) });
      const fate = await answer.json();
      if (answer.ok) { location.hash = "line"; location.reload(); return; }
      said.textContent = fate.reason ?? "it was not accepted";
    } catch {
      said.textContent = "nobody answered";
    }
  };
  holder.append(html("h2", {}, "Let this device in"),
    html("p", {}, "The daemon shows three codes where it was started: one to look on, one to drive, one for everything. Give one of them."),
    html("form", { class: "go", onsubmit: (event) => { event.preventDefault(); void send(code.value); } }, code, html("button", { type: "submit" }, "Let me in")),
    said);
  feed.addEventListener("locked", () => {
    if (!holder.hidden) return;
    holder.hidden = false;
    document.body.classList.add("locked");
    if (given) void send(given); else code.focus();
  });
}
