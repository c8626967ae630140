// The room Scenes: set lists, songs and scenes at the left; at the right the chosen scene as sentences, with all its facts.

import * as commands from "./commands.js";
import { command, mayOperate } from "./commands.js";
import { held, on } from "./connection.js";
import { button, byId, find, make, note, refill, select } from "./dom.js";
import { chooseScene, chosenScene, edit, scene } from "./edited-scene.js";
import { sceneWords } from "./labels.js";
import { ordered } from "./ordered.js";
import { players } from "./players.js";
import { start as startKeys } from "./range-keys.js";
import { besides, turn, wayBack } from "./rooms.js";
import { save } from "./saving.js";
import * as sentences from "./sentences.js";
import * as setlists from "./setlists.js";
import { onVelocity } from "./trying.js";
import { numberOf, textInput, valueField } from "./value-fields.js";

/** @type {ReturnType<typeof build> | null} */
let parts = null;
/** @type {number | undefined} the scene whose place in the list was shown last */
let seen;
let opened = false; // whether a scene was chosen here, which a phone then shows

export function start() {
  startKeys();
  sentences.onChange(render);
  onVelocity(render);
  on("rig", render);
  on("connection", render);
  on("frame", (frame) => {
    if (["scene", "muted_routes", "unsaved", "undo", "redo", "draft"].some((key) => key in frame)) render();
  });
}

export function enter() {
  parts ??= build();
  render();
  open(opened);
}

export function leave() {
  seen = undefined;
  sentences.forget();
}

/**
 * Show a line of a scene, to be edited.
 * @param {Scene} shown
 * @param {Playing} line
 */
export function openLine(shown, line) {
  choose(shown.number);
  sentences.openLine(shown, line);
  location.hash = "scenes";
}

/**
 * @param {Scene} shown
 * @param {PlayLine} line what is known of it
 */
export function openNew(shown, line) {
  choose(shown.number);
  location.hash = "scenes";
  sentences.addLine(shown, line);
}

function build() {
  const made = { bar: make("div", { class: "bar" }), said: make("div", { class: "save-said", role: "status" }), list: make("div", { class: "things" }), drawer: make("div", { class: "drawer" }), room: make("div", { class: "room" }) };
  made.room.append(made.list, made.drawer);
  byId("view-scenes").append(make("div", { class: "top" }, make("h1", { id: "title-scenes", tabindex: "-1", text: "Scenes" }), made.bar), made.said, made.room);
  return made;
}

function render() {
  if (!parts || !held.rig || byId("view-scenes").hidden) return;
  const shown = scene();
  refill(parts.bar, ...toolbar());
  refill(parts.list, ...sceneList(shown), ...setlists.lists("setlists", shown), ...(held.rig.format === 1 ? [] : [...setlists.lists("songs", shown), ...players()]));
  refill(parts.drawer, ...(shown ? details(shown) : [note("Choose a scene.")]));
  if (shown?.number !== seen && besides()) find(parts.list, "[aria-current]")?.scrollIntoView({ block: "center" });
  seen = shown?.number;
}

/** @param {boolean} on */
function open(on) {
  opened = on;
  if (parts) turn(parts.room, on);
}

/** From the chosen scene to all of them. */
function showAll() {
  open(false);
  if (parts) find(parts.list, "[aria-current] .entry-row")?.focus();
}

/** What was done last and can be undone, and whether the file has it. */
export function toolbar() {
  const { undo, redo, unsaved, draft } = held.facts;
  const back = button(undo ? `Undo: ${undo}` : "Undo", () => command({ do: "edit", what: "undo" }, "undo"), { "data-key": "undo", class: "long" });
  const forth = button(redo ? `Redo: ${redo}` : "Redo", () => command({ do: "edit", what: "redo" }, "redo"), { "data-key": "redo", class: "long" });
  const keep = button("Save", () => parts && save(parts.said), { "data-key": "save", class: unsaved || draft ? "accent" : "" });
  back.disabled = !undo || !mayOperate();
  forth.disabled = !redo || !mayOperate();
  keep.disabled = !mayOperate();
  return [back, forth, keep, make("span", { class: "state", text: draft ? "not in a file yet" : unsaved ? "unsaved" : "saved" })];
}

/** @param {Scene | null} shown */
function sceneList(shown) {
  const scenes = held.rig?.scenes ?? [];
  const now = held.facts.scene?.number;
  const entries = scenes.map((each) => ({
    key: String(each.number), label: sceneWords(each), current: each.number === shown?.number, press: () => choose(each.number),
    inside: [make("span", { class: "number", text: String(each.number) }), make("span", { class: "name", text: each.name }), make("span", { class: "mark", text: each.number === now ? "now" : "" })],
  }));
  const act = (/** @type {string} */ text, /** @type {() => unknown} */ press, possible = true) => {
    const made = button(text, press, { "data-key": text });
    made.disabled = !mayOperate() || !possible;
    return made;
  };
  return [
    make("div", { class: "row making" },
      act("New", () => add({})),
      act("Copy", () => shown && copy(shown), shown !== null),
      act("Like this one", () => shown && add({ like: shown.number }), shown !== null && held.rig?.format !== 1),
      act("Delete", () => shown && drop(shown), shown !== null && scenes.length > 1)),
    ordered("Scenes", entries, (from, to) => command({ do: "scenes", what: "move", number: scenes[from].number, new: scenes[to > from ? to + 1 : to]?.number ?? null }, `move ${sceneWords(scenes[from])}`)),
    note("Drag a scene, or press Alt with an arrow key, to move it."),
  ];
}

/** @param {number} number */
function choose(number) {
  sentences.forget();
  chooseScene(number);
  render();
  open(true);
}

const nextNumber = () => Math.max(0, ...(held.rig?.scenes ?? []).map(({ number }) => number)) + 1;

/** @param {Record<string, unknown>} facts */
async function add(facts) {
  const number = nextNumber();
  const answer = await command({ do: "scenes", what: "add", number, ...facts }, `new scene ${number}`);
  if (answer.done) choose(number);
}

/** @param {Scene} shown */
async function copy(shown) {
  const number = nextNumber();
  const answer = await command({ do: "scenes", what: "copy", number: shown.number, new: number }, `copy ${sceneWords(shown)} to ${number}`);
  if (answer.done) choose(number);
}

/** @param {Scene} shown */
async function drop(shown) {
  const answer = await command({ do: "scenes", what: "delete", number: shown.number }, `delete ${sceneWords(shown)}`);
  if (answer.done) chooseScene(null);
  render();
  showAll();
}

/** @param {Scene} shown */
function details(shown) {
  const now = held.facts.scene;
  const away = chosenScene() !== null && now && now.number !== shown.number;
  const play = button(`Recall ${sceneWords(shown)}`, () => commands.recall(shown), { "data-key": "recall" });
  play.disabled = !commands.mayRunShow();
  return [
    wayBack("All scenes", showAll),
    make("h2", { tabindex: "-1", text: sceneWords(shown), "data-key": `title ${shown.number}` }),
    ...(away ? [make("div", { class: "row", "data-key": "away" }, note(`${sceneWords(now)} plays now.`), play, button("Show that one", () => choose(now.number), { "data-key": "follow" }))] : []),
    ...sentences.sentences(shown),
    make("details", { "data-key": `facts ${shown.number}`, open: true }, make("summary", { text: "Name, cue, text, tempo" }), make("div", { class: "facts-of-scene" }, ...factFields(shown))),
  ];
}

/** @param {Scene} shown */
function factFields(shown) {
  const { number } = shown;
  const fact = (/** @type {string} */ key, /** @type {unknown} */ value, /** @type {string} */ words) => edit({ scene: number, what: "facts", facts: { [key]: value }, words: `${number}: ${words}`, revision: null }, words);
  const text = make("textarea", { rows: "3" });
  text.value = shown.text ?? "";
  const like = /** @type {import("./dom.js").Option[]} */ ([["", "no other scene"], ...(held.rig?.scenes ?? []).filter((each) => each.number !== number).map((each) => [each.number, sceneWords(each)])]);
  const base = held.rig?.scenes.find((each) => each.number === shown.like || each.name === shown.like);
  const both = [
    valueField("Name", textInput(shown.name), `name ${number}`, (value) => command({ do: "scenes", what: "rename", number, name: value }, `call it ${value}`)),
    valueField("Number", textInput(number, { inputmode: "numeric" }), `number ${number}`, async (value) => {
      const answer = await command({ do: "scenes", what: "renumber", number, new: numberOf(value) }, `number ${value}`);
      if (answer.done) choose(Number(value));
      return answer;
    }),
  ];
  if (held.rig?.format === 1) return both;
  return [
    ...both,
    valueField("Cue", textInput(shown.cue ?? ""), `cue ${number}`, (value) => fact("cue", value || null, `cue ${value || "none"}`), "its label in the prompt book"),
    valueField("Tempo", textInput(shown.tempo ?? "", { inputmode: "decimal" }), `tempo ${number}`, (value) => fact("tempo", value ? (Number.isNaN(Number(value)) ? value : Number(value)) : null, `tempo ${value || "as it is"}`), "beats per minute, empty to leave it"),
    valueField("Transposition", textInput(shown.transpose || ""), `transpose ${number}`, (value) => fact("transpose", value ? numberOf(value) : null, `transposed ${value || "no more"}`), "semitones, for all lines"),
    valueField("Like", select(like, base?.number ?? "", () => {}), `like ${number}`, (value) => fact("like", value ? Number(value) : null, value ? `like ${value}` : "like no other"), "begins as that one is"),
    valueField("Notes that are held", select([["", "ring on"], ["cut", "are cut"]], shown.held === "cut" ? "cut" : "", () => {}), `held ${number}`, (value) => fact("held", value || null, value ? "cuts held notes" : "lets held notes ring")),
    valueField("Text for the player", text, `text ${number}`, (value) => fact("text", value || null, "text")),
  ];
}
