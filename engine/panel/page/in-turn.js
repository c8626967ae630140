// One edit at a time: what is pressed or typed while an edit is under way acts when the page shows what became of it, so that
// it is about what is there then. What has become another thing meanwhile is left alone. In a closed list, keys pass over entries on
// their way to another: the one where they rest acts.

import { editUnderWay, tell } from "./commands.js";
import { holding, onAct } from "./dom.js";

/** Rooms that edit the rig; a show is run without waiting. */
const ROOMS = ".roomy";
const ACTS = new Set(["click", "change", "submit", "drop"]);
const REST = 600; // ms without a key after which an entry is chosen
const CHOOSES = new Set(["Enter", " "]);

/** @type {WeakSet<Event>} */
const waiting = new WeakSet();
/** What acts now: an edit that it begins is under way when those around its element hear of it. @type {WeakSet<Event>} */
const acting = new WeakSet();

/** The list whose entries keys are passing over. @type {EventTarget | null} */
let passing = null;
/** @type {{act: () => void, timer: number} | null} the entry where they are */
let rested = null;

export function start() {
  onAct((event) => {
    const { target } = event;
    if (waiting.has(event)) return true;
    if (acting.has(event)) return false;
    const moves = event instanceof KeyboardEvent && event.altKey;
    if (!(moves || ACTS.has(event.type)) || !(target instanceof Element) || !target.closest(ROOMS)) return false;
    const passes = event.isTrusted && event.type === "change" && target instanceof HTMLSelectElement && target === passing;
    if (!passes && !editUnderWay()) {
      acting.add(event);
      return false;
    }
    waiting.add(event);
    event.preventDefault();
    if (passes) whenRested(event, target);
    else later(event, target);
    return true;
  });
  document.addEventListener("keydown", ({ key, altKey, target }) => {
    passing = CHOOSES.has(key) || altKey ? null : target; // with Alt, an arrow opens the list
    if (!passing) rested?.act();
  }, true);
  document.addEventListener("pointerdown", () => {
    passing = null;
  }, true);
  document.addEventListener("focusout", () => rested?.act(), true);
}

/**
 * @param {Event} event
 * @param {Element} target
 */
function whenRested(event, target) {
  clearTimeout(rested?.timer);
  holding.add(target);
  const act = () => {
    clearTimeout(rested?.timer);
    rested = null;
    later(event, target);
  };
  rested = { act, timer: setTimeout(act, REST) };
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
