// Forms for a play line and for what else a scene says: a field for each key of the rig file, with its fault beside it.

import { held } from "./connection.js";
import { find, findAll, fresh, labelled, make, select, setOptions } from "./dom.js";
import { soundOptions } from "./labels.js";
import { instrument, noteEnds, velocityEnds } from "./playing.js";

/** @typedef {{key: string, element: HTMLElement, value: () => unknown}} KeyField `value` gives undefined to leave the key out */

/** @typedef {ReturnType<typeof keyForm>} KeyForm */

/**
 * Whole numbers and fractions as numbers; anything else as it was typed: the engine says what is wrong with it.
 * @param {string} text
 */
const number = (text) => (text === "" ? undefined : /^[+-]?[0-9]+([.][0-9]+)?$/.test(text) ? Number(text) : text);

/**
 * @param {string} key
 * @param {string} title
 * @param {unknown} value
 * @param {(text: string) => unknown} read
 * @param {string | null} hint
 * @returns {KeyField}
 */
function textField(key, title, value, read, hint = null) {
  const field = make("input", { autocomplete: "off", spellcheck: "false", "data-field": key });
  field.value = String(value ?? "");
  return { key, element: labelled(title, field, hint), value: () => read(field.value.trim()) };
}

/**
 * @param {string} key
 * @param {string} title
 * @param {import("./dom.js").Option[]} options
 * @param {unknown} chosen
 * @param {(value: string) => unknown} read
 * @param {(value: string) => void} changed
 * @returns {KeyField & {field: HTMLSelectElement}}
 */
function choiceField(key, title, options, chosen, read, changed = () => {}) {
  const field = select(options, chosen, changed, { "data-field": key });
  return { key, field, element: labelled(title, field), value: () => read(field.value) };
}

/**
 * @param {string} key
 * @param {string} title
 * @param {boolean} ticked
 * @param {boolean} usual what is left out of the file
 * @returns {KeyField}
 */
function tickField(key, title, ticked, usual) {
  const box = make("input", { type: "checkbox", "data-field": key });
  box.checked = ticked;
  return { key, element: make("p", { class: "field" }, make("label", { class: "tick" }, box, ` ${title}`)), value: () => (box.checked === usual ? undefined : box.checked) };
}

/**
 * A range, typed as its two ends.
 * @param {string} key
 * @param {string} title
 * @param {[string, string]} range
 * @param {string} hint
 * @returns {KeyField}
 */
function rangeField(key, title, [low, high], hint) {
  const from = textField(key, `Lowest ${title}`, low, (text) => text, hint);
  const to = textField(key, `Highest ${title}`, high, (text) => text, hint);
  return {
    key,
    element: make("div", { class: "pair" }, from.element, to.element),
    value: () => (from.value() === "" && to.value() === "" ? undefined : `${from.value()}..${to.value()}`),
  };
}

/**
 * @param {PlayLine} line
 * @returns {KeyField}
 */
function inputsField(line) {
  const boxes = (held.rig?.inputs ?? []).map((name) => {
    const box = make("input", { type: "checkbox", "data-field": "from" });
    box.checked = (line.from ?? []).includes(name);
    return { name, box };
  });
  return {
    key: "from",
    element: make("fieldset", {}, make("legend", { text: "Who plays" }), ...boxes.map(({ name, box }) => make("label", { class: "tick" }, box, ` ${name}`))),
    value: () => boxes.filter(({ box }) => box.checked).map(({ name }) => name),
  };
}

/**
 * @param {PlayLine} line
 * @returns {KeyField[]}
 */
function instrumentFields(line) {
  const sounds = (/** @type {string | undefined} */ on) =>
    /** @type {import("./dom.js").Option[]} */ ([["", "as it is"], ...soundOptions(instrument(on ?? ""))]);
  const sound = choiceField("sound", "Sound", sounds(line.on), line.sound ?? "", (value) => value || undefined);
  const gear = (held.rig?.instruments ?? []).map(/** @returns {[string, string]} */ ({ name, output }) => [name, `${name} (output ${output})`]);
  const on = choiceField("on", "Instrument", gear, line.on, (value) => value, (value) => {
    setOptions(sound.field, sounds(value), "");
  });
  return [on, sound];
}

/**
 * The fields of a play line, but for its filters. `locked`: those that say which inherited line it replaces.
 * @param {PlayLine} line
 * @param {string[]} locked keys
 * @returns {KeyForm}
 */
export function lineForm(line, locked) {
  const channels = Array.from({ length: 16 }, (_, index) => /** @type {[number, string]} */ ([index + 1, String(index + 1)]));
  const fields = [
    inputsField(line),
    ...instrumentFields(line),
    rangeField("notes", "note", noteEnds(line), "a name such as B3, or 0 to 127; empty for no limit"),
    rangeField("velocity", "velocity", velocityEnds(line), "1 to 127; empty for no limit"),
    textField("transpose", "Transposition", line.transpose, number, "semitones; 12 is an octave up, -12 an octave down"),
    choiceField("channel", "Channel of the input", [["", "any"], ...channels], line.channel ?? "", (value) => (value ? Number(value) : undefined)),
    tickField("pedal", "pedals pass", line.pedal !== false, true),
    tickField("programs", "program changes pass", line.programs === true, false),
    textField("name", "Name", line.name, (text) => text || undefined, "to mute it by; empty for none"),
  ];
  const made = keyForm(fields);
  for (const key of locked) for (const field of findAll(made.element, `[data-field="${key}"]`)) field.setAttribute("disabled", "");
  return made;
}

/**
 * The fields of a scene's own facts; an empty one is taken away.
 * @param {Scene} scene
 */
export function factsForm(scene) {
  const text = make("textarea", { rows: "3", "data-field": "text" });
  text.value = scene.text ?? "";
  return keyForm([
    textField("cue", "Cue", scene.cue, (typed) => typed || null, "its label in the prompt book"),
    { key: "text", element: labelled("Text for the player", text), value: () => text.value.trim() || null },
    textField("tempo", "Tempo", scene.tempo, (typed) => number(typed) ?? null, "beats per minute; empty to leave the tempo as it is"),
    textField("transpose", "Transposition", scene.transpose || "", (typed) => number(typed) ?? null, "semitones, for all play lines of the scene"),
  ]);
}

/**
 * Fields with room for a fault beside each.
 * @param {KeyField[]} fields
 */
function keyForm(fields) {
  const rows = fields.map((field) => {
    const alert = make("p", { class: "fault", id: fresh("fault"), role: "alert" });
    alert.hidden = true;
    return { ...field, alert, row: make("div", { class: "key" }, field.element, alert) };
  });
  return {
    element: make("div", {}, ...rows.map(({ row }) => row)),
    /** The keys that are said, with their values. */
    value: () => Object.fromEntries(rows.map(({ key, value }) => [key, value()]).filter(([, value]) => value !== undefined)),
    /**
     * Show these words beside the field of this key, or take all faults away (null). Whether there is such a field.
     * @param {string | null} wrong
     * @param {string} words
     */
    mark(wrong, words = "") {
      for (const { key, row, alert } of rows) {
        if (wrong !== null && key !== wrong) continue;
        alert.hidden = wrong === null;
        alert.textContent = words;
        for (const field of findAll(row, "[data-field]")) {
          field.setAttribute("aria-invalid", String(wrong !== null));
          if (wrong !== null) field.setAttribute("aria-errormessage", alert.id);
        }
        const filled = findAll(row, "input").find((field) => field instanceof HTMLInputElement && field.value !== "");
        if (wrong !== null) (filled ?? find(row, "[data-field]"))?.focus();
      }
      return rows.some(({ key }) => key === wrong);
    },
  };
}
