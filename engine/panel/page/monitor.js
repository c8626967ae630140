// The monitor: what passes, in words, the newest on top. It holds still while somebody points at it or freezes it.

import { button, byId, labelled, make, say, select, setOptions } from "./dom.js";
import * as explain from "./explain.js";
import { held, on, wantEvents } from "./connection.js";
import { kindOf, kinds } from "./labels.js";

const KEPT = 1000; // messages
const SHOWN = 120; // lines
const ROUND = 400; // ms between two changes of the list: fewer than three a second

const lines = []; // the oldest first
let fresh = 0; // lines that came since the list was shown last
let leftOut = 0;
let frozen = false;
let pointed = false;
let parts = null;
let hidden = new Set(["clock"]);
let heardAt = 0; // the engine's clock in the last frame
let lastTold = 0;

export function start() {
  on("frame", hear);
  on("rig", listPorts);
  setInterval(() => show(), ROUND);
}

export function enter() {
  if (!parts) build();
  listPorts();
  rebuild();
  wantEvents(true);
}

export function leave() {
  wantEvents(false);
}

function hear(frame) {
  if (frame.at < heardAt) lastTold = 0; // another engine, whose clock began anew
  heardAt = frame.at;
  const told = (frame.told ?? []).filter((each) => each.at > lastTold);
  lastTold = Math.max(lastTold, ...told.map((each) => each.at));
  const scene = held.facts.scene?.number ?? null;
  const began = held.heardTime.getTime() - frame.at / 1e6;
  const time = (at) => new Date(began + at / 1e6);
  const added = [
    ...told.map(({ at, who, text }) => ({ at, time: time(at), way: "told", port: who, words: text, message: "", kind: "told" })),
    ...(frame.events ?? []).map((event) => ({ ...event, time: time(event.at), kind: kindOf(event.message), scene })),
  ].sort((one, other) => one.at - other.at);
  lines.push(...added);
  lines.splice(0, lines.length - KEPT);
  fresh = Math.min(fresh + added.length, KEPT);
  leftOut += frame.left_out ?? 0;
}

function build() {
  const boxes = [...kinds(), ["told", "Bayleaf’s own words"]].map(([kind, words]) => {
    const box = make("input", { type: "checkbox", on: { change: () => {
      if (box.checked) hidden.delete(kind);
      else hidden.add(kind);
      rebuild();
    } } });
    box.checked = !hidden.has(kind);
    return make("label", { class: "tick" }, box, ` ${words}`);
  });
  const point = (at) => () => {
    pointed = at;
    sayState();
  };
  parts = {
    port: select([["", "all ports"]], "", rebuild),
    freeze: button("Freeze", toggle, { "aria-pressed": "false" }),
    state: make("p", { class: "note" }),
    list: make("ol", { class: "passing", on: { pointerenter: point(true), pointerleave: point(false), focusin: point(true), focusout: point(false) } }),
    way: make("aside", { class: "explained", "aria-label": "The way of one message" }),
  };
  parts.way.append(make("p", { class: "note", text: "Choose a line to see its way through the scene." }));
  byId("view-monitor").append(
    make("h1", { id: "title-monitor", tabindex: "-1", text: "Monitor" }),
    make("div", { class: "choose" }, labelled("Port", parts.port), make("div", { class: "row" }, parts.freeze, button("Empty", empty))),
    make("fieldset", { class: "kinds" }, make("legend", { text: "Kinds to show" }), ...boxes),
    parts.state,
    make("div", { class: "monitor" }, parts.list, parts.way),
  );
}

function listPorts() {
  if (!parts || !held.rig) return;
  const chosen = parts.port.value;
  const inputs = held.rig.inputs.map((name) => [`in ${name}`, `in: ${name}`]);
  const outputs = held.rig.outputs.map(({ name }) => [`out ${name}`, `out: ${name}`]);
  const options = [["", "all ports"], ["in", "all inputs"], ["out", "all outputs"], ...inputs, ...outputs];
  setOptions(parts.port, options, options.some(([value]) => value === chosen) ? chosen : "");
}

function wanted(line) {
  if (hidden.has(line.kind)) return false;
  const port = parts.port.value;
  return port === "" || port === line.way || port === `${line.way} ${line.port}`;
}

function toggle() {
  frozen = !frozen;
  parts.freeze.setAttribute("aria-pressed", String(frozen));
  say(parts.freeze, frozen ? "Go on" : "Freeze");
  show();
  sayState();
}

function empty() {
  lines.length = 0;
  leftOut = 0;
  rebuild();
}

function rebuild() {
  if (!parts) return;
  fresh = 0;
  parts.list.replaceChildren(...lines.filter(wanted).slice(-SHOWN).reverse().map(row));
  sayState();
}

function show() {
  if (!parts || byId("view-monitor").hidden || document.hidden) return;
  if (!frozen && !pointed && fresh) {
    const added = lines.slice(-fresh).filter(wanted).slice(-SHOWN);
    fresh = 0;
    parts.list.prepend(...added.reverse().map(row));
    while (parts.list.children.length > SHOWN) parts.list.lastElementChild.remove();
  }
  sayState();
}

function sayState() {
  const still = frozen ? `Frozen; ${fresh} more since.` : pointed ? `Held still while you are in the list; ${fresh} more since.` : "The newest is on top.";
  say(parts.state, leftOut ? `${still} ${leftOut} were too many to show.` : still);
}

const WAYS = { in: "in", out: "out", told: "says" };

function row(line) {
  const inside = [
    make("time", { text: `${line.time.toLocaleTimeString([], { hour12: false })}.${String(line.time.getMilliseconds()).padStart(3, "0")}` }),
    make("span", { class: "from", text: `${WAYS[line.way]} ${line.port}` }),
    make("span", { class: "words", text: line.words }),
    make("code", { text: line.message }),
  ];
  if (line.way === "told") return make("li", { class: "told" }, ...inside);
  return make("li", {}, make("button", { type: "button", on: { click: (event) => choose(event.currentTarget, line) } }, ...inside));
}

function choose(row, line) {
  for (const other of parts.list.querySelectorAll("[aria-current]")) other.removeAttribute("aria-current");
  row.setAttribute("aria-current", "true");
  explain.show(parts.way, line, line.way === "in" ? [line] : before(line));
}

/** What came in shortly before this went out, the nearest first; each message once. */
function before(line) {
  const found = new Map();
  for (const each of lines.filter(({ way, at }) => way === "in" && at <= line.at).reverse()) {
    found.set(`${each.port} ${each.message}`, found.get(`${each.port} ${each.message}`) ?? each);
    if (found.size === 6) break;
  }
  return [...found.values()];
}
