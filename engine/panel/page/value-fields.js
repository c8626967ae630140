// Fields that edit one value of the rig each: sent when it changes, with what is wrong beside it.

import { anotherRig, command, mayOperate, tell } from "./commands.js";
import { held } from "./connection.js";
import { find, fresh, make } from "./dom.js";

/** @typedef {(string | number)[]} Path */

/** The answer to what asks nothing of the engine. @type {Answer} */
export const DONE = { done: true, code: "done", text: "" };

/** @type {Map<string, string>} what is wrong, by the key of a field */
const faults = new Map();

/**
 * Put values into their places in the rig, in one step; null takes a value away. If somebody else's edit came first, it is
 * put again when that is known here, as long as what stands in these places is still the same.
 * @param {[Path, unknown][]} values
 * @param {string} words
 * @param {number} [seen] the revision of the rig that the edit is made for
 */
export async function putValues(values, words, seen) {
  const byPlace = values.some(([path]) => path.some((key) => typeof key === "number"));
  const listed = values.map(([path, value]) => ({ path, value }));
  const before = thingsAt(values);
  for (;;) {
    const { rig } = held;
    const answer = await command({ do: "edit", what: "values", values: listed, words, revision: seen ?? (byPlace ? rig?.revision : null) }, words);
    if (answer.code !== "outdated" || seen !== undefined) return answer;
    await anotherRig(rig, Infinity); // the engine has it already
    if (held.rig === rig || thingsAt(values) !== before) return answer;
  }
}

/** What the rig has in these places, as a text. @param {[Path, unknown][]} values */
function thingsAt(values) {
  const sections = /** @type {Record<string, any>} */ (held.rig ?? {});
  return JSON.stringify(values.map(([[section, place]]) => sections[section]?.[place]));
}

/**
 * A label, its field, a hint, and room for a fault. `send` asks for what was typed.
 * @param {string} words
 * @param {HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement} field
 * @param {string} key that no other field of the view has
 * @param {(value: string) => Promise<Answer>} send
 * @param {string | null} [hint]
 */
export function valueField(words, field, key, send, hint = null) {
  const fault = faults.get(key) ?? "";
  const [id, wrong, how] = [fresh("field"), fresh("fault"), fresh("hint")];
  field.id = id;
  field.dataset.key = key;
  field.disabled = !mayOperate();
  if (fault) field.setAttribute("aria-invalid", "true");
  field.setAttribute("aria-describedby", [hint && how, fault && wrong].filter(Boolean).join(" "));
  return make("div", { class: "field", "data-key": key, on: { change: ({ target }) => changed(target, key, send) } },
    make("label", { for: id, text: words }),
    field,
    hint ? make("span", { class: "hint", id: how, text: hint }) : null,
    make("p", { class: "fault", id: wrong, role: "alert", text: fault, hidden: !fault }));
}

/**
 * What is wrong with a field, or that nothing is.
 * @param {string} key
 * @param {Answer} answer
 */
export function mark(key, answer) {
  if (answer.done) faults.delete(key);
  else faults.set(key, answer.words?.join("; ") || answer.text);
}

/**
 * @param {HTMLInputElement} field
 * @param {string} key
 * @param {(value: string) => Promise<Answer>} send
 */
async function changed(field, key, send) {
  const answer = await send(field.type === "checkbox" ? String(field.checked) : field.value.trim());
  mark(key, answer);
  if (!answer.done) tell("Not done: what is wrong is beside the field.", "failed");
  const fault = field.closest(".field") && find(/** @type {Element} */ (field.closest(".field")), ".fault");
  if (!fault) return;
  fault.textContent = faults.get(key) ?? "";
  fault.hidden = answer.done;
  field.setAttribute("aria-invalid", String(!answer.done));
  if (!answer.done) field.setAttribute("aria-describedby", fault.id);
}

/**
 * A field for a text.
 * @param {unknown} value
 * @param {Record<string, string | number>} facts
 */
export function textInput(value, facts = {}) {
  const field = make("input", { autocomplete: "off", spellcheck: "false", ...facts });
  field.value = String(value ?? "");
  return field;
}

/** A time in the words of the rig file. @param {number | undefined} ns */
export const timeWords = (ns) => (ns === undefined ? "" : `${ns / 1e6} ms`);

/** @param {boolean} ticked */
export function tick(ticked) {
  const box = make("input", { type: "checkbox" });
  box.checked = ticked;
  return box;
}

/**
 * Whole numbers as numbers; anything else as it was typed: the engine says what is wrong with it.
 * @param {string} text
 */
export const numberOf = (text) => (/^[+-]?\d+$/.test(text) ? Number(text) : text);

/**
 * Sixteen buttons, one for each channel.
 * @param {string} words
 * @param {number | null} chosen
 * @param {(channel: number) => unknown} pick
 */
export function channelButtons(words, chosen, pick) {
  return make("div", { class: "channels", role: "group", "aria-label": words, "data-key": `channels ${words}` },
    ...Array.from({ length: 16 }, (_, index) => {
      const made = make("button", { type: "button", text: String(index + 1), "aria-label": `channel ${index + 1}`, "aria-pressed": String(chosen === index + 1), on: { click: () => pick(index + 1) } });
      made.disabled = !mayOperate();
      return made;
    }));
}
