// The connection to the panel: requests and their answers, the frames that arrive, and how old they are.

import { renewed } from "./rig-changes.js";

const OLD = 2000; // ms without a frame
const FIRST_PAUSE = 300; // ms until the next attempt to connect; doubles up to
const LONGEST_PAUSE = 3000;
const PATIENCE = 35000; // ms for an answer; the panel gives the engine 30 s at most

/**
 * What is known now. `facts`: the latest value of everything that a frame can hold; `gone`: why it is not up to date;
 * `rig`: as it was known last.
 * @type {{
 *   facts: Partial<Facts>, rig: Rig | null, filters: KnownFilters | null, role: Role | null, gone: string | null,
 *   heardAt: number | null, heardTime: Date | null, open: boolean,
 * }}
 */
export const held = {
  facts: {}, rig: null, filters: null, role: null, gone: null, heardAt: null, heardTime: null, open: false,
};

/** @typedef {{frame: (frame: Frame) => void, rig: () => void, connection: () => void, age: () => void}} Listening */

/** @type {{[What in keyof Listening]: Listening[What][]}} */
const listeners = { frame: [], rig: [], connection: [], age: [] };
/** @type {Map<number, {answered: (answer: any) => void, timer: number}>} */
const waiting = new Map();
/** @type {WebSocket} */
let socket;
let number = 0;
let pause = FIRST_PAUSE;
let resting = false;
let eventsRequested = 0;
let rigAsked = false;
/** @type {number | null} the revision of the rig that is held; null if it may be another engine's */
let revision = null;
let old = false;
let awakeSince = performance.now();
/** @type {PanelMessage[] | null} what came while the rest of the page was being loaded */
let early = [];

/**
 * Call `heed` for each frame ("frame"), each new rig ("rig"), each change of the connection itself ("connection"), or
 * as the display becomes out of date, older, or fresh ("age").
 * @template {keyof Listening} What
 * @param {What} what
 * @param {Listening[What]} heed
 */
export function on(what, heed) {
  listeners[what].push(heed);
}

/** @param {"rig" | "connection" | "age"} what */
function tell(what) {
  for (const heed of listeners[what]) heed();
}

/**
 * Ask the engine; the answer always has `done` and `text`.
 * @template {string} Do
 * @param {EngineRequest & {do: Do}} request
 * @returns {Promise<Answer<Do>>}
 */
export function ask(request) {
  if (!held.open) return Promise.resolve({ done: false, code: "no-engine", text: "Not connected to Bayleaf; nothing was sent." });
  const id = ++number;
  return new Promise((answered) => {
    const timer = setTimeout(() => settle(id, { done: false, code: "no-answer", text: "No answer; check the display before you try again." }), PATIENCE);
    waiting.set(id, { answered, timer });
    socket.send(JSON.stringify({ id, ask: request }));
  });
}

/**
 * Whether frames are to carry the messages that pass: as long as one of those who asked for them has not given up.
 * @param {boolean} on
 */
export function requestEvents(on) {
  const before = eventsRequested > 0;
  eventsRequested += on ? 1 : -1;
  if (before !== eventsRequested > 0) send({ events: on });
}

/** Whether no frame has come for two seconds, as listeners have been told: it changes with "age" alone. */
export const isOld = () => old;

/** Whether requests reach an engine. */
export const isReached = () => held.open && held.gone === null;

/** Whether the rig that is held is that engine's. */
export const isRigKnown = () => revision !== null;

/** The filters there are, with the schemas of their settings; asked once. */
export async function filters() {
  if (held.filters === null) {
    const answer = await ask({ do: "filters" });
    if (!answer.done) throw new Error(answer.text);
    held.filters = answer.filters;
  }
  return held.filters;
}

export function start() {
  document.addEventListener("visibilitychange", () => {
    resting = document.hidden;
    awakeSince = performance.now();
    send({ rest: resting });
  });
  setInterval(watchAge, 250);
  tell("connection");
  const came = early ?? [];
  early = null;
  came.forEach(receive);
}

/** @param {{events: boolean} | {rest: boolean}} said */
function send(said) {
  if (held.open) socket.send(JSON.stringify(said));
}

function connect() {
  const mine = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/live`);
  let opened = false;
  socket = mine;
  mine.addEventListener("open", () => {
    opened = held.open = true;
    resting = document.hidden;
    if (resting) send({ rest: true });
    if (eventsRequested) send({ events: true });
    held.filters = null; // another engine may know others
    tell("connection");
  });
  mine.addEventListener("message", (event) => {
    if (early) early.push(JSON.parse(event.data));
    else receive(JSON.parse(event.data));
  });
  mine.addEventListener("close", ({ reason }) => {
    held.open = false;
    if (reason) held.gone = reason; // the panel has refused this browser
    for (const id of [...waiting.keys()]) {
      settle(id, { done: false, code: "no-answer", text: "The connection broke before the answer arrived; check the display before you try again." });
    }
    rigAsked = false;
    tell("connection");
    if (!opened) askForCode();
    setTimeout(connect, pause);
    pause = Math.min(2 * pause, LONGEST_PAUSE);
  });
}

/** A browser whose pairing has ended is refused the page: load it again, and the pairing form appears. */
async function askForCode() {
  try {
    if ((await fetch("/", { cache: "no-store" })).status === 403) location.reload();
  } catch {
    // the panel is away; the next attempt is under way
  }
}

/**
 * @param {number} id
 * @param {Answer} answer
 */
function settle(id, answer) {
  const asked = waiting.get(id);
  if (!asked) return;
  clearTimeout(asked.timer);
  waiting.delete(id);
  asked.answered(answer);
}

/** @param {PanelMessage} message */
function receive(message) {
  if ("id" in message) settle(message.id, message.answer);
  else if ("frame" in message) receiveFrame(message.frame);
  else {
    if ("role" in message) {
      held.role = message.role;
      held.gone = null; // a connection of its own: what an earlier one said no longer holds
      pause = FIRST_PAUSE; // not before: a browser that is refused is to ask less and less often
    } else if ("gone" in message) {
      held.gone = message.gone;
      revision = null; // the engine that returns may be another one
      delete held.facts.network; // and which may have no other machines
    } else held.gone = null;
    tell("connection");
  }
}

/** @param {Frame} frame */
function receiveFrame(frame) {
  held.heardAt = performance.now();
  held.heardTime = new Date();
  const { at, activity, events, left_out, told, ...lasting } = frame;
  Object.assign(held.facts, lasting);
  for (const heed of listeners.frame) heed(frame);
  if (revision === null || revision !== held.facts.revision) fetchRig();
  if (old) watchAge();
}

/** All of the rig at the first look; after that what has changed since the revision that is held. */
async function fetchRig() {
  if (rigAsked) return;
  rigAsked = true;
  const answer = await ask(revision === null ? { do: "rig" } : { do: "rig", since: revision });
  rigAsked = false;
  if (!answer.done) return;
  if (answer.since === undefined) held.rig = { .../** @type {Omit<Rig, "revision">} */ (answer.rig), revision: answer.revision };
  else if (held.rig && answer.since === revision) held.rig = renewed(held.rig, answer.rig, answer.revision);
  else return; // the rig that it continues was given up meanwhile; the next frame asks again
  revision = answer.revision;
  tell("rig");
}

function watchAge() {
  const before = old;
  old = !resting && performance.now() - Math.max(held.heardAt ?? 0, awakeSince) > OLD;
  if (old || before) tell("age");
}

connect(); // before the views are built
