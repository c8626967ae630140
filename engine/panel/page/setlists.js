// Set lists and songs in the room Scenes: made, filled, put in order by keyboard or by dragging, removed.

import { command, mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, make } from "./dom.js";
import { sceneWords } from "./labels.js";
import { moved, ordered, orderedParts } from "./ordered.js";
import { putValues, textInput, valueField } from "./value-fields.js";

/** @typedef {"setlists" | "songs"} Section */

const TITLES = { setlists: "Set lists", songs: "Songs" };
const NEW = { setlists: "Set list", songs: "Song" };

/**
 * @param {Section} section
 * @param {Scene | null} scene that is chosen, to be added
 */
export function lists(section, scene) {
  const all = held.rig?.[section] ?? [];
  const add = button(`New ${NEW[section].toLowerCase()}`, () => {
    const name = fresh(all, NEW[section]);
    return putValues([[[section, all.length], { name, scenes: [scene?.number ?? held.rig?.scenes[0].number] }]], `${name} added`);
  }, { "data-key": `new ${section}` });
  add.disabled = !mayOperate() || (section === "songs" && held.rig?.format === 1);
  const songs = held.rig?.songs ?? [];
  const ofSongs = button("New list of songs", () => putValues([[[section, all.length], { name: fresh(all, "Songs"), songs: songs.map(({ name }) => name) }]], "a set list of all songs added"), { "data-key": "new of songs" });
  ofSongs.disabled = !mayOperate();
  return [make("h2", { text: TITLES[section] }), ...orderedParts(section, NEW[section].toLowerCase(), all.map((each, place) => oneList(section, place, each, scene))), make("div", { class: "row", "data-key": `make ${section}` }, add, section === "setlists" && songs.length ? ofSongs : null)];
}

/**
 * A name that no other list has.
 * @param {{name: string}[]} all
 * @param {string} stem
 */
function fresh(all, stem) {
  let number = all.length + 1;
  while (all.some(({ name }) => name === `${stem} ${number}`)) number += 1;
  return `${stem} ${number}`;
}

/**
 * @param {Section} section
 * @param {number} place
 * @param {{name: string, scenes: number[], songs?: string[]}} list
 * @param {Scene | null} scene
 */
function oneList(section, place, { name, scenes, songs = [] }, scene) {
  const bySongs = songs.length > 0;
  /** @type {(number | string)[]} */
  const entries = bySongs ? songs : scenes;
  const put = (/** @type {(number | string)[]} */ now, /** @type {string} */ words) => putValues([[[section, place, bySongs ? "songs" : "scenes"], now]], words);
  const words = (/** @type {number | string} */ entry) => (bySongs ? String(entry) : `${entry} ${held.rig?.scenes.find(({ number }) => number === entry)?.name ?? ""}`);
  const adding = (/** @type {string} */ what, /** @type {number | string} */ entry) => {
    const made = button(`Add ${what}`, () => put([...entries, entry], `${name}: ${what} added`), { "data-key": `add ${entry}` });
    made.disabled = !mayOperate();
    return made;
  };
  const adds = bySongs ? (held.rig?.songs ?? []).map((each) => adding(each.name, each.name)) : scene ? [adding(sceneWords(scene), scene.number)] : [];
  const remove = button("Remove this list", () => command({ do: "edit", what: "remove", section, name }, `remove ${name}`), { class: "danger", "data-key": "remove", "aria-label": `Remove this list: ${name}` });
  remove.disabled = !mayOperate();
  return { name, words: `${name}: ${entries.length === 1 ? "1 entry" : `${entries.length} entries`}`, opens: [
    valueField("Name", textInput(name), `name ${section} ${place}`, (value) => command({ do: "edit", what: "rename", section, name, new: value }, `call it ${value}`)),
    ordered(`${name}, in order`, entries.map((entry, index) => ({
      key: `${entry} ${entries.slice(0, index).filter((each) => each === entry).length}`,
      label: words(entry),
      inside: [make("span", { class: "place", text: `${index + 1}.` }), make("span", { class: "name", text: words(entry) }), drop(entries, index, name, words(entry), put)],
    })), (from, to) => put(moved(entries, from, to), `${name}: ${words(entries[from])} is now ${to + 1}.`)),
    make("div", { class: "row" }, ...adds, remove),
  ] };
}

/**
 * @param {(number | string)[]} entries
 * @param {number} index
 * @param {string} name
 * @param {string} words
 * @param {(now: (number | string)[], words: string) => unknown} put
 */
function drop(entries, index, name, words, put) {
  const twice = entries.filter((each) => each === entries[index]).length > 1;
  const made = button("✕", () => put(entries.filter((_, place) => place !== index), `${name}: ${words} taken out`), { "aria-label": `Take out ${words}${twice ? ` at ${index + 1}` : ""}`, "data-key": "drop" });
  made.disabled = !mayOperate() || entries.length === 1;
  return made;
}
