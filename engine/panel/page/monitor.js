// The view Monitor: the messages that pass, in words, the newest first. It pauses while somebody points at it, and freezes.

import { held, on, requestEvents } from "./connection.js";
import { button, byId, findAll, labelled, make, note, say, select, setOptions } from "./dom.js";
import * as explain from "./explain.js";
import * as explainForm from "./explain-form.js";
import { KINDS, kindOf, timeWords } from "./labels.js";

const KEPT = 1000; // messages
const SHOWN = 120; // lines
const ROUND = 400; // ms between two changes of the list: fewer than three per second
const NOTICES = "Bayleaf’s own notices";
const SOURCES = 6; // input messages that one output message may have been made from

/** @type {MonitorLine[]} the oldest first */
const lines = [];
let fresh = 0; // lines that came since the list was shown last
let leftOut = 0;
let frozen = false;
let pointed = false;
/** @type {ReturnType<typeof build> | null} */
let parts = null;
const hidden = new Set(["clock"]);
let heardAt = 0; // the engine's clock in the last frame
let lastNotice = 0;

export function start() {
  on("frame", receive);
  on("rig", listPorts);
  setTimeout(showAgain, ROUND);
}

export function enter() {
  parts ??= build();
  listPorts();
  rebuild();
  requestEvents(true);
}

export function leave() {
  requestEvents(false);
}

/** @param {Frame} frame */
function receive(frame) {
  if (frame.at < heardAt) lastNotice = 0; // another engine, whose clock starts again
  heardAt = frame.at;
  const notices = (frame.told ?? []).filter((each) => each.at > lastNotice);
  lastNotice = Math.max(lastNotice, ...notices.map((each) => each.at));
  const scene = held.facts.scene?.number ?? null;
  const began = (held.heardTime ?? new Date()).getTime() - frame.at / 1e6;
  const time = (/** @type {number} */ at) => new Date(began + at / 1e6);
  const added = [
    ...notices.map(({ at, who, text }) => /** @type {MonitorLine} */ ({ at, time: time(at), way: "notice", port: who, words: text, message: "", kind: "notice" })),
    ...(frame.events ?? []).map((event) => ({ ...event, time: time(event.at), kind: kindOf(event.message), scene })),
  ].sort((one, other) => one.at - other.at);
  lines.push(...added);
  lines.splice(0, lines.length - KEPT);
  fresh = Math.min(fresh + added.length, KEPT);
  leftOut += frame.left_out ?? 0;
}

function build() {
  const point = (/** @type {boolean} */ at) => () => {
    pointed = at;
    sayState();
  };
  const made = {
    port: select([["", "all ports"]], "", rebuild),
    kinds: make("summary"),
    freeze: button("Freeze", toggle, { "aria-pressed": "false" }),
    state: note(""),
    list: make("ol", { class: "passing", on: { pointerenter: point(true), pointerleave: point(false), focusin: point(true), focusout: point(false) } }),
    trace: make("aside", { class: "explained", "aria-label": "The way of one message" }, note("Choose a message to trace it through the scene.")),
  };
  byId("view-monitor").append(
    make("h1", { id: "title-monitor", tabindex: "-1", text: "Monitor" }),
    make("div", { class: "choose" }, labelled("Port", made.port), make("div", { class: "row" }, made.freeze, button("Clear", clear)), made.state),
    make("details", {}, made.kinds, make("div", { class: "kinds", role: "group", "aria-label": "Messages to show" }, ...[...KINDS, ["notice", NOTICES]].map(kindBox))),
    explainForm.form(made.trace),
    make("div", { class: "monitor" }, made.list, made.trace),
  );
  return made;
}

/** @param {string[]} kind */
function kindBox([kind, words]) {
  const change = () => {
    if (box.checked) hidden.delete(kind);
    else hidden.add(kind);
    rebuild();
  };
  const box = make("input", { type: "checkbox", on: { change } });
  box.checked = !hidden.has(kind);
  return make("label", { class: "tick" }, box, ` ${words}`);
}

function listPorts() {
  if (!parts || !held.rig) return;
  explainForm.show();
  const chosen = parts.port.value;
  /** @type {import("./dom.js").Option[]} */
  const options = [
    ["", "all ports"], ["in", "all inputs"], ["out", "all outputs"],
    ...held.rig.inputs.map(/** @returns {[string, string]} */ (name) => [`in ${name}`, `in: ${name}`]),
    ...held.rig.outputs.map(/** @returns {[string, string]} */ ({ name }) => [`out ${name}`, `out: ${name}`]),
  ];
  setOptions(parts.port, options, options.some(([value]) => value === chosen) ? chosen : "");
}

/** @param {MonitorLine} line */
function isShown(line) {
  if (hidden.has(line.kind)) return false;
  const port = parts?.port.value ?? "";
  return port === "" || port === line.way || port === `${line.way} ${line.port}`;
}

function toggle() {
  if (!parts) return;
  frozen = !frozen;
  parts.freeze.setAttribute("aria-pressed", String(frozen));
  say(parts.freeze, frozen ? "Resume" : "Freeze");
  show();
}

function clear() {
  lines.length = 0;
  leftOut = 0;
  rebuild();
}

function rebuild() {
  if (!parts) return;
  fresh = 0;
  parts.list.replaceChildren(...lines.filter(isShown).slice(-SHOWN).reverse().map(row));
  const left = KINDS.filter(([kind]) => hidden.has(kind)).map(([, words]) => words);
  if (hidden.has("notice")) left.push(NOTICES);
  say(parts.kinds, `Messages to show: all${left.length ? ` but ${left.join(", ")}` : ""}`);
  sayState();
}

function showAgain() {
  setTimeout(showAgain, ROUND); // not an interval, which makes up for a late change by an early one
  show();
}

function show() {
  if (!parts || byId("view-monitor").hidden || document.hidden) return;
  if (!frozen && !pointed && fresh) {
    const added = lines.slice(-fresh).filter(isShown).slice(-SHOWN);
    fresh = 0;
    parts.list.prepend(...added.reverse().map(row));
    while (parts.list.children.length > SHOWN) parts.list.lastElementChild?.remove();
  }
  sayState();
}

function sayState() {
  if (!parts) return;
  const still = frozen ? `Frozen; ${fresh} new.` : pointed ? `Paused while you are in the list; ${fresh} new.` : lines.length ? "Newest first." : "Nothing has passed yet: play something.";
  say(parts.state, leftOut ? `${still} ${leftOut} not shown: too many at once.` : still);
}

/** @param {MonitorLine} line */
function row(line) {
  const inside = [
    make("time", { text: `${timeWords(line.time)}.${String(line.time.getMilliseconds()).padStart(3, "0")}` }),
    make("span", { class: "from", text: line.way === "notice" ? line.port : `${line.way} ${line.port}` }),
    make("span", { class: "words", text: line.words }),
    make("code", { text: line.message }),
  ];
  if (line.way === "notice") return make("li", { class: "notice" }, ...inside);
  /** @type {HTMLButtonElement} */
  const shown = make("button", { type: "button", on: { click: () => choose(shown, line) } }, ...inside);
  return make("li", {}, shown);
}

/**
 * @param {HTMLElement} row
 * @param {MonitorLine} line
 */
function choose(row, line) {
  if (!parts) return;
  for (const other of findAll(parts.list, "[aria-current]")) other.removeAttribute("aria-current");
  row.setAttribute("aria-current", "true");
  explain.show(parts.trace, line, line.way === "in" ? [line] : before(line));
}

/**
 * What came in shortly before this went out, the nearest first; each message once.
 * @param {MonitorLine} line
 */
function before(line) {
  /** @type {Map<string, MonitorLine>} */
  const found = new Map();
  for (const each of lines.filter(({ way, at }) => way === "in" && at <= line.at).reverse()) {
    const key = `${each.port} ${each.message}`;
    if (!found.has(key)) found.set(key, each);
    if (found.size === SOURCES) break;
  }
  return [...found.values()];
}
