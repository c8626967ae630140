// A message that is typed, and its way through a scene: what would become of it, without playing it.

import { held } from "./connection.js";
import { labelled, make, select, setOptions } from "./dom.js";
import * as explain from "./explain.js";
import { sceneOption } from "./labels.js";
import { textInput } from "./value-fields.js";

const parts = { input: select([], "", () => {}), scene: select([], "", () => {}), message: textInput("90 3C 40", { spellcheck: "false" }) };

/** @param {HTMLElement} place where the way is shown */
export function form(place) {
  return make("details", {}, make("summary", { text: "Trace a message that you type" }),
    make("form", { class: "choose", on: { submit: (event) => asked(event, place) } },
      labelled("From", parts.input), labelled("In scene", parts.scene), labelled("Message", parts.message, "in hexadecimal: 90 3C 40 presses middle C on channel 1, B0 40 7F its pedal, C0 04 is program 5"),
      make("div", { class: "row" }, make("button", { text: "Trace it" }))));
}

export function show() {
  const { inputs = [], scenes = [] } = held.rig ?? {};
  setOptions(parts.input, inputs.map(/** @returns {[string, string]} */ (name) => [name, name]), parts.input.value || inputs[0]);
  setOptions(parts.scene, scenes.map(sceneOption), parts.scene.value || held.facts.scene?.number);
}

/**
 * @param {SubmitEvent} event
 * @param {HTMLElement} place
 */
function asked(event, place) {
  event.preventDefault();
  const message = parts.message.value.trim();
  const line = /** @type {MonitorLine} */ ({ at: 0, time: new Date(), way: "in", port: parts.input.value, words: message, message, kind: "", scene: Number(parts.scene.value) });
  explain.show(place, line, [line]);
}
