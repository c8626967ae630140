// The player whose scenes this browser shows and recalls: chosen once in the view Show, and kept in this browser.

import { held, on } from "./connection.js";
import { byId, kept, selectById, setOptions } from "./dom.js";

let chosen = "";
let listed = "";

/** @type {() => void} */
let changed = () => {};

/** The player's name, "" for the rest of the rig: the rig that plays may have no such player. */
export const player = () => (held.facts.players?.[chosen] ? chosen : "");

/**
 * Scene in force, next scene, set list, song and step: of the player, or of the rest of the rig.
 * @returns {Partial<Place>}
 */
export const place = () => held.facts.players?.[chosen] ?? held.facts;

/** What a request needs to act on these scenes. */
export const forPlayer = () => (player() ? { player: player() } : {});

/** @param {() => void} show called when another player is chosen */
export function start(show) {
  changed = show;
  chosen = kept.get("bayleaf-player") ?? "";
  byId("player").addEventListener("change", () => {
    chosen = selectById("player").value;
    kept.set("bayleaf-player", chosen);
    changed();
  });
  on("frame", list);
}

/** @param {Frame} frame */
function list(frame) {
  if (!frame.players) return;
  const names = Object.keys(frame.players);
  byId("player-choice").hidden = !names.length;
  if (names.join(" ") === listed) return;
  listed = names.join(" ");
  setOptions(selectById("player"), [["", "the rest of the rig"], ...names.map(/** @returns {[string, string]} */ (name) => [name, name])], player());
  changed();
}
