// The messages that a foot switch or another control sends: to which instrument or output, and typed in words. What has been typed
// stays until the rig has it, or another thing to do is chosen.

import { held } from "./connection.js";
import { make, select } from "./dom.js";
import { DONE, mark, valueField } from "./value-fields.js";

/** @typedef {{lines: string[], where: string}} Sending `where`: "on horns", an instrument, or "to looper", an output */
/** @typedef {{action: string | Line, beside?: Partial<ControlTable>}} Made */

/** @type {({key: string} & Sending) | null} what is being typed, and for which action of which control */
let draft = null;
let redraw = () => {};

/** @param {() => void} heed */
export function onChange(heed) {
  redraw = heed;
}

/**
 * @param {ControlTable} control
 * @param {number} index of the action
 */
export const draftKey = ({ input, when }, index) => JSON.stringify([input, when, index]);

/** @param {string} key */
export const draftOf = (key) => (draft?.key === key ? draft : null);

/** @param {string} key */
export function forget(key) {
  if (draft?.key === key) draft = null;
}

/**
 * The fields are shown; the rig changes when messages have been typed.
 * @param {string} key
 * @returns {Answer}
 */
export function begin(key) {
  draft = { key, lines: [], where: String(places()[0][0]) };
  redraw();
  return DONE;
}

/** @returns {import("./dom.js").Option[]} */
function places() {
  const { instruments = [], outputs = [], format } = held.rig ?? {};
  return [
    ...(format === 1 ? [] : instruments.map(({ name, channel }) => /** @type {import("./dom.js").Option} */ ([`on ${name}`, `${name}, on channel ${channel}`]))),
    ...outputs.map(({ name }) => /** @type {import("./dom.js").Option} */ ([`to ${name}`, `output ${name}`])),
  ];
}

/**
 * What an action sends, if that is what it does.
 * @param {string | Line} action
 * @param {ControlTable} control
 * @returns {Sending | null}
 */
export function sendingOf(action, { output, messages = [] }) {
  if (action === "send") return { lines: messages, where: `to ${output}` };
  if (typeof action === "string" || !Array.isArray(action.send)) return null;
  return { lines: action.send, where: action.on === undefined ? `to ${action.to}` : `on ${action.on}` };
}

/**
 * @param {Sending} sending
 * @returns {Made}
 */
function made({ lines, where }) {
  const [way, name] = [where.slice(0, 2), where.slice(3)];
  return held.rig?.format === 1 ? { action: "send", beside: { output: name, messages: lines } } : { action: { send: lines, [way]: name } };
}

/**
 * @param {string} place of the action, for the keys of its fields
 * @param {string} key
 * @param {Sending} sending
 * @param {(made: Made) => Promise<Answer>} put
 */
export function messageFields(place, key, { lines, where }, put) {
  const change = async (/** @type {Sending} */ now) => {
    const mine = { key, ...now };
    draft = mine;
    redraw();
    if (!now.lines.length) return DONE;
    const answer = await put(made(now));
    if (answer.done && draft === mine) draft = null;
    redraw();
    return answer;
  };
  const moved = async (/** @type {string} */ to) => {
    mark(`messages ${place}`, await change({ lines, where: to }));
    redraw();
    return DONE;
  };
  const typed = make("textarea", { rows: Math.max(2, lines.length), spellcheck: "false" });
  typed.value = lines.join("\n");
  const read = (/** @type {string} */ text) => text.split("\n").map((each) => each.trim()).filter(Boolean);
  const hint = held.rig?.format === 1 ? "a message in each line, in hexadecimal: FC, or B0 07 5A" : "a message in each line: volume 90, program 12, start, go 14.5, or one in hexadecimal";
  return [
    valueField("Where to", select(places(), where, () => {}), `where ${place}`, moved),
    valueField("Messages", typed, `messages ${place}`, async (text) => (read(text).length ? change({ lines: read(text), where }) : { done: false, code: "bad-request", text: "Type a message, or choose something else that it does." }), hint),
  ];
}
