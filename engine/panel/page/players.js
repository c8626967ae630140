// Players with scenes of their own in the room Scenes: made, their inputs and their set list chosen, removed.

import { command, mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, find, make, note, select } from "./dom.js";
import { orderedParts } from "./ordered.js";
import { putValues, textInput, valueField } from "./value-fields.js";

let wrong = ""; // why the player that was to be made could not be

/** All players, and one more to be made. */
export function players() {
  const { players: all = [], setlists = [], inputs = [] } = held.rig ?? {};
  const free = inputs.filter((name) => !all.some((each) => each.inputs.includes(name)));
  return [
    make("h2", { text: "Players" }),
    ...(all.length ? [] : [note("A player with scenes of their own has inputs and a set list, whose scenes these inputs alone play.")]),
    ...orderedParts("players", "player", all.map((each, place) => onePlayer(each, place, free))),
    ...(mayOperate() && free.length && setlists.length ? [newPlayer(all.length, free)] : []),
  ];
}

/**
 * @param {number} place
 * @param {string[]} free
 */
function newPlayer(place, free) {
  const field = (/** @type {string} */ label, /** @type {HTMLInputElement | HTMLSelectElement} */ one) => {
    one.setAttribute("aria-label", label);
    one.name = label;
    return one;
  };
  return make("form", { class: "take", "data-key": "new player", on: { submit: (event) => add(event, place) } },
    field("Name of a new player", textInput("", { placeholder: "New player" })), field("Input of the new player", select(options(free), free[0], () => {})),
    field("Set list of the new player", select(setlistOptions(), setlistOptions()[0][0], () => {})), make("button", { text: "Add the player" }),
    make("p", { class: "fault", role: "alert", text: wrong, hidden: !wrong }));
}

/**
 * @param {SubmitEvent} event
 * @param {number} place
 */
async function add(event, place) {
  event.preventDefault();
  if (!(event.target instanceof HTMLFormElement)) return;
  const form = event.target;
  const [name, input, setlist] = [...new FormData(form).values()].map((value) => String(value).trim());
  const answer = await putValues([[["players", place], { name, inputs: [input], setlist }]], `player ${name} added`);
  wrong = answer.done ? "" : answer.words?.join("; ") || answer.text;
  const fault = find(form, ".fault");
  if (fault) fault.textContent = wrong;
  if (fault) fault.hidden = answer.done;
  if (answer.done) form.reset();
}

/** @param {string[]} names @returns {[string, string][]} */
const options = (names) => names.map((name) => [name, name]);

const setlistOptions = () => options((held.rig?.setlists ?? []).map(({ name }) => name));

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
  const remove = button("Remove this player", () => command({ do: "edit", what: "remove", section: "players", name }, `remove ${name}`), { class: "danger", "data-key": "remove", "aria-label": `Remove this player: ${name}` });
  remove.disabled = !mayOperate();
  return { name, words: `${name}: ${inputs.join(" and ")}, ${setlist}`, opens: [
    valueField("Name", textInput(name), `name players ${place}`, (value) => command({ do: "edit", what: "rename", section: "players", name, new: value }, `call ${name} ${value}`), "in one word, such as anna"),
    make("div", { class: "row", role: "group", "aria-label": `Inputs of ${name}` }, ...choices),
    valueField("Set list", select(setlistOptions(), setlist, () => {}), `setlist ${place}`, (value) => put("setlist", value, `set list ${value}`)),
    make("div", { class: "row" }, remove),
  ] };
}
