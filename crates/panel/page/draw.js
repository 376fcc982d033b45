// Small helpers to make elements. No markup is ever put together from text: what a layout calls things stays text.

const SVG = "http://www.w3.org/2000/svg";

/**
 * @param {string} tag @param {Record<string, string | number>} [attributes] @param {(Node | string)[]} children
 * @returns {SVGElement}
 */
export function svg(tag, attributes = {}, ...children) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, String(value));
  element.append(...children);
  return element;
}

/**
 * @template {keyof HTMLElementTagNameMap} T
 * @param {T} tag @param {Record<string, string | number | boolean | EventListener>} [attributes]
 * @param {(Node | string | null | undefined | false)[]} children
 * @returns {HTMLElementTagNameMap[T]}
 */
export function html(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (typeof value === "function") element.addEventListener(name.replace(/^on/, ""), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false) element.setAttribute(name, String(value));
  }
  element.append(...children.filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

/** @template {Element} T @param {string} id @param {new () => T} kind @returns {T} */
export function byId(id, kind) {
  const element = document.getElementById(id);
  if (!(element instanceof kind)) throw new Error(`the page has no ${id}`);
  return element;
}

/**
 * Gives an element these children, and leaves it alone where they are the same: whoever has the focus keeps it.
 * @param {Element} parent @param {string} key what the children are made from @param {() => Node[]} make
 */
export function fill(parent, key, make) {
  if (/** @type {any} */ (parent).shownKey === key) return;
  /** @type {any} */ (parent).shownKey = key;
  const focused = document.activeElement instanceof HTMLElement && parent.contains(document.activeElement)
    ? document.activeElement.dataset.focus
    : undefined;
  parent.replaceChildren(...make());
  if (focused) {
    const again = [...parent.querySelectorAll("[data-focus]")].find((it) => /** @type {HTMLElement} */ (it).dataset.focus === focused);
    if (again instanceof HTMLElement) again.focus();
  }
}

/** Gives an element this text, and leaves it alone where it is the same. @param {Element} element @param {string} text */
export function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/** Text in which names stand between backticks, with these in bold. @param {string} text @returns {(Node | string)[]} */
export function spoken(text) {
  return text.split("`").map((part, index) => (index % 2 ? html("b", {}, part) : part));
}
