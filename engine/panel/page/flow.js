// The flow: a drawing of one scene, the same in words, and how full the cables are.

import { onLook, rate } from "./activity.js";
import * as cableLoad from "./cable-load.js";
import { byId, labelled, make, select, setOptions } from "./dom.js";
import { drawing } from "./flow-drawing.js";
import { held, on } from "./connection.js";
import { filterWords, routeWords } from "./labels.js";

let chosen = null; // a scene's number, or null: the one in force
let parts = null;
let drawnAt = "";

export function start() {
  cableLoad.start();
  on("rig", render);
  on("frame", (frame) => {
    if (("scene" in frame && chosen === null) || "muted_routes" in frame) render();
  });
  onLook(showActivity);
  addEventListener("resize", () => {
    if (parts && drawnAt !== String(parts.picture.clientWidth)) render();
  });
}

export function enter() {
  if (!parts) build();
  render();
  cableLoad.enter(parts.cables);
}

export const leave = cableLoad.leave;

function build() {
  parts = {
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
    make("div", { class: "choose" }, labelled("Scene", parts.scene)),
    parts.picture,
    make("h2", { text: "The same in words" }),
    parts.words,
    make("h2", { text: "The cables over the last minute" }),
    make("p", { class: "note", text: "How much of what its cable can carry each output sends. The upper line is the cable’s limit." }),
    parts.cables,
  );
}

function render() {
  if (!parts || !held.rig || byId("view-flow").hidden) return;
  const now = held.facts.scene;
  setOptions(parts.scene, [["", now ? `the one in force: ${now.number} ${now.name}` : "the one in force"], ...held.rig.scenes.map((each) => [each.number, `${each.number} ${each.name}`])], chosen ?? "");
  const scene = held.rig.scenes.find((each) => each.number === (chosen ?? now?.number));
  drawnAt = String(parts.picture.clientWidth);
  if (!scene) {
    parts.picture.replaceChildren(make("p", { class: "note", text: "No scene is in force; choose one." }));
    parts.words.replaceChildren();
    return;
  }
  const muted = new Set(held.facts.muted_routes ?? []);
  const routes = [
    ...scene.routes.map((route, index) => ({ ...route, title: route.name ?? `Route ${index + 1}`, muted: muted.has(route.name) })),
    ...held.rig.routes.map((route) => ({ ...route, title: route.name ?? "In every scene", lasting: true, muted: muted.has(route.name) })),
  ];
  if (routes.length) parts.picture.replaceChildren(drawing(`${scene.number} ${scene.name}`, routes, held.rig, Math.max(300, parts.picture.clientWidth), parseFloat(getComputedStyle(parts.picture).fontSize)));
  else parts.picture.replaceChildren(make("p", { class: "note", text: "No route leads anywhere in this scene." }));
  parts.words.replaceChildren(...routes.map(wordsOf), ...idle(routes));
  showActivity();
}

function wordsOf(route) {
  const through = route.through.length ? ` through ${route.through.map(filterWords).join(", then ")}` : ", as it is";
  const more = [route.lasting && "in every scene", route.muted && "muted"].filter(Boolean).join(", ");
  return make("li", { text: `${routeWords(route)}${through}${more ? ` (${more})` : ""}` });
}

function idle(routes) {
  const inputs = held.rig.inputs.filter((name) => !routes.some((route) => route.from.includes(name)));
  const outputs = held.rig.outputs.map(({ name }) => name).filter((name) => !routes.some((route) => route.to.includes(name)));
  return [
    inputs.length ? make("li", { class: "note", text: `Lead nowhere: ${inputs.join(", ")}` }) : null,
    outputs.length ? make("li", { class: "note", text: `Get nothing: ${outputs.join(", ")}` }) : null,
  ].filter(Boolean);
}

function showActivity() {
  if (!parts || byId("view-flow").hidden) return;
  for (const mark of parts.picture.querySelectorAll("[data-port]")) {
    mark.classList.toggle("plays", rate(mark.dataset.way, mark.dataset.port) > 0);
  }
}
