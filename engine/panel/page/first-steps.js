// From nothing to the first notes: what to do next, as long as there is something to do.

import { mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, make, note } from "./dom.js";
import { edit, scene } from "./edited-scene.js";
import { saveAs } from "./saving.js";

/** @type {string | null} the input that was pressed for the first line */
let player = null;

/** @typedef {{title: string, done: boolean, now: () => (HTMLElement | string)[]}} Step */

/**
 * The steps of a rig that is not ready yet, the next one with what it takes.
 * @param {{inputs: FreePort[], outputs: FreePort[]}} free
 */
export function steps(free) {
  const rig = held.rig;
  if (!rig || !mayOperate() || rig.format === 1) return [];
  const plays = rig.scenes.some((each) => each.play.length || each.routes.length) || rig.routes.length > 0;
  /** @type {Step[]} */
  const all = [
    { title: "What plays", done: rig.inputs.length > 0, now: () => [free.inputs.length ? "Play your keyboard: its line below lights up. Give it a name and press Use." : "Connect a keyboard, pads or a pedal; it appears here within two seconds."] },
    { title: "Where it sounds", done: rig.outputs.length > 0, now: () => [free.outputs.length ? "Choose the port that your instrument is on, its channel, and press Use." : "Connect a synth, a module or a computer that sounds; it appears here within two seconds."] },
    { title: "The first scene", done: plays, now: firstScene },
    { title: "A file", done: held.facts.draft !== true, now: () => [note("All of it plays already. Save it, so that it is there tomorrow."), saveAs()] },
  ];
  const next = all.findIndex((step) => !step.done);
  if (next < 0) return [];
  return [make("ol", { class: "first-steps", "aria-label": "First steps" }, ...all.map((step, index) =>
    make("li", { "data-key": step.title, "aria-current": index === next ? "step" : null, class: step.done ? "done" : "" },
      make("span", { class: "step-title", text: `${step.done ? "✓" : index + 1} ${step.title}` }),
      ...(index === next ? [make("div", { class: "step-now" }, ...step.now())] : []))))];
}

/** Two names are pressed: who plays, and what sounds. */
function firstScene() {
  const rig = held.rig;
  const instruments = rig?.instruments ?? [];
  if (!instruments.length) return ["Add an instrument below: the output it is on, and its channel."];
  const pressed = (/** @type {string} */ name, /** @type {boolean} */ on, /** @type {() => unknown} */ press) => button(name, press, { "aria-pressed": String(on), "data-key": name });
  return [
    note("Press who plays, then what sounds."),
    make("div", { class: "row", role: "group", "aria-label": "Who plays" }, ...(rig?.inputs ?? []).map((name) => pressed(name, name === player, () => {
      player = name;
      redraw();
    }))),
    make("div", { class: "row", role: "group", "aria-label": "What sounds" }, ...instruments.map(({ name }) => pressed(name, false, () => join(name)))),
  ];
}

let redraw = () => {};

/** @param {() => void} heed */
export function onChange(heed) {
  redraw = heed;
}

/** @param {string} on */
function join(on) {
  const now = scene();
  const from = player ?? held.rig?.inputs[0];
  if (!now || !from) return;
  player = null;
  edit({ scene: now.number, what: "lines", play: [...now.play, { from, on }], words: `${from} plays ${on}` }, `${from} plays ${on}: play now`);
}
