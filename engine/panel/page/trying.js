// What is tried by ear: test notes and sounds, at the velocity that the player has set here.

import { command, mayOperate } from "./commands.js";
import { button, kept, make } from "./dom.js";

const USUAL = 48; // softer than the 64 of a keyboard without dynamics

let velocity = Number(kept.get("bayleaf-velocity")) || USUAL;
/** @type {(() => void)[]} */
const heeds = [];

/** @param {() => void} heed is called when another velocity is set */
export function onVelocity(heed) {
  heeds.push(heed);
}

/** How hard test notes are struck, to be set; with a word of warning. */
export function velocityField() {
  const set = (/** @type {{target: HTMLInputElement}} */ { target }) => {
    velocity = Number(target.value);
    kept.set("bayleaf-velocity", String(velocity));
    for (const heed of heeds) heed();
  };
  const slider = make("input", { type: "range", min: "1", max: "127", "data-key": "velocity", on: { input: set } });
  slider.value = String(velocity);
  return make("label", { class: "short velocity", "data-key": "velocity of tries" }, "Mind the monitors. Velocity of test notes", slider, make("output", { text: String(velocity) }));
}

/** @param {string} name of an instrument */
export const testNote = (name) => tried("Test note", `Test note: ${name}`, { do: "test note", instrument: name }, `test note to ${name}`, `test ${name}`);

/**
 * @param {string} name of an instrument
 * @param {string} sound
 */
export const trySound = (name, sound) => tried("Try", `Try ${sound}: a short phrase; mind the monitors`, { do: "audition", instrument: name, sound }, `try ${sound}`, `try ${sound}`);

/**
 * @param {string} text
 * @param {string} label
 * @param {EngineRequest} request
 * @param {string} words
 * @param {string} key
 */
function tried(text, label, request, words, key) {
  const press = button(text, () => command({ ...request, velocity }, words), { "aria-label": label, "data-key": key });
  press.disabled = !mayOperate();
  return press;
}
