// Forms made of JSON Schemas, so that a plug-in's filter gets its form without work of its own. The engine judges what
// a field may hold: a form only knows kinds of values, and gives back what was typed.

import { button, findAll, fresh, labelled, make, select } from "./dom.js";

const WHOLE = ""; // the one field of settings whose schema says nothing

/** What was typed; undefined if nothing was. @typedef {{element: HTMLElement, value: () => unknown}} Field */

/**
 * A form for the settings of one filter: `element`, `value()` and `mark(name)`, which marks a faulty setting; "" marks
 * all of them, null none.
 * @param {Schema} schema
 * @param {FilterStep} settings
 */
export function settingsForm(schema, settings) {
  const element = make("div", { class: "settings" });
  if (schema.description) element.append(make("p", { class: "hint", text: schema.description }));
  const { filter, ...others } = settings;
  const { properties } = schema;
  const fields = properties ? fieldsOf(schema, properties, others) : new Map([[WHOLE, jsonField("Settings as JSON", others)]]);
  for (const field of fields.values()) element.append(field.element);
  return {
    element,
    /** @returns {Record<string, unknown>} */
    value() {
      if (!properties) return Object(fields.get(WHOLE)?.value() ?? {});
      const found = [...fields].map(([name, field]) => ({ name, value: field.value() })).filter((each) => each.value !== undefined);
      return Object.fromEntries(found.map((each) => [each.name, each.value]));
    },
    /** @param {string | null} faulty */
    mark(faulty) {
      for (const [name, field] of fields) {
        for (const each of findAll(field.element, "input, select, textarea")) {
          if (faulty === null) each.removeAttribute("aria-invalid");
          else if (faulty === name || faulty === "") each.setAttribute("aria-invalid", "true");
        }
      }
    },
  };
}

/**
 * @param {Schema} root
 * @param {Record<string, Schema>} properties
 * @param {Record<string, unknown>} values
 * @returns {Map<string, Field>}
 */
function fieldsOf(root, properties, values) {
  const settings = Object.entries(properties).filter(([name]) => name !== "filter");
  return new Map(settings.map(([name, rule]) => [name, fieldOf(root, rule, rule.title ?? name, values[name], (root.required ?? []).includes(name))]));
}

/**
 * The rule that a reference means, and without "or nothing".
 * @param {Schema} root
 * @param {Schema} rule
 * @returns {Schema}
 */
function plain(root, rule) {
  if (rule.$ref) return plain(root, root.$defs?.[rule.$ref.split("/").pop() ?? ""] ?? {});
  const choices = (rule.anyOf ?? rule.oneOf ?? []).filter((each) => each.type !== "null");
  return choices.length === 1 ? { ...plain(root, choices[0]), title: rule.title, default: rule.default } : rule;
}

/**
 * @param {Schema} root
 * @param {Schema} given
 * @param {string} title
 * @param {any} value of the kind that the schema names, for the rig was read by it
 * @param {boolean} needed
 * @returns {Field}
 */
function fieldOf(root, given, title, value, needed) {
  const rule = plain(root, given);
  if (rule.enum) return choiceField(rule, rule.enum, title, value, needed);
  if (rule.type === "boolean") return switchField(title, value);
  if (rule.type === "integer" || rule.type === "number" || rule.type === "string") return lineField(rule, title, value, needed);
  if (rule.type === "array") {
    const each = plain(root, rule.items ?? {});
    if (rule.prefixItems) return rowField(root, rule, rule.prefixItems, title, value, needed);
    if (each.enum) return boxesField(each.enum, title, value, needed);
    if (simple(each)) return listField(rule, each, title, value, needed);
  }
  if (rule.type === "object" && typeof rule.additionalProperties === "object") return tableField(root, rule.additionalProperties, title, value);
  if (rule.type === "object" && rule.properties) return groupField(root, rule, rule.properties, title, value, needed);
  return jsonField(`${title} (JSON)`, value);
}

/** @param {Schema} rule */
const simple = (rule) => ["integer", "number", "string"].includes(rule.type ?? "");

/**
 * What was typed, as a number where it is one and the rule allows one; names of notes stay text.
 * @param {Schema} rule
 * @param {string} text
 */
function read(rule, text) {
  const trimmed = text.trim();
  if (trimmed === "") return undefined;
  return rule.type !== "string" && /^[-+]?\d+(\.\d+)?$/.test(trimmed) ? Number(trimmed) : trimmed;
}

/**
 * @param {Schema} rule
 * @param {boolean} needed
 */
function hintOf(rule, needed) {
  const low = rule.minimum ?? rule.exclusiveMinimum;
  const high = rule.maximum ?? rule.exclusiveMaximum;
  const range = low !== undefined && high !== undefined ? `${low} to ${high}` : low !== undefined ? `${low} or more` : high !== undefined ? `${high} or less` : null;
  const otherwise = !needed && rule.default != null && String(rule.default) !== "" ? `default ${[rule.default].flat().join(" to ")}` : null;
  return [rule.description, range, otherwise].filter(Boolean).join("; ") || null;
}

/** @param {unknown} value */
function input(value) {
  const made = make("input", { autocomplete: "off", autocapitalize: "off", spellcheck: "false" });
  made.value = String(value ?? "");
  return made;
}

/**
 * @param {Schema} rule
 * @param {string} title
 * @param {unknown} value
 * @param {boolean} needed
 * @returns {Field}
 */
function lineField(rule, title, value, needed) {
  const field = input(value);
  return { element: labelled(title, field, hintOf(rule, needed)), value: () => read(rule, field.value) };
}

/**
 * @param {Schema} rule
 * @param {unknown[]} choices
 * @param {string} title
 * @param {unknown} value
 * @param {boolean} needed
 * @returns {Field}
 */
function choiceField(rule, choices, title, value, needed) {
  /** @type {import("./dom.js").Option[]} */
  const none = needed ? [] : [["", rule.default != null ? `default: ${rule.default}` : "not set"]];
  const options = choices.map(/** @returns {[string, string]} */ (each) => [String(each), String(each)]);
  const field = select([...none, ...options], value ?? (needed ? choices[0] : ""), () => {});
  return {
    element: labelled(title, field, rule.description ?? null),
    value: () => (field.value === "" ? undefined : choices.find((each) => String(each) === field.value)),
  };
}

/**
 * @param {string} title
 * @param {unknown} value
 * @returns {Field}
 */
function switchField(title, value) {
  const field = make("input", { type: "checkbox" });
  field.checked = value === true;
  return {
    element: make("p", { class: "field" }, make("label", {}, field, ` ${title}`)),
    value: () => (field.checked ? true : value === false ? false : undefined),
  };
}

/**
 * @param {string} title
 * @param {...import("./dom.js").Inside} inside
 */
function group(title, ...inside) {
  return make("div", { class: "group", role: "group", "aria-label": title }, make("span", { class: "group-title", "aria-hidden": "true", text: title }), ...inside);
}

/**
 * A list of a fixed number of values: a range, a bank.
 * @param {Schema} root
 * @param {Schema} rule
 * @param {Schema[]} items
 * @param {string} title
 * @param {unknown[] | undefined} value
 * @param {boolean} needed
 * @returns {Field}
 */
function rowField(root, rule, items, title, value, needed) {
  const places = items.map((each, index) => {
    const name = each.title ?? (items.length === 2 ? ["first", "second"][index] : `${index + 1}`);
    const field = input(value?.[index]);
    return { element: labelled(name, field), read: () => read(plain(root, each), field.value) };
  });
  const hint = hintOf(rule, needed);
  return {
    element: group(title, make("div", { class: "pair" }, ...places.map((each) => each.element)), hint ? make("p", { class: "hint", text: hint }) : null),
    value() {
      const found = places.map((each) => each.read()).filter((each) => each !== undefined);
      return found.length ? found : undefined;
    },
  };
}

/**
 * A list of choices, as boxes to tick.
 * @param {unknown[]} choices
 * @param {string} title
 * @param {unknown[] | undefined} value
 * @param {boolean} needed
 * @returns {Field}
 */
function boxesField(choices, title, value, needed) {
  const boxes = choices.map((choice) => {
    const box = make("input", { type: "checkbox" });
    box.checked = (value ?? []).includes(choice);
    return { choice, box };
  });
  return {
    element: group(title, ...boxes.map(({ choice, box }) => make("label", { class: "tick" }, box, ` ${choice}`))),
    value: () => listed(boxes.filter(({ box }) => box.checked).map(({ choice }) => choice), needed),
  };
}

/**
 * A list of any length, separated by commas.
 * @param {Schema} rule
 * @param {Schema} each
 * @param {string} title
 * @param {unknown[] | undefined} value
 * @param {boolean} needed
 * @returns {Field}
 */
function listField(rule, each, title, value, needed) {
  const field = input((value ?? []).join(", "));
  const hint = [rule.description, "separate several with commas"].filter(Boolean).join("; ");
  return {
    element: labelled(title, field, hint),
    value: () => listed(field.value.split(",").map((text) => read(each, text)).filter((one) => one !== undefined), needed),
  };
}

/**
 * @param {unknown[]} found
 * @param {boolean} needed
 */
const listed = (found, needed) => (found.length || needed ? found : undefined);

/**
 * A table: a key and a value in each row.
 * @param {Schema} root
 * @param {Schema} rule of the values
 * @param {string} title
 * @param {Record<string, unknown> | undefined} value
 * @returns {Field}
 */
function tableField(root, rule, title, value) {
  /** @type {{from: HTMLInputElement, to: Field}[]} */
  let rows = [];
  const body = make("div", {});
  const add = (/** @type {string} */ key, /** @type {unknown} */ present) => {
    const row = { from: input(key), to: fieldOf(root, rule, "to", present, true) };
    const element = make("div", { class: "entry" }, labelled("from", row.from), row.to.element,
      button("Remove", () => {
        rows = rows.filter((each) => each !== row);
        element.remove();
      }, { "aria-label": `Remove this row of ${title}` }));
    rows.push(row);
    body.append(element);
  };
  for (const [key, present] of Object.entries(value ?? {})) add(key, present);
  return {
    element: group(title, body, button("Add a row", () => add("", undefined), { "aria-label": `Add a row to ${title}` })),
    value() {
      const found = rows.map(({ from, to }) => ({ key: from.value.trim(), value: to.value() })).filter((each) => each.key !== "" || each.value !== undefined);
      return found.length ? Object.fromEntries(found.map((each) => [each.key, each.value ?? null])) : undefined;
    },
  };
}

/**
 * A table whose keys are known.
 * @param {Schema} root
 * @param {Schema} rule
 * @param {Record<string, Schema>} properties
 * @param {string} title
 * @param {Record<string, unknown> | undefined} value
 * @param {boolean} needed
 * @returns {Field}
 */
function groupField(root, rule, properties, title, value, needed) {
  const fields = Object.entries(properties).map(([name, each]) =>
    ({ name, field: fieldOf(root, each, each.title ?? name, value?.[name], (rule.required ?? []).includes(name)) }));
  return {
    element: group(title, ...fields.map(({ field }) => field.element)),
    value() {
      const found = fields.map(({ name, field }) => ({ name, value: field.value() })).filter((each) => each.value !== undefined);
      return found.length || needed ? Object.fromEntries(found.map((each) => [each.name, each.value])) : undefined;
    },
  };
}

/**
 * @param {string} title
 * @param {unknown} value
 * @returns {Field}
 */
function jsonField(title, value) {
  const field = make("textarea", { rows: "3", spellcheck: "false", id: fresh("json") });
  field.value = value === undefined ? "" : JSON.stringify(value);
  return {
    element: labelled(title, field),
    value() {
      if (field.value.trim() === "") return undefined;
      try {
        return JSON.parse(field.value);
      } catch {
        return field.value; // the engine says what is wrong with it
      }
    },
  };
}
