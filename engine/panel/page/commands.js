// The commands that the player gives. Nothing is shown as done before the engine's answer or a frame says so.

import { ask, held, on } from "./connection.js";
import { buttonById, byId, say } from "./dom.js";
import { forPlayer } from "./player.js";

let asked = 0;

export const mayOperate = () => held.role !== "view" && held.role !== "show";

/** Scenes and panic, which a browser for the show may give too. */
export const mayRunShow = () => held.role !== "view";

/**
 * Ask for something, in these words, and show the outcome. Resolves to the answer.
 * @template {string} Do
 * @param {EngineRequest & {do: Do}} request
 * @param {string} words
 */
export async function command(request, words) {
  const mine = ++asked;
  tell(`Requested: ${words} …`, "asked");
  const answer = await ask(request);
  if (mine === asked) tell(answer.done ? answer.text : `Not done: ${answer.text}`, answer.done ? "done" : "failed");
  return answer;
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
}

export function start() {
  byId("next").addEventListener("click", next);
  byId("back").addEventListener("click", back);
  byId("next-song").addEventListener("click", nextSong);
  byId("back-song").addEventListener("click", backSong);
  on("connection", () => {
    for (const id of ["next", "back", "next-song", "back-song", "panic"]) buttonById(id).disabled = !mayRunShow();
  });
}
