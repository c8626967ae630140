// The sounds of an instrument: searched by a few letters, tried, added by hand or from a list in CSV, removed.

import { command, mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, find, make, note } from "./dom.js";
import { trySound } from "./trying.js";
import { numberOf, putValues, textInput } from "./value-fields.js";

const SHOWN = 60;

let query = "";
let again = () => {};

/** @param {() => void} heed is called when the search has changed */
export function onSearch(heed) {
  again = heed;
}

/**
 * Sounds whose names and printed labels have all these letters, with bank and program.
 * @param {string} name of an instrument
 * @param {string} letters
 */
export function matchingSounds(name, letters) {
  const words = letters.toLowerCase().split(/\s+/);
  const gear = held.rig?.instruments.find((each) => each.name === name);
  const sounds = gear?.sounds ?? [];
  const places = held.rig?.gear[name]?.places ?? [];
  return sounds.map((sound, index) => ({ sound, place: places[index] ?? [] })).filter(({ sound }) => words.every((word) => `${sound} ${gear?.printed[sound] ?? ""}`.toLowerCase().includes(word)));
}

/** @param {number[]} place */
export const placeWords = (place) => (place.length === 3 ? `bank ${place[0]}/${place[1]}, program ${place[2]}` : place.length ? `program ${place[0]}` : "by messages");

/**
 * @param {string} name
 * @returns {HTMLElement[]}
 */
export function soundList(name) {
  const found = matchingSounds(name, query);
  const search = textInput(query, { "data-key": `search ${name}`, "aria-label": `Find a sound of ${name}`, placeholder: "Find a sound" });
  const rows = found.slice(0, SHOWN).map(({ sound, place }) => row(name, sound, place));
  const more = found.length > SHOWN ? [note(`${found.length - SHOWN} more; type a few letters.`)] : [];
  return [
    make("div", { class: "sound-search", "data-key": `searching ${name}`, on: { input: ({ target }) => searched(target) } }, search),
    make("ul", { class: "sounds", "data-key": `sounds ${name}` }, ...(rows.length ? rows : [make("li", { class: "note", text: query ? "No sound has these letters." : "No sounds yet. Add the first, or take them from a list." })])),
    ...more,
    adding(name),
    importing(name),
  ];
}

/** @param {HTMLInputElement} field */
function searched(field) {
  query = field.value;
  again();
}

/**
 * @param {string} name
 * @param {string} sound
 * @param {number[]} place
 */
function row(name, sound, place) {
  const hear = trySound(name, sound);
  const drop = button("Remove", () => putValues([[["instruments", name, "sounds", sound], null]], `${name}: sound ${sound} removed`), { "aria-label": `Remove ${sound}` });
  drop.disabled = !mayOperate();
  const label = held.rig?.instruments.find((each) => each.name === name)?.printed[sound];
  return make("li", { "data-key": sound }, make("span", { class: "name", text: sound }), make("span", { class: "how", text: label ? `${label}, ${placeWords(place)}` : placeWords(place) }), hear, drop);
}

/** @param {string} name */
function adding(name) {
  const field = (/** @type {string} */ label, /** @type {string} */ key, /** @type {Record<string, string>} */ facts = {}) =>
    make("label", { class: "short" }, label, textInput("", { "data-key": key, name: key, ...facts }));
  const labelled = held.rig?.gear[name]?.labels !== undefined;
  const add = make("button", { text: "Add the sound" });
  add.disabled = !mayOperate();
  return make("form", { class: "add-sound", "data-key": `add sound ${name}`, on: { submit: (event) => added(event, name) } },
    field("Name", "sound"), field("MSB", "msb", { inputmode: "numeric", size: "3" }), field("LSB", "lsb", { inputmode: "numeric", size: "3" }), labelled ? field("As printed", "program", { size: "4" }) : field("Program", "program", { inputmode: "numeric", size: "3" }), add);
}

/**
 * @param {SubmitEvent} event
 * @param {string} name
 */
async function added(event, name) {
  event.preventDefault();
  const form = event.target;
  if (!(form instanceof HTMLFormElement)) return;
  const value = (/** @type {string} */ key) => /** @type {HTMLInputElement} */ (find(form, `[name=${key}]`)).value.trim();
  const banked = value("msb") !== "" || value("lsb") !== "";
  const sound = { ...(banked ? { bank: [numberOf(value("msb") || "0"), numberOf(value("lsb") || "0")] } : {}), ...(held.rig?.gear[name]?.labels === undefined ? { program: numberOf(value("program")) } : { printed: value("program") }) };
  const answer = await putValues([[["instruments", name, "sounds", value("sound")], sound]], `${name}: sound ${value("sound")} added`);
  if (!answer.done) return;
  form.reset();
  find(form, "input")?.focus();
}

/** @param {string} name */
function importing(name) {
  const file = make("input", { type: "file", accept: ".csv,text/csv", on: { change: ({ currentTarget }) => taken(currentTarget, name) } });
  file.disabled = !mayOperate();
  return make("label", { class: "short", "data-key": `csv ${name}` }, "Or a list in CSV, with msb, lsb, program, name in its first line ", file);
}

/**
 * @param {HTMLInputElement} field
 * @param {string} name
 */
async function taken(field, name) {
  const text = await field.files?.[0]?.text();
  if (text === undefined) return;
  await command({ do: "edit", what: "sounds", instrument: name, csv: text }, `sounds of ${name} from a list`);
  field.value = "";
}
