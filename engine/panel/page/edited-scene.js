// The scene that is shown and edited in Patch, and how an edit of it is requested.

import { command } from "./commands.js";
import { held } from "./connection.js";

/** @type {number | null} a number, or null for the current scene */
let chosen = null;

/** The number that was chosen, or null for the current scene. */
export const chosenScene = () => chosen;

/** @param {number | null} number */
export function chooseScene(number) {
  chosen = number;
}

/**
 * Keep showing this scene when another is recalled: what is being typed belongs to it.
 * @param {SceneName} scene
 */
export function stayWith({ number }) {
  chosen = number;
}

/** The scene itself, from the rig. */
export function scene() {
  const number = chosen ?? held.facts.scene?.number;
  return held.rig?.scenes.find((each) => each.number === number) ?? null;
}

/**
 * The revision for which an edit of a part of a scene is made: the newest one, as long as the part is what its author saw.
 * @param {Scene} seen
 * @param {"play" | "routes" | "burst"} part
 * @param {number | undefined} revision of the rig in which it was seen
 */
export function revisionOf(seen, part, revision) {
  return revisionFor(seen[part], held.rig?.scenes.find(({ number }) => number === seen.number)?.[part], revision);
}

/**
 * The same of any part of the rig.
 * @param {unknown} seen
 * @param {unknown} now
 * @param {number | undefined} revision
 */
export const revisionFor = (seen, now, revision) => (JSON.stringify(now) === JSON.stringify(seen) ? held.rig?.revision : revision);

/**
 * Request an edit of the scene; `revision` is that of the rig its author looked at.
 * @param {Record<string, unknown>} request
 * @param {string} words
 */
export function edit(request, words, revision = held.rig?.revision) {
  return command({ do: "edit", scene: scene()?.number, revision, ...request }, words);
}
