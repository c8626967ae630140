// The commands that the player gives. Nothing is shown as done before the engine's answer or a frame says so.

import { ask, held, isReached, isRigKnown, on } from "./connection.js";
import { buttonById, byId, say } from "./dom.js";
import { forPlayer } from "./player.js";

const STAYS = 8000; // ms that a sentence about what was done stays
const FAILED_STAYS = 20000; // ms that one about what was not done stays

const FRAMES = 3; // that say after an edit that the rig is the one that is held: the edit changed nothing

let asked = 0;
/** @type {Promise<unknown> | null} */
let underWay = null;
/** @type {number | undefined} */
let fading;

export const mayOperate = () => mayRunShow() && isRigKnown() && held.role !== "show";

/** Scenes and panic, which a browser for the show may give too. */
export const mayRunShow = () => isReached() && held.role !== "view";

/**
 * Ask for something, in these words, and show the outcome. Resolves to the answer.
 * @template {string} Do
 * @param {EngineRequest & {do: Do}} request
 * @param {string} words
 */
export async function command(request, words) {
  const mine = ++asked;
  tell(`Requested: ${words} …`, "asked");
  const asking = ask(request);
  if (request.do === "edit" || request.do === "scenes") follow(asking);
  const answer = await asking;
  if (mine === asked) tell(answer.done ? answer.text : `Not done: ${answer.text}`, answer.done ? "done" : "failed");
  return answer;
}

/** The edits under way, until the page shows the rig with them; null if there are none. */
export const editUnderWay = () => underWay;

/** @param {Promise<Answer>} asking */
function follow(asking) {
  const { rig } = held;
  const mine = Promise.all([underWay, asking.then((answer) => (answer.done && answer.code === "done" ? anotherRig(rig) : null))]).then(() => {
    if (underWay === mine) underWay = null;
  });
  underWay = mine;
}

/**
 * Until this is not the rig any more, or that many frames have said that it is.
 * @param {Rig | null} rig
 * @param {number} [frames]
 * @returns {Promise<void>}
 */
export function anotherRig(rig, frames = FRAMES) {
  if (held.rig !== rig) return Promise.resolve();
  return new Promise((settled) => {
    waiting.add({ settled, frames });
  });
}

/** @type {Set<{settled: () => void, frames: number}>} edits whose rig has not come yet */
const waiting = new Set();

function settleAll() {
  for (const { settled } of waiting) settled();
  waiting.clear();
}

function countFrame() {
  if (held.rig?.revision !== held.facts.revision) return;
  for (const each of waiting) {
    each.frames -= 1;
    if (each.frames > 0) continue;
    each.settled();
    waiting.delete(each);
  }
}

export const next = () => command({ do: "next", ...forPlayer() }, "next");
export const back = () => command({ do: "back", ...forPlayer() }, "back");
export const nextSong = () => command({ do: "next song", ...forPlayer() }, "next song");
export const backSong = () => command({ do: "back song", ...forPlayer() }, "back song");
export const panic = () => command({ do: "panic" }, "panic");

/**
 * Of whichever player has it.
 * @param {SceneName} scene
 */
export const recall = (scene) => command({ do: "scene", scene: scene.number }, `${scene.number} ${scene.name}`);

/** @param {number} number */
export const recallNumber = (number) => command({ do: "scene", scene: number }, `scene ${number}`);

/**
 * Recall an entry of the set list in use.
 * @param {number} place counts from 1
 * @param {SceneName} scene
 */
export const entry = (place, scene) => command({ do: "entry", entry: place, ...forPlayer() }, `${scene.number} ${scene.name}`);

/**
 * A sentence beside the main actions.
 * @param {string} text
 * @param {"asked" | "done" | "failed"} state
 */
export function tell(text, state) {
  const said = byId("dock-said");
  say(said, text);
  said.dataset.state = state;
  clearTimeout(fading);
  if (state !== "asked") fading = setTimeout(() => say(said, ""), state === "done" ? STAYS : FAILED_STAYS);
}

export function start() {
  on("rig", settleAll);
  on("frame", countFrame);
  byId("next").addEventListener("click", next);
  byId("back").addEventListener("click", back);
  byId("next-song").addEventListener("click", nextSong);
  byId("back-song").addEventListener("click", backSong);
  on("connection", () => {
    settleAll();
    for (const id of ["next", "back", "next-song", "back-song", "panic"]) buttonById(id).disabled = !mayRunShow();
  });
}
