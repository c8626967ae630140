// Forms made of JSON Schemas, so that a plug-in's filter gets its form for nothing. What a field may hold is for the
// engine to judge: a form only knows kinds of values, and gives back what was written.

import { button, fresh, labelled, make, select } from "./dom.js";

/** A form for the settings of one filter: `element`, `value()` and `mark(name)`, which names a faulty setting. */
export function settingsForm(schema, settings) {
  const root = schema;
  const fields = new Map();
  const element = make("div", { class: "settings" });
  if (schema.description) element.append(make("p", { class: "hint", text: schema.description }));
  for (const [name, rule] of Object.entries(schema.properties ?? {})) {
    if (name === "filter") continue;
    const needed = (schema.required ?? []).includes(name);
    const field = fieldOf(root, rule, words(name, rule), settings[name], needed);
    fields.set(name, field);
    element.append(field.element);
  }
  if (!schema.properties) {
    const { filter, ...others } = settings;
    fields.set(null, jsonField("Settings as JSON", others));
    element.append(fields.get(null).element);
  }
  return {
    element,
    value() {
      if (fields.has(null)) return fields.get(null).value() ?? {};
      const found = [...fields].map(([name, field]) => [name, field.value()]);
      return Object.fromEntries(found.filter(([, value]) => value !== undefined));
    },
    mark(faulty) {
      for (const [name, field] of fields) {
        for (const each of field.element.querySelectorAll("input, select, textarea")) {
          if (faulty !== null && (faulty === name || faulty === "")) each.setAttribute("aria-invalid", "true");
          else if (faulty === null) each.removeAttribute("aria-invalid");
        }
      }
    },
  };
}

const words = (name, rule) => rule.title ?? name;

/** The rule that a reference means, and without "or nothing". */
function plain(root, rule) {
  if (rule.$ref) return plain(root, root.$defs[rule.$ref.split("/").pop()]);
  const ways = (rule.anyOf ?? rule.oneOf ?? []).filter((each) => each.type !== "null");
  return ways.length === 1 ? { ...plain(root, ways[0]), title: rule.title, default: rule.default } : rule;
}

function fieldOf(root, given, title, value, needed) {
  const rule = plain(root, given);
  if (rule.enum) return choiceField(rule, title, value, needed);
  if (rule.type === "boolean") return switchField(title, value);
  if (rule.type === "integer" || rule.type === "number" || rule.type === "string") return lineField(rule, title, value, needed);
  if (rule.type === "array" && rule.prefixItems) return rowField(root, rule, title, value, needed);
  if (rule.type === "array" && simple(plain(root, rule.items ?? {}))) return listField(root, rule, title, value, needed);
  if (rule.type === "object" && rule.additionalProperties && typeof rule.additionalProperties === "object") return tableField(root, rule, title, value);
  if (rule.type === "object" && rule.properties) return groupField(root, rule, title, value, needed);
  return jsonField(`${title}, as JSON`, value);
}

const simple = (rule) => ["integer", "number", "string"].includes(rule.type) || rule.enum !== undefined;

/** What was written, as a number where it is one and the rule wants one; names of notes stay text. */
function read(rule, text) {
  const trimmed = text.trim();
  if (trimmed === "") return undefined;
  return rule.type !== "string" && /^[-+]?\d+(\.\d+)?$/.test(trimmed) ? Number(trimmed) : trimmed;
}

function hintOf(rule, needed) {
  const low = rule.minimum ?? rule.exclusiveMinimum;
  const high = rule.maximum ?? rule.exclusiveMaximum;
  const range = low !== undefined && high !== undefined ? `${low} to ${high}` : low !== undefined ? `from ${low}` : high !== undefined ? `up to ${high}` : null;
  const otherwise = !needed && rule.default !== undefined && rule.default !== null && String(rule.default) !== "" ? `${[rule.default].flat().join(" to ")} if left empty` : null;
  return [rule.description, range, otherwise].filter(Boolean).join("; ") || null;
}

const input = (value) => {
  const made = make("input", { autocomplete: "off", autocapitalize: "off", spellcheck: "false" });
  made.value = value ?? "";
  return made;
};

function lineField(rule, title, value, needed) {
  const field = input(value);
  return { element: labelled(title, field, hintOf(rule, needed)), value: () => read(rule, field.value) };
}

function choiceField(rule, title, value, needed) {
  const none = needed ? [] : [["", rule.default != null ? `${rule.default}, as usual` : "not set"]];
  const field = select([...none, ...rule.enum.map((each) => [each, String(each)])], value ?? (needed ? rule.enum[0] : ""), () => {});
  return {
    element: labelled(title, field, rule.description ?? null),
    value: () => (field.value === "" ? undefined : rule.enum.find((each) => String(each) === field.value)),
  };
}

function switchField(title, value) {
  const field = make("input", { type: "checkbox" });
  field.checked = value === true;
  const was = value;
  return {
    element: make("p", { class: "field" }, make("label", {}, field, ` ${title}`)),
    value: () => (field.checked ? true : was === false ? false : undefined),
  };
}

function group(title, ...inside) {
  return make("div", { class: "group", role: "group", "aria-label": title }, make("span", { class: "group-title", "aria-hidden": "true", text: title }), ...inside);
}

/** A list of so many values: a range, a bank. */
function rowField(root, rule, title, value, needed) {
  const places = rule.prefixItems.map((each, index) => {
    const name = each.title ?? (rule.prefixItems.length === 2 ? ["first", "second"][index] : `${index + 1}`);
    const field = input(value?.[index]);
    return { element: labelled(name, field), read: () => read(plain(root, each), field.value) };
  });
  const hint = hintOf(rule, needed);
  return {
    element: group(title, make("div", { class: "pair" }, ...places.map((each) => each.element)), hint ? make("p", { class: "hint", text: hint }) : null),
    value() {
      const found = places.map((each) => each.read());
      return found.every((each) => each === undefined) ? undefined : found.filter((each) => each !== undefined);
    },
  };
}

/** A list of any length, with commas; choices as boxes to tick. */
function listField(root, rule, title, value, needed) {
  const each = plain(root, rule.items);
  if (each.enum) {
    const boxes = each.enum.map((name) => {
      const box = make("input", { type: "checkbox" });
      box.checked = (value ?? []).includes(name);
      return [name, box];
    });
    return {
      element: group(title, ...boxes.map(([name, box]) => make("label", { class: "tick" }, box, ` ${name}`))),
      value: () => listed(boxes.filter(([, box]) => box.checked).map(([name]) => name), needed),
    };
  }
  const field = input((value ?? []).join(", "));
  const hint = [rule.description, "several with commas between"].filter(Boolean).join("; ");
  return {
    element: labelled(title, field, hint),
    value: () => listed(field.value.split(",").map((text) => read(each, text)).filter((one) => one !== undefined), needed),
  };
}

const listed = (found, needed) => (found.length || needed ? found : undefined);

/** A table: a key and a value in each row. */
function tableField(root, rule, title, value) {
  let rows = [];
  const body = make("div", {});
  const add = (key, held) => {
    const from = input(key);
    const to = fieldOf(root, rule.additionalProperties, "becomes", held, true);
    const row = { from, to };
    row.element = make("div", { class: "entry" }, labelled("this", from), to.element,
      button("Take out", () => {
        rows = rows.filter((each) => each !== row);
        row.element.remove();
      }, { "aria-label": `Take this row out of ${title}` }));
    rows.push(row);
    body.append(row.element);
  };
  for (const [key, held] of Object.entries(value ?? {})) add(key, held);
  return {
    element: group(title, body, button("Add a row", () => add("", undefined), { "aria-label": `Add a row to ${title}` })),
    value() {
      const found = rows.map(({ from, to }) => [from.value.trim(), to.value()]).filter(([key, held]) => key !== "" || held !== undefined);
      return found.length ? Object.fromEntries(found.map(([key, held]) => [key, held ?? null])) : undefined;
    },
  };
}

function groupField(root, rule, title, value, needed) {
  const fields = Object.entries(rule.properties).map(([name, each]) =>
    [name, fieldOf(root, each, words(name, each), value?.[name], (rule.required ?? []).includes(name))]);
  return {
    element: group(title, ...fields.map(([, field]) => field.element)),
    value() {
      const found = fields.map(([name, field]) => [name, field.value()]).filter(([, each]) => each !== undefined);
      return found.length || needed ? Object.fromEntries(found) : undefined;
    },
  };
}

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
