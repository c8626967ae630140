// Players with scenes of their own in the room Scenes: made, their inputs and their set list chosen, removed.

import { command, mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, make, note, select } from "./dom.js";
import { fresh } from "./setlists.js";
import { putValues, textInput, valueField } from "./value-fields.js";

/** All players, and one more to be made. */
export function players() {
  const { players: all = [], setlists = [], inputs = [] } = held.rig ?? {};
  const free = inputs.filter((name) => !all.some((each) => each.inputs.includes(name)));
  const add = button("New player", () => {
    const name = fresh(all, "player").replace(" ", "-");
    return putValues([[["players", all.length], { name, inputs: free.slice(0, 1), setlist: setlists[0].name }]], `${name} added`);
  }, { "data-key": "new player" });
  add.disabled = !mayOperate() || !setlists.length || !free.length;
  return [
    make("h2", { text: "Players" }),
    ...(all.length ? [] : [note("A player with scenes of their own has inputs and a set list, whose scenes these inputs alone play.")]),
    ...all.map((each, place) => onePlayer(each, place, free)),
    add,
  ];
}

/**
 * @param {PlayerTable} player
 * @param {number} place
 * @param {string[]} free inputs that no player has
 */
function onePlayer({ name, inputs, setlist }, place, free) {
  const put = (/** @type {string} */ key, /** @type {unknown} */ value, /** @type {string} */ words) => putValues([[["players", place, key], value]], `${name}: ${words}`);
  const among = (held.rig?.inputs ?? []).filter((each) => inputs.includes(each) || free.includes(each));
  const choices = among.map((each) => {
    const has = inputs.includes(each);
    const made = button(each, () => put("inputs", has ? inputs.filter((one) => one !== each) : [...inputs, each], `${has ? "without" : "with"} ${each}`), { "aria-pressed": String(has), "data-key": each });
    made.disabled = !mayOperate() || (has && inputs.length === 1);
    return made;
  });
  const lists = (held.rig?.setlists ?? []).map(/** @returns {[string, string]} */ (each) => [each.name, each.name]);
  const remove = button("Remove this player", () => command({ do: "edit", what: "remove", section: "players", name }, `remove ${name}`), { class: "danger", "data-key": "remove", "aria-label": `Remove this player: ${name}` });
  remove.disabled = !mayOperate();
  return make("details", { "data-key": `players ${place}`, class: "list" },
    make("summary", { text: `${name}: ${inputs.join(" and ")}, ${setlist}` }),
    valueField("Name", textInput(name), `name players ${place}`, (value) => command({ do: "edit", what: "rename", section: "players", name, new: value }, `call ${name} ${value}`), "in one word, such as anna"),
    make("div", { class: "row", role: "group", "aria-label": `Inputs of ${name}` }, ...choices),
    valueField("Set list", select(lists, setlist, () => {}), `setlist ${place}`, (value) => put("setlist", value, `set list ${value}`)),
    make("div", { class: "row" }, remove));
}
