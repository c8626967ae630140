// Foot switches and other controls in the room Gear: learned by pressing them three times, edited, tried, removed.

import { command, mayOperate } from "./commands.js";
import { ask, held, on, requestEvents } from "./connection.js";
import { actionFields, doWords } from "./control-actions.js";
import { conditionFields } from "./control-conditions.js";
import * as messages from "./control-messages.js";
import { button, make, note } from "./dom.js";
import { numberOf, putValues, textInput, tick, timeWords, valueField } from "./value-fields.js";

/** @typedef {import("./gear-ports.js").Choose} Choose */

const PRESSES = 3;

/** What narrows a control down: its key, its label, a hint. @type {["scenes" | "songs" | "players", string, string][]} */
const AMONG = [
  ["scenes", "Only in scenes", "numbers or names, empty for all"],
  ["songs", "Only in songs", "names, empty for all"],
  ["players", "For players", "names, empty for whoever plays here"],
];

/** Times of a press: its key, its label, a hint, and the kind of press that it is for. @type {["guard" | "hold" | "between", string, string, string | null][]} */
const TIMES = [
  ["guard", "Ignored after a press", "a time such as 250 ms, for a worn switch that fires twice; empty for 30 ms", null],
  ["hold", "A long press lasts", "a time such as 1 s; empty for 600 ms", "long"],
  ["between", "A double press is one within", "a time such as 500 ms; empty for 350 ms", "double"],
];

/** @type {{place: number | null, input: string, heard: HeardMessage[], proposal: ControlTable | null, presses: number, listens: boolean} | null} what is being learned: a new control, or another switch for one; whether the messages that pass have begun to arrive */
let learning = null;
let redraw = () => {};

/** @param {() => void} heed */
export function onChange(heed) {
  redraw = heed;
  messages.onChange(heed);
}

export function start() {
  on("frame", hear);
}

/** @param {Frame} frame */
function hear(frame) {
  if (!learning || !frame.events) return;
  if (!learning.listens) {
    learning.listens = true;
    redraw();
  }
  const came = frame.events.filter((each) => each.way === "in" && (learning?.input === "" || each.port === learning?.input));
  if (!came.length) return;
  learning.input ||= came[0].port;
  learning.heard.push(...came.filter((each) => each.port === learning?.input).map(({ at, message }) => ({ at, message })));
  ponder();
}

async function ponder() {
  if (!learning) return;
  const answer = await ask({ do: "learned", input: learning.input, heard: learning.heard.slice(-1000) });
  if (!learning || !answer.done) return;
  learning.proposal = answer.control;
  learning.presses = answer.presses;
  redraw();
}

/** @param {number | null} place */
function learn(place) {
  if (!learning) requestEvents(true);
  learning = { place, input: "", heard: [], proposal: null, presses: 0, listens: false };
  redraw();
}

export function leave() {
  if (!learning) return;
  learning = null;
  requestEvents(false);
}

/** @param {Choose} choose */
async function keep(choose) {
  if (!learning?.proposal) return;
  const { place, proposal: { input, when, ...more } } = /** @type {{place: number | null, proposal: ControlTable}} */ (learning);
  const words = `${input}: ${whenWords(when)}`;
  leave();
  if (place !== null) {
    await putValues([[["controls", place, "input"], input], [["controls", place, "when"], when]], words);
    redraw();
    return;
  }
  const added = held.rig?.controls.length ?? 0;
  const answer = await putValues([[["controls", added], { input, when, ...more, do: "next" }]], `${words} is next`);
  if (answer.done) choose({ section: "controls", name: String(added) });
}

/**
 * @param {import("./gear-ports.js").Chosen | null} chosen
 * @param {Choose} choose
 */
export function list(chosen, choose) {
  const rows = (held.rig?.controls ?? []).map((control, place) => {
    const pressed = chosen?.section === "controls" && Number(chosen.name) === place;
    return make("li", { "data-key": `controls ${place}` }, make("button", { type: "button", class: "thing", "aria-pressed": String(pressed), on: { click: () => choose({ section: "controls", name: String(place) }) } },
      make("span", { class: "name", text: title(place) }), make("span", { class: "how", text: doWords(control) })));
  });
  const add = button("Learn a switch", () => learn(null), { "data-key": "learn" });
  add.disabled = !mayOperate() || !held.rig?.inputs.length;
  return [
    make("h2", { text: "Foot switches and other controls" }),
    make("ul", { class: "gear", "data-key": "controls" }, ...(rows.length ? rows : [make("li", { class: "note", text: "None yet. Learn a switch: press it three times, and say what it does." })])),
    learning?.place === null ? learningBox(choose) : add,
  ];
}

/** @param {Choose} choose */
function learningBox(choose) {
  const found = learning?.proposal;
  const asks = learning?.listens ? "Press the switch three times, a second apart. It may be on any input." : "One moment …";
  const words = found ? `${found.input} sends ${whenWords(found.when)}: pressed ${learning?.presses} of ${PRESSES} times.` : asks;
  const ready = button("Use it", () => keep(choose), { class: "accent", "data-key": "use" });
  ready.disabled = !found;
  return make("div", { class: "learning", "data-key": "learning" }, make("p", { role: "status", text: words }), make("div", { class: "row" }, ready, button("Cancel", () => {
    leave();
    redraw();
  })));
}

/** @param {Record<string, unknown>} when */
function whenWords(when) {
  return Object.entries(when).map(([key, value]) => `${key.replace("_", " ")} ${Array.isArray(value) ? [...new Set(value)].join(" to ") : value}`).join(", ");
}

/** @param {number} place */
export function title(place) {
  const control = held.rig?.controls[place];
  return control ? `${control.input}: ${whenWords(control.when)}` : "";
}

/**
 * @param {number} place
 * @param {Choose} choose
 */
export function details(place, choose) {
  const control = held.rig?.controls[place];
  if (!control) return [note("It is not in this rig any more.")];
  const test = button("Test: do it now", () => command({ do: "try", what: "control", place }, `test: ${doWords(control)}`), { "data-key": "test" });
  const remove = button("Remove", async () => {
    const answer = await putValues([[["controls", place], null]], `${title(place)} removed`);
    if (answer.done) choose(null);
  }, { class: "danger", "data-key": "remove" });
  const again = button("Learn it again", () => learn(place), { "data-key": "again" });
  test.disabled = remove.disabled = again.disabled = !mayOperate();
  return [...controlFields(control, place), learning?.place === place ? learningBox(choose) : again, make("div", { class: "row" }, test, remove)];
}

/**
 * @param {ControlTable} control
 * @param {number} place
 */
function controlFields(control, place) {
  const put = (/** @type {string} */ key, /** @type {unknown} */ value, /** @type {string} */ words) => putValues([[["controls", place, key], value]], `${control.input}: ${words}`);
  const known = { scenes: 1, songs: held.rig?.songs.length, players: Object.keys(held.facts.players ?? {}).length };
  return [
    ...actionFields(control, place),
    ...conditionFields(control, place),
    ...AMONG.filter(([key]) => known[key]).map(([key, label, hint]) => valueField(label, textInput((control[key] ?? []).join(", ")), `${key} ${place}`, (value) => put(key, value ? namesIn(value, key).map((each) => (key === "scenes" ? numberOf(each) : each)) : null, `${key} ${value || "all"}`), hint)),
    ...TIMES.filter(([, , , press]) => !press || control.when.press === press).map(([key, label, hint]) => valueField(label, textInput(timeWords(control[key])), `${key} ${place}`, (value) => put(key, value || null, `${label.toLowerCase()} ${value || "as usual"}`), hint)),
    valueField("Its message is played as well", tick(control.pass === true), `pass ${place}`, (value) => put("pass", value === "true" ? true : null, value === "true" ? "its message is played as well" : "its message is not played")),
  ];
}

/**
 * Names with commas between them; one that the rig has may have commas of its own.
 * @param {string} text
 * @param {"scenes" | "songs" | "players"} section
 */
function namesIn(text, section) {
  const parts = text.split(/ *, */);
  const known = new Set(held.rig?.[section].map(({ name }) => name));
  /** @type {string[]} */
  const found = [];
  for (let from = 0; from < parts.length;) {
    let to = parts.length;
    while (to > from + 1 && !known.has(parts.slice(from, to).join(", "))) to -= 1;
    found.push(parts.slice(from, to).join(", "));
    from = to;
  }
  return found;
}
