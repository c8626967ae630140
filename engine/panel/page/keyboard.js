// The keyboard: one table, which the help shows as it is. No key counts while somebody writes in a field.

import * as commands from "./commands.js";
import { byId, kept, make } from "./dom.js";
import * as panicButton from "./panic.js";

const WAIT = 4000; // ms a number waits for its Enter

let digits = "";
let timer = null;

const go = (view) => () => {
  location.hash = view;
};

/** Key, what it does in words, and how. */
const KEYS = [
  ["n", "next scene", commands.next],
  ["b", "back", commands.back],
  ["p", "panic: hold it, or press it twice", panicButton.press],
  ["s", "the show", go("show")],
  ["r", "Patch (routes)", go("patch")],
  ["f", "the flow", go("flow")],
  ["m", "the monitor", go("monitor")],
  ["g", "the gear", go("gear")],
  ["j", "find a scene to jump to", findScene],
  ["?", "these keys", openHelp],
];
const IN_WORDS = [["0 to 9, then Enter", "that scene"], ["Escape", "forget the number; close what is open"]];
/** Those that would do something on the stage. */
const OPERATES = new Set(["n", "b", "p"]);

export function start() {
  byId("keys-on").checked = kept.get("bayleaf-keys") !== "off";
  byId("keys-on").addEventListener("change", () => kept.set("bayleaf-keys", byId("keys-on").checked ? "on" : "off"));
  byId("help-open").addEventListener("click", openHelp);
  byId("help-close").addEventListener("click", () => byId("help").close());
  const rows = [...KEYS, ...IN_WORDS].map(([key, words]) => make("div", {}, make("dt", {}, make("kbd", { text: key })), make("dd", { text: words })));
  byId("key-list").replaceChildren(...rows);
  addEventListener("keydown", heed);
  addEventListener("keyup", (event) => event.key.toLowerCase() === "p" && panicButton.release());
  addEventListener("blur", panicButton.release);
}

function writes(target) {
  return target instanceof Element && target.closest("input:not([type=checkbox]), textarea, select, [contenteditable]") !== null;
}

function heed(event) {
  if (event.ctrlKey || event.altKey || event.metaKey || writes(event.target) || byId("help").open) return;
  if (!byId("keys-on").checked) return;
  if (digits && (event.key === "Enter" || event.key === "Escape")) {
    event.preventDefault();
    endNumber(event.key === "Enter");
  } else if (/^[0-9]$/.test(event.key)) {
    if (commands.mayOperate()) addDigit(event.key);
  } else if (!event.repeat) {
    const found = KEYS.find(([key]) => key === event.key.toLowerCase());
    if (!found || (OPERATES.has(found[0]) && !commands.mayOperate())) return;
    event.preventDefault();
    found[2]();
  }
}

function addDigit(digit) {
  digits = (digits + digit).slice(-5);
  clearTimeout(timer);
  timer = setTimeout(() => endNumber(false), WAIT);
  commands.tell(`Scene ${digits}: press Enter`, "asked");
}

function endNumber(recall) {
  clearTimeout(timer);
  const number = Number(digits);
  digits = "";
  if (recall) commands.recallNumber(number);
  else commands.tell("", "done");
}

function findScene() {
  location.hash = "show";
  setTimeout(() => byId("find-scene").focus());
}

function openHelp() {
  byId("help").showModal();
  byId("title-help").focus();
}
