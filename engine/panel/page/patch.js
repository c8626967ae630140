// The view Patch: which input reaches which output in one scene, and its routes, filters and sounds, to be edited.

import { onLook, rateWords } from "./activity.js";
import * as burst from "./burst.js";
import { command, mayOperate } from "./commands.js";
import { held, on } from "./connection.js";
import { button, byId, find, findAll, kept, make, note, refill, say, select, setOptions } from "./dom.js";
import { chooseScene, chosenScene, scene } from "./edited-scene.js";
import * as inputRoutes from "./input-routes.js";
import { chainWords, sceneOptions } from "./labels.js";
import { nothing, signs, table } from "./patch-table.js";
import { inWords, playing, stateWords } from "./playing.js";
import { save } from "./saving.js";
import * as scenes from "./scenes.js";

/** @type {string | null} */
let chosenInput = null;
let asTable = kept.get("bayleaf-patch") !== "list" && matchMedia("(min-width: 64rem)").matches;
/** @type {ReturnType<typeof build> | null} */
let parts = null;

export function start() {
  on("rig", render);
  on("connection", render);
  on("frame", (frame) => {
    if ("unsaved" in frame || "undo" in frame || "redo" in frame) showUnsaved();
    if ("muted_routes" in frame || "scene" in frame) render();
  });
  onLook(showActivity);
  inputRoutes.onOpen({ show: openFully, add: scenes.openNew });
}

export function enter() {
  parts ??= build();
  render();
}

/**
 * Open a line for editing; of a route, all that its input plays.
 * @param {Playing} each
 * @param {string} input
 */
function openFully(each, input) {
  const shown = scene();
  if (each.line && shown) scenes.openLine(shown, each);
  else choose(input);
}

/** @param {number | null} number of the scene to show, or null for the current one */
function turnTo(number) {
  chooseScene(number);
  inputRoutes.forget();
  burst.forget();
  render();
}

function build() {
  const made = {
    scene: select([], "", (value) => turnTo(value === "" ? null : Number(value)), { "aria-label": "Scene" }),
    search: make("input", { "aria-label": "Find an input or output", placeholder: "Find a port", autocomplete: "off", spellcheck: "false", on: { input: render } }),
    table: make("div", { class: "table" }),
    form: button("", changeForm),
    unsaved: make("span", { class: "state", role: "status" }),
    undo: button("Undo", () => command({ do: "edit", what: "undo" }, "undo"), { class: "long" }),
    redo: button("Redo", () => command({ do: "edit", what: "redo" }, "redo"), { class: "long" }),
    save: button("Save", saveRig),
    said: make("div", { class: "save-said", role: "status" }),
    inputs: make("ul", { class: "inputs" }),
    list: make("div", { class: "sources" }),
    detail: make("div", { class: "detail drawer" }),
    burst: make("div", { class: "burst" }),
    words: make("ul", { class: "in-words" }),
    body: make("div", { class: "patch" }),
  };
  made.list.append(made.inputs);
  made.body.append(made.list);
  byId("view-patch").append(
    make("h1", { id: "title-patch", tabindex: "-1", text: "Patch" }),
    make("div", { class: "bar" }, made.scene, made.undo, made.redo, made.save, made.unsaved, made.form, made.search,
      make("a", { href: "#scenes", text: "Sentences" }), make("a", { href: "#flow", text: "Drawing" }), signs()),
    made.said,
    make("div", { class: "room" },
      make("div", { class: "beside" }, made.table, made.body,
        make("div", {}, make("div", { class: "only-large" }, make("h2", { text: "What plays" }), made.words), make("h2", { text: "Burst: the sounds that this scene recalls" }), made.burst)),
      made.detail),
  );
  return made;
}

function saveRig() {
  if (parts) save(parts.said);
}

function changeForm() {
  asTable = !asTable;
  kept.set("bayleaf-patch", asTable ? "table" : "list");
  render();
}

function showUnsaved() {
  if (!parts) return;
  const unsaved = held.facts.unsaved;
  say(parts.unsaved, held.facts.draft ? "not in a file yet" : unsaved ? "unsaved" : "saved");
  parts.unsaved.dataset.state = unsaved ? "unsaved" : "saved";
  const { undo, redo } = held.facts;
  say(parts.undo, undo ? `Undo: ${undo}` : "Undo");
  say(parts.redo, redo ? `Redo: ${redo}` : "Redo");
  parts.undo.disabled = !undo || !mayOperate();
  parts.redo.disabled = !redo || !mayOperate();
}

function render() {
  if (!parts || !held.rig || byId("view-patch").hidden) return;
  setOptions(parts.scene, sceneOptions(), chosenScene() ?? "");
  parts.save.disabled = !mayOperate();
  showUnsaved();
  const shown = scene();
  if (!shown) {
    refill(parts.inputs, make("li", { class: "note", text: "No current scene; choose one." }));
    for (const each of [parts.table, parts.detail, parts.words, parts.burst]) refill(each);
    return;
  }
  const query = parts.search.value.trim().toLowerCase();
  showForm(shown, query);
  showDetail(shown, query);
  const all = playing(shown);
  refill(parts.words, ...(all.length ? inWords(all, shown).map((text) => make("li", { text })) : [make("li", { class: "note", text: "Nothing in this scene." })]));
  burst.show(parts.burst, shown);
  showActivity();
}

/**
 * @param {Scene} shown
 * @param {string} query
 */
function showDetail(shown, query) {
  if (!parts) return;
  if (chosenInput !== null && !held.rig?.inputs.includes(chosenInput)) chosenInput = null;
  parts.body.classList.toggle("chosen", chosenInput !== null);
  parts.detail.hidden = chosenInput === null && asTable;
  if (chosenInput !== null) inputRoutes.show(parts.detail, shown, chosenInput, query, () => choose(null));
  else refill(parts.detail, ...(asTable ? [] : [note("Choose an input to see and edit its routes.")]));
}

/**
 * @param {Scene} shown
 * @param {string} query
 */
function showForm(shown, query) {
  if (!parts) return;
  say(parts.form, asTable ? "Show as list" : "Show as table");
  if (asTable) table(parts.table, shown, query, inputRoutes.pressed, inputRoutes.disconnect, choose);
  else listInputs(shown, query);
  parts.table.hidden = !asTable;
  parts.list.hidden = asTable;
}

/**
 * @param {Scene} shown
 * @param {string} query
 */
function listInputs(shown, query) {
  if (!parts) return;
  const rows = (held.rig?.inputs ?? []).map((name) => ({ name, reached: reach(shown, name) })).filter(({ name, reached }) =>
    `${name} ${reached.join(" ")}`.toLowerCase().includes(query));
  const found = rows.map(({ name, reached }) => make("li", { "data-key": name }, inputButton(name, reached)));
  refill(parts.inputs, ...(found.length ? found : [make("li", { class: "note" }, ...nothing(query))]));
}

const inputButtons = () => (parts ? findAll(parts.inputs, "button") : []);

/**
 * @param {string} name
 * @param {string[]} reached
 */
function inputButton(name, reached) {
  return make("button", { type: "button", class: "input", "data-input": name, "aria-pressed": String(name === chosenInput), on: { click: () => choose(name) } },
    make("span", { class: "name", text: name }),
    make("span", { class: "plays", "data-way": "in", "data-port": name }),
    ...(reached.length
      ? reached.map((each) => make("span", { class: "reaches", text: each }))
      : [make("span", { class: "reaches note", text: "not connected in this scene" })]));
}

/**
 * Where an input leads: "→ Upright on bass-box, notes ..B3 (output bass)".
 * @param {Scene} shown
 * @param {string} name
 */
function reach(shown, name) {
  return playing(shown).filter(({ from }) => from.includes(name)).map((each) => {
    const what = each.line ? [...(each.name ? [] : [each.title]), ...each.words].join(", ") : each.to.join(", ");
    const more = each.line ? `output ${each.to.join(", ")}` : each.words.length ? `through ${chainWords(each.through)}` : "";
    const state = [more, stateWords(each, shown)].filter(Boolean).join("; ");
    return `→ ${what}${state ? ` (${state})` : ""}`;
  });
}

/** @param {string | null} name */
function choose(name) {
  const before = chosenInput;
  chosenInput = name;
  inputRoutes.forget();
  render();
  if (name !== null && parts) find(parts.detail, "h2")?.focus();
  else inputButtons().find((each) => each.dataset.input === before)?.focus();
}

function showActivity() {
  if (!parts || byId("view-patch").hidden) return;
  for (const sign of findAll(byId("view-patch"), ".plays")) {
    const words = rateWords(sign.dataset.way, sign.dataset.port);
    say(sign, words === "still" ? "" : "short" in sign.dataset ? "♪" : words);
    sign.dataset.state = words === "still" ? "still" : "plays";
  }
}
