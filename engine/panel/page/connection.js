// The line to the panel: what is asked and answered, the frames that come, and how old they are.

const OLD = 2000; // ms without a frame
const FIRST_PAUSE = 300; // ms until the next try to connect; doubles up to
const LONGEST_PAUSE = 3000;
const PATIENCE = 35000; // ms for an answer; the panel gives the engine 30 s at most

/** What holds now. `facts` is the last value of everything a frame can tell. */
export const held = { facts: {}, rig: null, filters: null, role: null, gone: null, heardAt: null, open: false };

const listeners = { frame: [], rig: [], connection: [], age: [] };
const waiting = new Map();
let socket = null;
let number = 0;
let pause = FIRST_PAUSE;
let resting = false;
let eventsWanted = false;
let rigAsked = false;
let oldBefore = false;
let awakeSince = performance.now();

/** Call `heed` with each frame ("frame"), each new rig ("rig"), when the line itself changes ("connection"), or as
 * what is shown becomes old, older, or fresh ("age"). */
export function on(what, heed) {
  listeners[what].push(heed);
}

function tell(what, ...facts) {
  for (const heed of listeners[what]) heed(...facts);
}

/** Ask the engine; the answer always has `done` and `text`. */
export function ask(request) {
  if (!held.open) return Promise.resolve({ done: false, text: "There is no line to Bayleaf now; nothing was asked." });
  const id = ++number;
  return new Promise((answered) => {
    const timer = setTimeout(() => settle(id, { done: false, text: "No answer came; look at what is shown before you ask again." }), PATIENCE);
    waiting.set(id, { answered, timer });
    socket.send(JSON.stringify({ id, ask: request }));
  });
}

/** Whether the messages that pass are wanted. */
export function wantEvents(wanted) {
  eventsWanted = wanted;
  send({ events: wanted });
}

export function isOld() {
  return !resting && performance.now() - Math.max(held.heardAt ?? 0, awakeSince) > OLD;
}

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
  connect();
}

function send(said) {
  if (held.open) socket.send(JSON.stringify(said));
}

function connect() {
  const mine = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/live`);
  let opened = false;
  socket = mine;
  mine.addEventListener("open", () => {
    opened = held.open = true;
    pause = FIRST_PAUSE;
    resting = document.hidden;
    if (resting) send({ rest: true });
    if (eventsWanted) send({ events: true });
    held.filters = null; // another engine may know others
    tell("connection");
  });
  mine.addEventListener("message", (event) => heed(JSON.parse(event.data)));
  mine.addEventListener("close", () => {
    held.open = false;
    for (const id of [...waiting.keys()]) {
      settle(id, { done: false, text: "The line broke before the answer came; look at what is shown before you ask again." });
    }
    rigAsked = false;
    tell("connection");
    if (!opened) askForCode();
    setTimeout(connect, pause);
    pause = Math.min(2 * pause, LONGEST_PAUSE);
  });
}

/** A pairing that has ended shows as a page that is refused: load it, for it is the form then. */
async function askForCode() {
  try {
    if ((await fetch("/", { cache: "no-store" })).status === 403) location.reload();
  } catch {
    // the panel is away; the next try is under way
  }
}

function settle(id, answer) {
  const asked = waiting.get(id);
  if (!asked) return;
  clearTimeout(asked.timer);
  waiting.delete(id);
  asked.answered(answer);
}

function heed(said) {
  if ("id" in said) settle(said.id, said.answer);
  else if (said.frame) hear(said.frame);
  else if ("role" in said) {
    held.role = said.role;
    tell("connection");
  } else if (said.gone) {
    held.gone = said.gone;
    held.rig = null; // what comes back may be another engine, whose revisions begin anew
    delete held.facts.network; // and which may have no other machines
    tell("connection");
  } else if (said.back) {
    held.gone = null;
    tell("connection");
  }
}

function hear(frame) {
  held.heardAt = performance.now();
  held.heardTime = new Date();
  const { activity, events, left_out: leftOut, told, ...lasting } = frame;
  Object.assign(held.facts, lasting);
  tell("frame", frame);
  if (held.rig === null || held.rig.revision !== held.facts.revision) fetchRig();
  if (oldBefore) watchAge();
}

async function fetchRig() {
  if (rigAsked) return;
  rigAsked = true;
  const answer = await ask({ do: "rig" });
  rigAsked = false;
  if (!answer.done) return;
  held.rig = { ...answer.rig, revision: answer.revision };
  tell("rig");
}

function watchAge() {
  const old = isOld();
  if (old || old !== oldBefore) tell("age");
  oldBefore = old;
}
