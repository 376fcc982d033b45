// What may be typed where a place is asked for: offered as it is typed, for there may be thousands.

import { byId, html } from "./draw.js";

/** So many are offered at once. */
const OFFERED = 60;

/**
 * A box to type the name of a place into.
 * @param {Record<string, string | number | boolean | EventListener>} attributes @param {() => string[]} names all that may be meant
 */
export function placeBox(attributes, names) {
  const box = html("input", { autocomplete: "off", ...attributes });
  const offer = () => {
    const typed = box.value.trim().toLowerCase();
    const all = names();
    const begin = all.filter((name) => name.toLowerCase().startsWith(typed));
    const within = begin.length < OFFERED && typed ? all.filter((name) => name.toLowerCase().indexOf(typed) > 0) : [];
    byId("places", HTMLDataListElement).replaceChildren(...[...begin, ...within].slice(0, OFFERED).map((name) => html("option", { value: name })));
  };
  // One list serves all boxes: it belongs to the one that is typed into.
  box.addEventListener("focus", () => { box.setAttribute("list", "places"); offer(); });
  box.addEventListener("blur", () => box.removeAttribute("list"));
  box.addEventListener("input", offer);
  return box;
}
