// The Panic button. A stray touch does nothing: hold it for 0.6 seconds, or press Enter twice.

import { panic, tell } from "./commands.js";
import { buttonById } from "./dom.js";

const HOLD = 600; // ms
const TWICE = 2000; // ms between the first press and the second

/** @type {number | undefined} */
let holding;
let armedUntil = 0;

export function start() {
  const button = buttonById("panic");
  button.addEventListener("pointerdown", (event) => {
    if (event.button === 0) hold();
  });
  for (const end of ["pointerup", "pointerleave", "pointercancel", "blur"]) button.addEventListener(end, release);
  button.addEventListener("contextmenu", (event) => event.preventDefault());
  button.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" && event.key !== " ") return;
    event.preventDefault();
    if (!event.repeat) press();
  });
  button.addEventListener("keyup", (event) => {
    if (event.key === "Enter" || event.key === " ") release();
  });
  // a screen reader's press arrives as a click alone, without pointer or key
  button.addEventListener("click", (event) => {
    if (event.detail === 0 && !again()) arm();
  });
}

/** A press by key: the second one within two seconds counts, or one that is held. */
export function press() {
  if (!again()) {
    arm();
    hold();
  }
}

export function release() {
  clearTimeout(holding);
  holding = undefined;
  delete buttonById("panic").dataset.held;
}

function hold() {
  if (holding !== undefined || buttonById("panic").disabled) return;
  buttonById("panic").dataset.held = "";
  holding = setTimeout(fire, HOLD);
}

function arm() {
  armedUntil = performance.now() + TWICE;
  tell("Panic: press again, or hold", "asked");
}

function again() {
  if (performance.now() > armedUntil) return false;
  fire();
  return true;
}

function fire() {
  release();
  armedUntil = 0;
  panic();
}
