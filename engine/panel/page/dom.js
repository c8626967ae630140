// Elements are built here and nowhere else. Texts go in as text: nothing that a rig or a device names becomes markup.

const SVG = "http://www.w3.org/2000/svg";

export const byId = (id) => document.getElementById(id);

/** An element. `facts`: attributes; `text`; `on`: listeners by event; false and null leave an attribute out. */
export function make(tag, facts = {}, ...inside) {
  return fill(document.createElement(tag), facts, inside);
}

/** The same, of a drawing. */
export function draw(tag, facts = {}, ...inside) {
  return fill(document.createElementNS(SVG, tag), facts, inside);
}

function fill(element, { text, on = {}, ...attributes }, inside) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== false && value !== null && value !== undefined) {
      element.setAttribute(name, value === true ? "" : value);
    }
  }
  for (const [event, heed] of Object.entries(on)) element.addEventListener(event, heed);
  if (text !== undefined) element.textContent = text;
  element.append(...inside.filter((each) => each !== null && each !== undefined));
  return element;
}

/** Change a text only where it differs, so that screen readers and the layout rest. */
export function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/** A label and its field, in one paragraph. */
export function labelled(words, field, hint = null) {
  field.id ||= fresh("field");
  const parts = [make("label", { for: field.id, text: words }), field];
  if (hint) {
    const id = fresh("hint");
    field.setAttribute("aria-describedby", id);
    parts.push(make("span", { class: "hint", id, text: hint }));
  }
  return make("p", { class: "field" }, ...parts);
}

let count = 0;

export const fresh = (stem) => `${stem}-${++count}`;

/** A button. */
export const button = (text, press, facts = {}) => make("button", { type: "button", text, on: { click: press }, ...facts });

/** A choice of [value, words] pairs. */
export function select(options, chosen, changed, facts = {}) {
  const made = make("select", { on: { change: () => changed(made.value) }, ...facts });
  setOptions(made, options, chosen);
  return made;
}

export function setOptions(field, options, chosen) {
  field.replaceChildren(...options.map(([value, text]) => make("option", { value, text })));
  field.value = String(chosen);
}

/** Keep the browser's store, where it has one. */
export const kept = {
  get(name) {
    try {
      return localStorage.getItem(name);
    } catch {
      return null;
    }
  },
  set(name, value) {
    try {
      localStorage.setItem(name, value);
    } catch {
      // it holds until the page is closed
    }
  },
};
