// When a foot switch or another control acts: its input, what it sends there, and which values count.

import { held } from "./connection.js";
import { make, select } from "./dom.js";
import { numberOf, putValues, textInput, valueField } from "./value-fields.js";

/** By its name in the rig file: in words, what it begins as, and what may be typed. @type {Record<string, [string, unknown, string]>} */
const KINDS = {
  controller: ["a controller", 80, "0 to 127"],
  note: ["a note", 60, "0 to 127, a range such as 36..47, or any"],
  program: ["a program change", 1, "1 to 128, a range such as 11..20, or any"],
  song: ["a song select", 1, "1 to 128, a range such as 1..8, or any"],
  key: ["a key of a computer keyboard", "PageDown", "such as PageDown, Space or A"],
  sysex: ["SysEx", "F0 7D 01 F7", "one whole message in hexadecimal"],
};
const ON_CHANNELS = ["controller", "note", "program"];
const PRESSED = ["controller", "note", "key"];

/** @typedef {Record<string, unknown>} When */

/** @param {unknown} value */
const written = (value) => String(Array.isArray(value) ? [...new Set(value)].join("..") : value ?? "");

/** @param {string} typed */
function read(typed) {
  const [first, last] = typed.split("..");
  return last === undefined ? numberOf(typed) : [numberOf(first), numberOf(last)];
}

/**
 * @param {ControlTable} control
 * @param {number} place
 */
export function conditionFields({ input, when }, place) {
  const kind = Object.keys(KINDS).find((each) => each in when) ?? "controller";
  const put = (/** @type {When} */ now, /** @type {string} */ words) =>
    putValues([[["controls", place, "when"], Object.fromEntries(Object.entries(now).filter(([, value]) => value !== ""))]], `${input}: ${words}`);
  const field = (/** @type {string} */ label, /** @type {string} */ key, /** @type {string} */ hint) =>
    valueField(label, textInput(written(when[key])), `${key} ${place}`, (typed) => put({ ...when, [key]: read(typed) }, `${label.toLowerCase()} ${typed || "any"}`), hint);
  const choice = (/** @type {string} */ label, /** @type {string} */ key, /** @type {import("./dom.js").Option[]} */ options) =>
    valueField(label, select(options, when[key] ?? "", () => {}), `${key} ${place}`, (value) => put({ ...when, [key]: value }, `${label.toLowerCase()}: ${value || "any"}`));
  const names = (held.rig?.inputs ?? []).map(/** @returns {[string, string]} */ (name) => [name, name]);
  return [
    valueField("Input", select(names, input, () => {}), `input ${place}`, (value) => putValues([[["controls", place, "input"], value]], `a control of ${value}`)),
    valueField("What it sends", select(Object.entries(KINDS).map(([name, [words]]) => [name, words]), kind, () => {}), `kind ${place}`, (value) => put({ [value]: KINDS[value][1] }, KINDS[value][0])),
    make("div", { class: "pair" },
      field({ key: "Key", sysex: "Message" }[kind] ?? "Number", kind, KINDS[kind][2]),
      ON_CHANNELS.includes(kind) ? field("Channel", "channel", "1 to 16; empty for any") : null),
    ...(kind === "controller" && !when.turn ? [make("div", { class: "pair" }, field("Pressed from value", "at_least", "empty for 64"), field("Pressed up to value", "at_most", "empty for 127"))] : []),
    ...(kind === "controller" && !when.press && when.at_least === undefined && when.at_most === undefined ? [choice("A knob that sends steps", "turn", [["", "no, a switch"], ["up", "turned up"], ["down", "turned down"]])] : []),
    ...(PRESSED.includes(kind) && !when.turn ? [choice("Which press", "press", [["", "any"], ["short", "a short one"], ["long", "a long one"], ["double", "a double one"]])] : []),
  ];
}
