// MPE zones and filters in the room Gear: of an input before all its lines, of an instrument behind all that play it.

import { mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, make, note } from "./dom.js";
import { revisionFor } from "./edited-scene.js";
import * as filterChain from "./filter-chain.js";
import { filterWords } from "./labels.js";
import { numberOf, putValues, textInput, valueField } from "./value-fields.js";

const [BEND, MANAGER_BEND] = [48, 2]; // semitones that bends reach if nothing is said

/** @type {{key: string, element: HTMLElement} | null} the filters that are being edited */
let open = null;
let redraw = () => {};

/** @param {() => void} heed */
export function onChange(heed) {
  redraw = heed;
}

/** Close what is open. */
export function forget() {
  if (open) filterChain.forget();
  open = null;
}

/**
 * A zone that leaves these channels alone: the lower one if channels 1 and 2 are free, else the upper one.
 * @param {number[]} taken
 */
export function freeZone(taken) {
  const isFree = (/** @type {number} */ channel) => !taken.includes(channel);
  let [first, last] = [2, 2];
  if (isFree(1) && isFree(2)) {
    while (last < 15 && isFree(last + 1)) last += 1;
  } else {
    first = last = 15;
    while (first > 2 && isFree(first - 1)) first -= 1;
  }
  return { members: [first, last] };
}

/**
 * Fields for the members of a zone and the reach of its bends.
 * @param {"inputs" | "instruments"} section
 * @param {string} name
 * @param {ZoneTable} zone
 */
export function zoneFields(section, name, zone) {
  const { members: [first, last], bend = BEND, manager_bend: managerBend = MANAGER_BEND } = zone;
  const field = (/** @type {string} */ label, /** @type {unknown} */ value, /** @type {string} */ key, /** @type {(typed: string | number) => object} */ facts, /** @type {string} */ hint) =>
    valueField(label, textInput(value, { inputmode: "numeric" }), `${key} ${section} ${name}`, (text) =>
      putValues([[[section, name, "mpe"], { ...zone, ...facts(numberOf(text)) }]], `${name}: ${label.toLowerCase()} ${text}`), hint);
  return [
    make("div", { class: "pair" },
      field("First member", first, "first member", (typed) => ({ members: [typed, last] }), "2 for a lower zone, with manager 1"),
      field("Last member", last, "last member", (typed) => ({ members: [first, typed] }), "15 for an upper zone, with manager 16")),
    field("A member’s bend reaches", bend, "bend", (typed) => ({ bend: typed }), `semitones, 1 to 96; ${section === "inputs" ? "as the controller is set" : "sent to the gear at the start"}`),
    field("The manager’s bend reaches", managerBend, "manager bend", (typed) => ({ manager_bend: typed }), "semitones, 1 to 96"),
  ];
}

/**
 * The filters of an input or an instrument, in words or, once opened, as forms.
 * @param {"inputs" | "instruments"} section
 * @param {string} name
 * @param {Chain} through
 */
export function filterFields(section, name, through) {
  const key = `${section} ${name}`;
  if (open && open.key !== key) forget();
  const when = section === "inputs" ? "Before every line and route from here." : "Behind everything that plays this instrument.";
  if (open) return [make("h3", { text: "Filters" }), note(when), open.element];
  const edit = button("Edit filters", () => {
    const present = () => (section === "inputs" ? held.rig?.ports.inputs[name] : held.rig?.gear[name])?.through ?? [];
    open = { key, element: filterChain.editor(through, (now, revision) =>
      putValues([[[section, name, "through"], now.length ? now : null]], `${name}: ${now.length ? now.map(filterWords).join(", then ") : "no filters"}`, revisionFor(through, present(), revision)), close) };
    redraw();
  }, { "data-key": "edit filters" });
  edit.disabled = !mayOperate() || held.rig?.format === 1;
  return [
    make("h3", { text: "Filters" }),
    note(`${when}${held.rig?.format === 1 ? " They need format = 2 in the rig file." : ""}`),
    ...(through.length ? [make("ol", { class: "filters", "data-key": `filters ${key}` }, ...through.map((each) => make("li", { text: filterWords(each) })))] : []),
    make("div", { class: "row" }, edit),
  ];
}

function close() {
  forget();
  redraw();
}
