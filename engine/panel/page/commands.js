// What the player asks of the show. Nothing is shown as done before the engine's answer or a frame says so.

import { byId, say } from "./dom.js";
import { ask, held, on } from "./connection.js";

let asked = 0;

export const mayOperate = () => held.role !== "view";

/** Ask for something, in these words, and say what became of it. Resolves to the answer. */
export async function command(request, words) {
  const mine = ++asked;
  tell(`Asked for: ${words} …`, "asked");
  const answer = await ask(request);
  if (mine === asked) tell(answer.done ? answer.text : `Not done: ${answer.text}`, answer.done ? "done" : "failed");
  return answer;
}

export const next = () => command({ do: "next" }, "next");
export const back = () => command({ do: "back" }, "back");
export const recall = (scene) => command({ do: "scene", scene: scene.number }, `${scene.number} ${scene.name}`);
export const recallNumber = (number) => command({ do: "scene", scene: number }, `scene ${number}`);
export const entry = (place, scene) => command({ do: "entry", entry: place }, `${scene.number} ${scene.name}`);
export const panic = () => command({ do: "panic" }, "panic");

/** A sentence beside the main actions. */
export function tell(text, state) {
  const said = byId("dock-said");
  say(said, text);
  said.dataset.state = state;
}

export function start() {
  byId("next").addEventListener("click", next);
  byId("back").addEventListener("click", back);
  on("connection", () => {
    for (const id of ["next", "back", "panic"]) byId(id).disabled = !mayOperate();
  });
}
