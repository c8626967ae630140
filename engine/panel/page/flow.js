// The view Flow: one scene as a drawing and in words, and the load of each cable.

import { onLook, rate } from "./activity.js";
import * as cableLoad from "./cable-load.js";
import { held, on } from "./connection.js";
import { byId, findAll, labelled, make, note, refill, select, setOptions } from "./dom.js";
import { drawing } from "./flow-drawing.js";
import { sceneOptions } from "./labels.js";
import { inWords, playing } from "./playing.js";

/** @type {number | null} a scene's number, or null for the current one */
let chosen = null;
/** @type {ReturnType<typeof build> | null} */
let parts = null;
let drawnWidth = -1; // pixels

export function start() {
  cableLoad.start();
  on("rig", render);
  on("frame", (frame) => {
    if (("scene" in frame && chosen === null) || "muted_routes" in frame) render();
  });
  onLook(showActivity);
  addEventListener("resize", () => {
    if (parts && drawnWidth !== parts.picture.clientWidth) render();
  });
}

export function enter() {
  parts ??= build();
  render();
  cableLoad.enter(parts.cables);
}

export const leave = cableLoad.leave;

function build() {
  const made = {
    scene: select([], "", (value) => {
      chosen = value === "" ? null : Number(value);
      render();
    }),
    picture: make("div", { class: "picture" }),
    words: make("ul", { class: "in-words" }),
    cables: make("ul", { class: "cables" }),
  };
  byId("view-flow").append(
    make("h1", { id: "title-flow", tabindex: "-1", text: "Flow" }),
    make("div", { class: "choose" }, labelled("Scene", made.scene), make("p", {}, make("a", { href: "#patch", text: "Connect in the table" }))),
    made.picture,
    make("h2", { text: "In words" }),
    made.words,
    make("h2", { text: "Cable load, last minute" }),
    note("What each output sends, as a share of what its cable can carry. The dashed line is the cable’s limit."),
    made.cables,
  );
  return made;
}

function render() {
  const { rig, facts } = held;
  if (!parts || !rig || byId("view-flow").hidden) return;
  setOptions(parts.scene, sceneOptions(), chosen ?? "");
  const scene = rig.scenes.find((each) => each.number === (chosen ?? facts.scene?.number));
  drawnWidth = parts.picture.clientWidth;
  if (!scene) {
    parts.picture.replaceChildren(note("No current scene; choose one."));
    parts.words.replaceChildren();
    return;
  }
  const routes = playing(scene);
  const letters = parseFloat(getComputedStyle(parts.picture).fontSize);
  parts.picture.replaceChildren(routes.length ? drawing(scene, routes, rig, Math.max(300, drawnWidth), letters) : note("Nothing plays in this scene."));
  refill(parts.words, ...inWords(routes, scene).map((text) => make("li", { text })), ...unused(rig, routes));
  showActivity();
}

/**
 * @param {Rig} rig
 * @param {Playing[]} routes
 */
function unused(rig, routes) {
  const inputs = rig.inputs.filter((name) => !routes.some((route) => route.from.includes(name)));
  const outputs = rig.outputs.map(({ name }) => name).filter((name) => !routes.some((route) => route.to.includes(name)));
  return [
    ...(inputs.length ? [make("li", { class: "note", text: `Inputs that play nothing: ${inputs.join(", ")}` })] : []),
    ...(outputs.length ? [make("li", { class: "note", text: `Outputs that nothing reaches: ${outputs.join(", ")}` })] : []),
  ];
}

function showActivity() {
  if (!parts || byId("view-flow").hidden) return;
  for (const mark of findAll(parts.picture, "[data-port]")) {
    mark.classList.toggle("plays", rate(mark.dataset.way, mark.dataset.port) > 0);
  }
}
