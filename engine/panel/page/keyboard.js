// The keyboard shortcuts: one table, which the dialog "Keys" shows as it is. None works while a field is being typed in.

import * as commands from "./commands.js";
import { byId, inputById, kept, make } from "./dom.js";
import * as panicButton from "./panic.js";

const WAIT = 4000; // ms a number waits for its Enter

let digits = "";
/** @type {number | undefined} */
let timer;

const dialog = () => /** @type {HTMLDialogElement} */ (byId("keys"));

/** @param {string} view */
const go = (view) => () => {
  location.hash = view;
};

/** @type {[key: string, words: string, act: () => unknown][]} */
const KEYS = [
  ["n", "Next", commands.next],
  ["b", "Back", commands.back],
  ["p", "Panic: hold it, or press it twice", panicButton.press],
  ["s", "Show", go("show")],
  ["c", "Scenes", go("scenes")],
  ["r", "Patch (routes)", go("patch")],
  ["f", "Flow", go("flow")],
  ["m", "Monitor", go("monitor")],
  ["g", "Gear", go("gear")],
  ["h", "Help", go("help")],
  ["j", "Find a scene to jump to", findScene],
  ["?", "This list", openKeys],
];
const IN_WORDS = [["0 to 9, then Enter", "Recall the scene of this number"], ["Escape", "Forget the number; close this list"]];
/** The keys that change the show. */
const OPERATES = new Set(["n", "b", "p"]);

export function start() {
  const enabled = inputById("keys-on");
  enabled.checked = kept.get("bayleaf-keys") !== "off";
  enabled.addEventListener("change", () => kept.set("bayleaf-keys", enabled.checked ? "on" : "off"));
  byId("keys-open").addEventListener("click", openKeys);
  byId("keys-close").addEventListener("click", () => dialog().close());
  const rows = [...KEYS, ...IN_WORDS].map(([key, words]) =>
    make("div", {}, make("dt", {}, make("kbd", { text: String(key) })), make("dd", { text: String(words) })));
  byId("key-list").replaceChildren(...rows);
  addEventListener("keydown", heed);
  addEventListener("keyup", (event) => event.key.toLowerCase() === "p" && panicButton.release());
  addEventListener("blur", panicButton.release);
}

/** @param {EventTarget | null} target */
function writes(target) {
  return target instanceof Element && target.closest("input:not([type=checkbox]), textarea, select, [contenteditable]") !== null;
}

/** @param {KeyboardEvent} event */
function heed(event) {
  if (event.ctrlKey || event.altKey || event.metaKey || writes(event.target) || dialog().open) return;
  if (!inputById("keys-on").checked) return;
  if (digits && (event.key === "Enter" || event.key === "Escape")) {
    event.preventDefault();
    endNumber(event.key === "Enter");
  } else if (/^[0-9]$/.test(event.key)) {
    if (commands.mayRunShow()) addDigit(event.key);
  } else if (!event.repeat) {
    const found = KEYS.find(([key]) => key === event.key.toLowerCase());
    if (!found || (OPERATES.has(found[0]) && !commands.mayRunShow())) return;
    event.preventDefault();
    found[2]();
  }
}

/** @param {string} digit */
function addDigit(digit) {
  digits = (digits + digit).slice(-5);
  clearTimeout(timer);
  timer = setTimeout(() => endNumber(false), WAIT);
  commands.tell(`Scene ${digits}: press Enter`, "asked");
}

/** @param {boolean} recall */
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

function openKeys() {
  dialog().showModal();
  byId("title-keys").focus();
}
