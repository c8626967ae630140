// Foot switches and other controls in the room Gear: what each does; learned by pressing it three times; lights, displays.

import { mayOperate } from "./commands.js";
import { ask, held, on, requestEvents } from "./connection.js";
import { button, make, note, select } from "./dom.js";
import { putValues, textInput, valueField } from "./value-fields.js";

/** @typedef {"controls" | "tallies" | "displays"} Lists */
/** @typedef {import("./gear-ports.js").Choose} Choose */

const PRESSES = 3;

/** What a control may do, in words that the rig file uses. */
const WORDS = ["next", "back", "first", "next song", "back song", "panic", "resend", "tap", "clock start", "clock stop", "clock continue"];
const SCENE = "scene ";
const TOGGLE = "toggle ";

/** @type {{input: string, heard: HeardMessage[], proposal: ControlTable | null, presses: number} | null} what is being learned */
let learning = null;
let redraw = () => {};

/** @param {() => void} heed */
export function onChange(heed) {
  redraw = heed;
}

export function start() {
  on("frame", hear);
}

/** @param {Frame} frame */
function hear(frame) {
  if (!learning || !frame.events) return;
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

function learn() {
  learning = { input: "", heard: [], proposal: null, presses: 0 };
  requestEvents(true);
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
  const control = { ...learning.proposal, do: "next" };
  const place = held.rig?.controls.length ?? 0;
  leave();
  const answer = await putValues([[["controls", place], control]], `${control.input}: ${whenWords(control.when)} is next`);
  if (answer.done) choose({ section: "controls", name: String(place) });
}

/**
 * @param {import("./gear-ports.js").Chosen | null} chosen
 * @param {Choose} choose
 */
export function list(chosen, choose) {
  const { controls = [], tallies = [], displays = [] } = held.rig ?? {};
  const row = (/** @type {Lists} */ section, /** @type {number} */ place, /** @type {string} */ name, /** @type {string} */ how) =>
    make("li", { "data-key": `${section} ${place}` }, make("button", { type: "button", class: "thing", "aria-pressed": String(chosen?.section === section && Number(chosen.name) === place), on: { click: () => choose({ section, name: String(place) }) } },
      make("span", { class: "name", text: name }), make("span", { class: "how", text: how })));
  const rows = controls.map((control, place) => row("controls", place, `${control.input}: ${whenWords(control.when)}`, doWords(control)));
  const lights = [...tallies.map((each, place) => row("tallies", place, `light at ${each.to}`, `${each.on} on, ${each.off} off`)), ...displays.map((each, place) => row("displays", place, `display at ${each.to}`, String(each.show)))];
  const add = button("Learn a switch", learn, { "data-key": "learn" });
  add.disabled = !mayOperate() || !held.rig?.inputs.length;
  return [
    make("h2", { text: "Foot switches and other controls" }),
    make("ul", { class: "gear", "data-key": "controls" }, ...(rows.length ? rows : [make("li", { class: "note", text: "None yet. Learn a switch: press it three times, and say what it does." })])),
    ...(learning ? [learningBox(choose)] : [add]),
    ...(lights.length ? [make("h2", { text: "Lights and displays" }), make("ul", { class: "gear", "data-key": "lights" }, ...lights)] : []),
  ];
}

/** @param {Choose} choose */
function learningBox(choose) {
  const found = learning?.proposal;
  const words = found ? `${found.input} sends ${whenWords(found.when)}: pressed ${learning?.presses} of ${PRESSES} times.` : "Press the switch three times, a second apart. It may be on any input.";
  const ready = button("Use it", () => keep(choose), { class: "accent", "data-key": "use" });
  ready.disabled = !found;
  return make("div", { class: "learning", "data-key": "learning" }, make("p", { role: "status", text: words }), make("div", { class: "row" }, ready, button("Cancel", () => {
    leave();
    redraw();
  })));
}

/** @param {Record<string, unknown>} when */
function whenWords(when) {
  return Object.entries(when).map(([key, value]) => `${key.replace("_", " ")} ${Array.isArray(value) ? value.join(" to ") : value}`).join(", ");
}

/** @param {ControlTable} control */
function doWords(control) {
  const all = Array.isArray(control.do) ? control.do : [control.do];
  return all.map((each) => (typeof each === "string" ? (each === "scene" && control.scene !== undefined ? `scene ${control.scene}` : each) : Object.entries(each).map(([key, value]) => `${key} ${Array.isArray(value) ? value.join(", ") : value}`).join(" "))).join(", then ");
}

/**
 * @param {Lists} section
 * @param {number} place
 */
export function title(section, place) {
  const control = held.rig?.controls[place];
  if (section === "controls" && control) return `${control.input}: ${whenWords(control.when)}`;
  return section === "tallies" ? `Light ${place + 1}` : `Display ${place + 1}`;
}

/**
 * @param {string} section
 * @param {number} place
 * @param {Choose} choose
 */
export function details(section, place, choose) {
  const remove = button("Remove", async () => {
    const answer = await putValues([[[section, place], null]], `${title(/** @type {Lists} */ (section), place)} removed`);
    if (answer.done) choose(null);
  }, { class: "danger", "data-key": "remove" });
  remove.disabled = !mayOperate();
  const control = section === "controls" ? held.rig?.controls[place] : undefined;
  if (!control) return [note("Its words are in the rig file."), remove];
  return [...controlFields(control, place), remove];
}

/**
 * @param {ControlTable} control
 * @param {number} place
 */
function controlFields(control, place) {
  const put = (/** @type {string} */ key, /** @type {unknown} */ value, /** @type {string} */ words) => putValues([[["controls", place, key], value]], `${control.input}: ${words}`);
  return [
    valueField("What it does", select(actions(control), actionOf(control), () => {}), `do ${place}`, (value) => putAction(control, place, value)),
    ...(["controller", "note", "key"].some((kind) => kind in control.when)
      ? [valueField("Which press", select([["", "any"], ["short", "a short one"], ["long", "a long one"], ["double", "a double one"]], control.when.press ?? "", () => {}), `press ${place}`, (value) => putValues([[["controls", place, "when", "press"], value || null]], `${control.input}: ${value || "any"} press`))]
      : []),
    valueField("Only in scenes", textInput((control.scenes ?? []).join(", ")), `scenes ${place}`, (value) => put("scenes", value ? value.split(/ *, */).map((each) => (/^\d+$/.test(each) ? Number(each) : each)) : null, "in these scenes"), "numbers or names, empty for all"),
  ];
}

/** @param {ControlTable} control */
function actions(control) {
  const scenes = (held.rig?.scenes ?? []).map(({ number, name }) => [`${SCENE}${number}`, `scene ${number} ${name}`]);
  const names = [...new Set((held.rig?.scenes ?? []).flatMap((each) => [...each.play, ...each.routes]).map((each) => each.name).filter(Boolean))].map((name) => [`${TOGGLE}${name}`, `mute or unmute ${name}`]);
  const words = WORDS.map((word) => [word, word]);
  const now = actionOf(control);
  const all = [...words, ...scenes, ...names];
  return /** @type {import("./dom.js").Option[]} */ (all.some(([value]) => value === now) ? all : [[now, doWords(control)], ...all]);
}

/** @param {ControlTable} control */
function actionOf(control) {
  const { do: does } = control;
  if (does === "scene" && control.scene !== undefined) return `${SCENE}${control.scene}`;
  if (typeof does === "string") return does;
  if (!Array.isArray(does) && "toggle" in does) return `${TOGGLE}${does.toggle}`;
  return doWords(control);
}

/**
 * @param {ControlTable} control
 * @param {number} place
 * @param {string} value
 */
function putAction(control, place, value) {
  const at = (/** @type {string} */ key) => /** @type {(string | number)[]} */ (["controls", place, key]);
  const does = value.startsWith(SCENE) ? { scene: Number(value.slice(SCENE.length)) } : value.startsWith(TOGGLE) ? { toggle: value.slice(TOGGLE.length) } : value;
  return putValues([[at("do"), does], ...(control.scene === undefined ? [] : [/** @type {[(string | number)[], unknown]} */ ([at("scene"), null])])], `${control.input}: ${value}`);
}
