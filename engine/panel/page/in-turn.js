// One edit at a time: what is pressed or typed while an edit is under way acts when the page shows what became of it, so that
// it is about what is there then. What has become another thing meanwhile is left alone.

import { editUnderWay, tell } from "./commands.js";
import { holding, onAct } from "./dom.js";

/** Rooms that edit the rig; a show is run without waiting. */
const ROOMS = ".roomy";
const ACTS = new Set(["click", "change", "submit", "drop"]);

/** @type {WeakSet<Event>} */
const waiting = new WeakSet();

export function start() {
  onAct((event) => {
    const { target } = event;
    if (waiting.has(event)) return true;
    const moves = event instanceof KeyboardEvent && event.altKey;
    if (!editUnderWay() || !(moves || ACTS.has(event.type)) || !(target instanceof Element) || !target.closest(ROOMS)) return false;
    waiting.add(event);
    event.preventDefault();
    later(event, target);
    return true;
  });
}

/**
 * @param {Event} event
 * @param {Element} target
 */
async function later(event, target) {
  const before = nameOf(target);
  for (let edit = editUnderWay(); edit; edit = editUnderWay()) {
    holding.add(target);
    await edit;
  }
  holding.delete(target);
  if (target.isConnected && nameOf(target) === before) target.dispatchEvent(Reflect.construct(event.constructor, [event.type, event]));
  else tell("Not done: this has changed meanwhile. Press it again.", "failed");
}

/** What a control is called: its label, or its words. Of a field, it is what does not change by typing. @param {Element} target */
function nameOf(target) {
  const control = target.closest("button, input, select, textarea, form, li") ?? target;
  return control.getAttribute("aria-label") ?? control.getAttribute("data-key") ?? control.textContent;
}
