// Makes elements, for all views. Texts go in as text: nothing that a rig or a device names becomes markup.

const SVG = "http://www.w3.org/2000/svg";
const STANDS = "data-stands";

/** @typedef {string | number | boolean | null | undefined} Attribute false, null and undefined leave it out */
/** @typedef {Record<string, (event: any) => unknown>} Listeners */
/** @typedef {{[name: string]: Attribute | Listeners, text?: string, on?: Listeners}} Facts */
/** @typedef {Node | string | null | undefined} Inside null and undefined are left out */

/**
 * The element with this id, which the page always has.
 * @param {string} id
 * @returns {HTMLElement}
 */
export function byId(id) {
  const found = document.getElementById(id);
  if (!found) throw new Error(`the page has no element ${id}`);
  return found;
}

/** @param {string} id */
export const buttonById = (id) => /** @type {HTMLButtonElement} */ (byId(id));

/** @param {string} id */
export const inputById = (id) => /** @type {HTMLInputElement} */ (byId(id));

/** @param {string} id */
export const selectById = (id) => /** @type {HTMLSelectElement} */ (byId(id));

/**
 * The element inside another that has this selector, if it has any.
 * @param {ParentNode} inside
 * @param {string} selector
 * @returns {HTMLElement | null}
 */
export const find = (inside, selector) => inside.querySelector(selector);

/**
 * All elements inside another with this selector.
 * @param {ParentNode} inside
 * @param {string} selector
 * @returns {HTMLElement[]}
 */
export const findAll = (inside, selector) => [.../** @type {NodeListOf<HTMLElement>} */ (inside.querySelectorAll(selector))];

/** The element that has the focus, if it is one of HTML. */
export const focused = () => (document.activeElement instanceof HTMLElement ? document.activeElement : null);

/**
 * An element. `facts`: attributes; `text`; `on`: listeners by event.
 * @template {keyof HTMLElementTagNameMap} Tag
 * @param {Tag} tag
 * @param {Facts} facts
 * @param {...Inside} inside
 * @returns {HTMLElementTagNameMap[Tag]}
 */
export function make(tag, facts = {}, ...inside) {
  return fill(document.createElement(tag), facts, inside);
}

/**
 * The same, of a drawing.
 * @template {keyof SVGElementTagNameMap} Tag
 * @param {Tag} tag
 * @param {Facts} facts
 * @param {...Inside} inside
 * @returns {SVGElementTagNameMap[Tag]}
 */
export function draw(tag, facts = {}, ...inside) {
  return fill(document.createElementNS(SVG, tag), facts, inside);
}

/**
 * @template {Element} Made
 * @param {Made} element
 * @param {Facts} facts
 * @param {Inside[]} inside
 */
function fill(element, { text, on = {}, ...attributes }, inside) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== false && value !== null && value !== undefined) {
      element.setAttribute(name, value === true ? "" : String(value));
    }
  }
  listen(element, on);
  if (text !== undefined) element.textContent = text;
  element.append(...inside.filter((each) => each !== null && each !== undefined).map(inItsPlace));
  return element;
}

/** What stands, in something new, for an element that the page shows already. @type {WeakMap<Node, Element>} */
const standsFor = new WeakMap();

/**
 * An element with `data-own` that the page shows stays where it is until `refill` has what is to be around it: while it is
 * anywhere else, a press on it is lost, and a list that is open there closes.
 * @param {Node | string} node
 */
function inItsPlace(node) {
  if (!(node instanceof Element) || !node.isConnected || !node.hasAttribute("data-own")) return node;
  const stand = document.createElement("span");
  stand.setAttribute(STANDS, "");
  standsFor.set(stand, node);
  return stand;
}

// Keeping what is there

/** What listens on an element, by event. One listener for each, so that those of a newer element can take over. */
/** @type {WeakMap<Element, Listeners>} */
const heeding = new WeakMap();

/**
 * The value that a field was last rendered with: another one was typed since.
 * @type {WeakMap<Element, string>}
 */
const rendered = new WeakMap();

/** Fields whose value is to stay, whatever is rendered: what has been chosen there is yet to act. @type {WeakSet<Element>} */
export const holding = new WeakSet();

/** @type {(event: Event) => boolean} */
let keepsBack = () => false;

/** @param {(event: Event) => boolean} heed says of each event whether it is kept back */
export function onAct(heed) {
  keepsBack = heed;
}

/** @param {Event} event */
const dispatch = (event) => event.currentTarget instanceof Element && !keepsBack(event) && heeding.get(event.currentTarget)?.[event.type]?.(event);

/**
 * @param {Element} element
 * @param {Listeners} on
 */
function listen(element, on) {
  const known = heeding.get(element) ?? {};
  for (const event of Object.keys(on)) if (!(event in known)) element.addEventListener(event, dispatch);
  heeding.set(element, { ...known, ...on });
}

/**
 * Show these inside an element. What is there already is changed where it differs and otherwise stays: the focus, half-typed
 * text and the place of a scroller with it. Elements are found again by `data-key` or, without one, by their order. One with
 * `data-own`, which keeps something itself, is shown as it is given. If what had the focus goes, what is in its place gets it.
 * @param {Element} place
 * @param {...Inside} inside
 */
export function refill(place, ...inside) {
  const had = focused();
  const index = had && place.contains(had) ? focusable(place).indexOf(had) : -1;
  match(place, inside.filter((each) => each !== null && each !== undefined).map((each) => (typeof each === "string" ? document.createTextNode(each) : each)));
  if (!had || index < 0) return;
  const stays = () => document.activeElement === had && !had.matches(":disabled");
  if (stays()) return;
  had.focus({ preventScroll: true });
  if (stays()) return;
  const now = focusable(place);
  (now[Math.min(index, now.length - 1)] ?? place.closest("section")?.querySelector("h1"))?.focus();
}

/** @param {Element} place */
const focusable = (place) => findAll(place, "a[href], button:enabled, input:enabled, select:enabled, textarea:enabled, [tabindex]");

/** @param {Node} node */
function keyOf(node) {
  if (!(node instanceof Element)) return node.nodeName;
  return node.hasAttribute("data-own") ? node : `${node.nodeName} ${node.getAttribute("data-key") ?? ""}`;
}

/**
 * @param {Element} parent
 * @param {Node[]} given
 */
function match(parent, given) {
  const wanted = given.map((node) => standsFor.get(node) ?? node);
  const same = new Set(wanted);
  /** @type {Map<unknown, ChildNode[]>} */
  const there = new Map();
  for (const child of parent.childNodes) {
    if (same.has(child)) continue;
    const key = keyOf(child);
    there.set(key, [...(there.get(key) ?? []), child]);
  }
  const kept = wanted.map((node) => (node.parentNode === parent ? node : adopted(there.get(keyOf(node))?.shift(), node)));
  for (const left of there.values()) for (const child of left) child.remove();
  let next = parent.firstChild;
  for (const node of kept) {
    if (node === next) next = next.nextSibling;
    else parent.insertBefore(node, next);
  }
}

/**
 * What is there, as the new one would be; or the new one, if nothing is there.
 * @param {ChildNode | undefined} old
 * @param {Node} node
 */
function adopted(old, node) {
  if (old === undefined) {
    if (!(node instanceof Element)) return node;
    for (const stand of findAll(node, `[${STANDS}]`)) stand.replaceWith(standsFor.get(stand) ?? "");
    for (const field of [node, ...findAll(node, FIELDS)]) if (isField(field)) rendered.set(field, valueOf(field));
    return node;
  }
  if (!(old instanceof Element) || !(node instanceof Element)) {
    if (old.nodeValue !== node.nodeValue) old.nodeValue = node.nodeValue;
    return old;
  }
  for (const { name } of [...old.attributes]) if (!node.hasAttribute(name) && name !== "open") old.removeAttribute(name);
  for (const { name, value } of node.attributes) if (old.getAttribute(name) !== value) old.setAttribute(name, value);
  const now = heeding.get(node) ?? {};
  const before = Object.keys(heeding.get(old) ?? {}).filter((event) => !(event in now)).map((event) => [event, () => {}]);
  listen(old, { ...Object.fromEntries(before), ...now });
  if (isField(old) && isField(node)) adoptValue(old, node);
  else match(old, [...node.childNodes]);
  return old;
}

const FIELDS = "input, select, textarea";

/** @typedef {HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement} Field */

/**
 * @param {Element} element
 * @returns {element is Field}
 */
const isField = (element) => element.matches(FIELDS);

/** @param {Field} field */
const valueOf = (field) => (field instanceof HTMLInputElement && field.type === "checkbox" ? String(field.checked) : field.value);

/**
 * A new value is shown, unless another one is being typed; what is typed stays where the value is the same as before.
 * @param {Field} old
 * @param {Field} node
 */
function adoptValue(old, node) {
  const [typed, was, now] = [valueOf(old), rendered.get(old), valueOf(node)];
  const stays = holding.has(old) || (typed !== was && (was === now || document.activeElement === old));
  if (old instanceof HTMLSelectElement) match(old, [...node.childNodes]);
  const value = stays ? typed : now;
  if (old instanceof HTMLInputElement && old.type === "checkbox") old.checked = value === "true";
  else if (old.value !== value) old.value = value;
  rendered.set(old, now);
}

/**
 * Change a text only where it differs, so that screen readers and the layout stay calm.
 * @param {Element} element
 * @param {string} text
 */
export function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/**
 * A label and its field, in one paragraph.
 * @param {string} words
 * @param {HTMLElement} field
 * @param {string | null} hint
 */
export function labelled(words, field, hint = null) {
  field.id ||= fresh("field");
  /** @type {HTMLElement[]} */
  const parts = [make("label", { for: field.id, text: words }), field];
  if (hint) {
    const id = fresh("hint");
    field.setAttribute("aria-describedby", id);
    parts.push(make("span", { class: "hint", id, text: hint }));
  }
  return make("p", { class: "field" }, ...parts);
}

let count = 0;

/**
 * An id that no other element has.
 * @param {string} stem
 */
export const fresh = (stem) => `${stem}-${++count}`;

/**
 * A button.
 * @param {string} text
 * @param {(event: Event) => unknown} press
 * @param {Facts} facts
 */
export const button = (text, press, facts = {}) => make("button", { type: "button", text, on: { click: press }, ...facts });

/**
 * A paragraph in the quieter type of notes.
 * @param {string} text
 */
export const note = (text) => make("p", { class: "note", text });

/**
 * A paragraph for what went wrong, which screen readers read out at once.
 * @param {string} text
 */
export const fault = (text) => make("p", { class: "fault", role: "alert", text });

/** @typedef {[value: string | number, words: string]} Option */

/**
 * A choice of values.
 * @param {Option[]} options
 * @param {unknown} chosen
 * @param {(value: string) => void} changed
 * @param {Facts} facts
 */
export function select(options, chosen, changed, facts = {}) {
  /** @type {HTMLSelectElement} */
  const made = make("select", { on: { change: () => changed(made.value) }, ...facts });
  setOptions(made, options, chosen);
  return made;
}

/**
 * @param {HTMLSelectElement} field
 * @param {Option[]} options
 * @param {unknown} chosen
 */
export function setOptions(field, options, chosen) {
  refill(field, ...options.map(([value, text]) => make("option", { value, text })));
  field.value = String(chosen);
}

/** The browser's store, where there is one. */
export const kept = {
  /** @param {string} name */
  get(name) {
    try {
      return localStorage.getItem(name);
    } catch {
      return null;
    }
  },
  /**
   * @param {string} name
   * @param {string} value
   */
  set(name, value) {
    try {
      localStorage.setItem(name, value);
    } catch {
      // it holds until the page is closed
    }
  },
};
