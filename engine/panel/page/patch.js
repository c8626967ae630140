// The patch: which input reaches which output in one scene, and the work on it.

import { onLook, rateWords } from "./activity.js";
import * as burst from "./burst.js";
import { command, mayOperate } from "./commands.js";
import { button, byId, kept, labelled, make, say, select, setOptions } from "./dom.js";
import { held, on } from "./connection.js";
import { chooseScene, chosenScene, scene } from "./edited-scene.js";
import { table } from "./patch-table.js";
import * as inputRoutes from "./input-routes.js";
import { chainWords } from "./labels.js";

let chosenInput = null;
let asTable = kept.get("bayleaf-patch") !== "list" && matchMedia("(min-width: 64rem)").matches;
let parts = null;

export function start() {
  on("rig", render);
  on("connection", render);
  on("frame", (frame) => {
    if ("unsaved" in frame) showUnsaved();
    if ("muted_routes" in frame) render();
    if ("scene" in frame) render();
  });
  onLook(showActivity);
}

export function enter() {
  if (!parts) build();
  render();
}

function build() {
  const find = make("input", { autocomplete: "off", spellcheck: "false", on: { input: render } });
  parts = {
    scene: select([], "", (value) => {
      chooseScene(value === "" ? null : Number(value));
      inputRoutes.forget();
      burst.forget();
      render();
    }),
    find,
    table: make("div", { class: "table" }),
    form: button("", changeForm),
    unsaved: make("p", { class: "unsaved", role: "status" }),
    undo: button("Undo", () => command({ do: "edit", what: "undo" }, "undo")),
    redo: button("Redo", () => command({ do: "edit", what: "redo" }, "redo")),
    save: button("Save", () => save()),
    said: make("div", { class: "save-said", role: "status" }),
    inputs: make("ul", { class: "inputs" }),
    detail: make("div", { class: "detail" }),
    burst: make("div", { class: "burst" }),
    body: make("div", { class: "patch" }),
  };
  parts.list = make("div", { class: "sources" }, parts.inputs);
  parts.body.append(parts.list, parts.detail);
  byId("view-patch").append(
    make("h1", { id: "title-patch", tabindex: "-1", text: "Patch" }),
    make("div", { class: "choose" }, labelled("Scene", parts.scene), make("div", { class: "row" }, parts.undo, parts.redo, parts.save, parts.form)),
    parts.unsaved,
    parts.said,
    labelled("Find an input or output", find),
    parts.table,
    parts.body,
    make("h2", { text: "Sounds this scene calls up" }),
    parts.burst,
  );
}

function changeForm() {
  asTable = !asTable;
  kept.set("bayleaf-patch", asTable ? "table" : "list");
  render();
}

async function save(choice) {
  const answer = await command({ do: "save", ...(choice && { choice }) }, "save");
  const clash = !answer.done && answer.text.includes("--playing");
  parts.said.replaceChildren(
    make("pre", { text: answer.text }),
    ...(clash
      ? [make("div", { class: "row" },
          button("Save what plays", () => save("playing")),
          button("Play what the file holds", () => save("file")))]
      : []),
  );
}

function showUnsaved() {
  if (!parts) return;
  const unsaved = held.facts.unsaved;
  say(parts.unsaved, unsaved ? "Unsaved: what plays is not in the rig file yet." : "Saved: the rig file holds what plays.");
  parts.unsaved.dataset.state = unsaved ? "unsaved" : "saved";
}

function render() {
  if (!parts || !held.rig || byId("view-patch").hidden) return;
  const now = held.facts.scene;
  const options = held.rig.scenes.map((each) => [each.number, `${each.number} ${each.name}`]);
  setOptions(parts.scene, [["", now ? `the one in force: ${now.number} ${now.name}` : "the one in force"], ...options], chosenScene() ?? "");
  for (const each of [parts.undo, parts.redo, parts.save]) each.disabled = !mayOperate();
  showUnsaved();
  const shown = scene();
  if (!shown) {
    parts.inputs.replaceChildren(make("li", { class: "note", text: "No scene is in force; choose one." }));
    parts.table.replaceChildren();
    parts.detail.replaceChildren();
    parts.burst.replaceChildren();
    return;
  }
  if (chosenInput !== null && !held.rig.inputs.includes(chosenInput)) chosenInput = null;
  const wanted = parts.find.value.trim().toLowerCase();
  showForm(shown, wanted);
  parts.body.classList.toggle("chosen", chosenInput !== null);
  if (chosenInput === null && asTable) parts.detail.replaceChildren();
  else if (chosenInput === null) {
    parts.detail.replaceChildren(make("p", { class: "note", text: "Choose an input to see and change where it leads." }));
  } else inputRoutes.show(parts.detail, shown, chosenInput, wanted, () => choose(null));
  burst.show(parts.burst, shown);
  showActivity();
}

function showForm(shown, wanted) {
  say(parts.form, asTable ? "As a list" : "As a table");
  parts.table.hidden = parts.list.hidden = true;
  parts.body.classList.toggle("under", asTable);
  if (asTable) table(parts.table, shown, wanted, inputRoutes.change, choose);
  else listInputs(shown, wanted);
  (asTable ? parts.table : parts.list).hidden = false;
}

function listInputs(shown, wanted) {
  const focused = document.activeElement?.dataset?.input;
  const rows = held.rig.inputs.map((name) => [name, reach(shown, name)]).filter(([name, reached]) =>
    `${name} ${reached.map((each) => each.text).join(" ")}`.toLowerCase().includes(wanted));
  parts.inputs.replaceChildren(...rows.map(([name, reached]) => {
    const row = make("button", { type: "button", class: "input", "aria-pressed": String(name === chosenInput), on: { click: () => choose(name) } },
      make("span", { class: "name", text: name }),
      make("span", { class: "plays", "data-way": "in", "data-port": name }),
      ...(reached.length
        ? reached.map((each) => make("span", { class: "reaches" }, make("span", { text: `→ ${each.text}` }), each.through ? make("em", { text: ` through ${each.through}` }) : null))
        : [make("span", { class: "reaches note", text: "leads nowhere in this scene" })]));
    row.dataset.input = name;
    return make("li", {}, row);
  }));
  if (!rows.length) parts.inputs.append(make("li", { class: "note", text: "Nothing is called that." }));
  if (focused) [...parts.inputs.querySelectorAll("button")].find((each) => each.dataset.input === focused)?.focus();
}

/** Where an input leads: the scene's own routes, then those of every scene. */
function reach(shown, name) {
  const muted = held.facts.muted_routes ?? [];
  const told = (route, more) => ({
    text: `${route.to.join(", ")}${more}${muted.includes(route.name) ? " (muted)" : ""}`,
    through: chainWords(route.through),
  });
  return [
    ...shown.routes.filter((route) => route.from.includes(name)).map((route) => told(route, "")),
    ...held.rig.routes.filter((route) => route.from.includes(name)).map((route) => told(route, " (in every scene)")),
  ];
}

function choose(name) {
  const before = chosenInput;
  chosenInput = name;
  inputRoutes.forget();
  render();
  if (name !== null) parts.detail.querySelector("h2")?.focus();
  else [...parts.inputs.querySelectorAll("button")].find((each) => each.dataset.input === before)?.focus();
}

function showActivity() {
  if (!parts || byId("view-patch").hidden) return;
  for (const sign of byId("view-patch").querySelectorAll(".plays")) {
    const words = rateWords(sign.dataset.way, sign.dataset.port);
    say(sign, "short" in sign.dataset ? (words === "still" ? "" : "♪") : words);
    sign.dataset.state = words === "still" ? "still" : "plays";
  }
}
