// The scene that is worked on, and how an edit of it is asked for.

import { command } from "./commands.js";
import { held } from "./connection.js";

let chosen = null; // a number, or null: the one in force

/** The number that was chosen, or null for the scene in force. */
export const chosenScene = () => chosen;

export function chooseScene(number) {
  chosen = number;
}

/** Work on with this scene, whichever comes into force: what is being typed belongs to it. */
export function stayWith({ number }) {
  chosen = number;
}

/** The scene itself, from the rig. */
export function scene() {
  const number = chosen ?? held.facts.scene?.number;
  return held.rig?.scenes.find((each) => each.number === number) ?? null;
}

/** Ask for an edit of the scene; `revision` is that of the rig its author looked at. */
export function edit(request, words, revision = held.rig.revision) {
  return command({ do: "edit", scene: scene().number, revision, ...request }, words);
}
