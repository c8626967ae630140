// MPE zones and filters in the room Gear: of an input before all its lines, of an instrument behind all that play it.

import { mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, make, note } from "./dom.js";
import * as filterChain from "./filter-chain.js";
import { filterWords } from "./labels.js";
import { numberOf, putValues, textInput, valueField } from "./value-fields.js";

const BEND = 48; // semitones that a member's bend reaches if nothing is said

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
 * Fields for the members of a zone and the reach of their bends.
 * @param {"inputs" | "instruments"} section
 * @param {string} name
 * @param {ZoneTable} zone
 */
export function zoneFields(section, name, { members: [first, last], bend }) {
  const put = (/** @type {unknown} */ low, /** @type {unknown} */ high, /** @type {unknown} */ reach) =>
    putValues([[[section, name, "mpe"], { members: [low, high], ...(reach === undefined || reach === BEND ? {} : { bend: reach }) }]], `${name}: zone ${low} to ${high}`);
  const field = (/** @type {string} */ label, /** @type {unknown} */ value, /** @type {string} */ key, /** @type {(value: string | number) => Promise<Answer>} */ send, /** @type {string} */ hint) =>
    valueField(label, textInput(value, { inputmode: "numeric" }), `${key} ${section} ${name}`, (text) => send(numberOf(text)), hint);
  return [
    make("div", { class: "pair" },
      field("First member", first, "first member", (value) => put(value, last, bend), "2 for a lower zone, with manager 1"),
      field("Last member", last, "last member", (value) => put(first, value, bend), "15 for an upper zone, with manager 16")),
    field("A member’s bend reaches", bend ?? BEND, "bend", (value) => put(first, last, value), "semitones, 1 to 96; as the gear is set"),
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
    open = { key, element: filterChain.editor(through, (now, revision) => putValues([[[section, name, "through"], now.length ? now : null]], `${name}: ${now.length ? `through ${now.map(filterWords).join(", then ")}` : "no filters"}`, revision), close) };
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
