// Makes elements, for all views. Texts go in as text: nothing that a rig or a device names becomes markup.

const SVG = "http://www.w3.org/2000/svg";

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
  for (const [event, heed] of Object.entries(on)) element.addEventListener(event, heed);
  if (text !== undefined) element.textContent = text;
  element.append(...inside.filter((each) => each !== null && each !== undefined));
  return element;
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
  field.replaceChildren(...options.map(([value, text]) => make("option", { value, text })));
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
