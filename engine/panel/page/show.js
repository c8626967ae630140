// The show: which scene is in force, what comes next, the time, and how all is.

import * as commands from "./commands.js";
import { byId, make, say, setOptions } from "./dom.js";
import { held, isOld, on } from "./connection.js";
import { sceneWords } from "./labels.js";

const SIZES = [13, 11, 9.5, 8, 7, 6, 5, 4.2, 3.6, 3, 2.5, 2, 1.5]; // rem of the scene's name, the largest that fits is taken
const LINES = 3;

let order = ""; // the name of the set list shown, "" for all scenes
let orderChosen = false;
let fitted = "";

export function start() {
  on("frame", showFrame);
  on("rig", showRig);
  on("connection", showLine);
  on("age", showLine);
  byId("find-scene").addEventListener("input", listScenes);
  byId("find-scene").addEventListener("keydown", jumpToFirst);
  byId("order").addEventListener("change", () => {
    order = byId("order").value;
    orderChosen = true;
    listScenes();
  });
  byId("use-setlist").addEventListener("click", () => commands.command({ do: "setlist", setlist: order }, `set list ${order}`));
  addEventListener("resize", fit);
  new ResizeObserver(fit).observe(byId("cue")); // its letters may have another size now
}

export function enter() {
  fitted = "";
  fit();
}

function showFrame(frame) {
  const { scene, next, setlist, tempo, timecode, health } = held.facts;
  if ("scene" in frame || "next" in frame || "setlist" in frame) {
    say(byId("scene-number"), scene ? String(scene.number) : "–");
    say(byId("scene-name"), scene?.name ?? "No scene is in force");
    say(byId("next-scene"), next ? sceneWords(next) : "nothing; this is the last");
    say(byId("setlist"), setlist?.name ? `${setlist.name}, ${setlist.place} of ${setlist.of}` : "none; in the order of the rig");
    say(byId("dock-scene"), `${sceneWords(scene)}${next ? `, then ${sceneWords(next)}` : ""}`);
    say(byId("said-scene"), scene ? `Scene ${sceneWords(scene)}` : "");
    document.title = scene ? `${sceneWords(scene)} – Bayleaf` : "Bayleaf";
    if (!orderChosen && setlist && (setlist.name ?? "") !== order) {
      order = setlist.name ?? "";
      if (held.rig) showRig();
    }
    markScenes();
    fit();
  }
  if (!byId("view-show").hidden) {
    say(byId("tempo"), tempo == null ? "no clock" : `${tempo.toFixed(1)} from ${held.facts.clock_from}`);
    say(byId("timecode"), timecode == null ? "none" : `${timecode} ${held.facts.timecode_runs ? "runs" : "stands"}, from ${held.facts.timecode_from}`);
  }
  if ("health" in frame || "muted_routes" in frame) showHealth(health ?? []);
}

function showHealth(sentences) {
  const muted = held.facts.muted_routes ?? [];
  const all = muted.length ? [...sentences, `muted: ${muted.join(", ")}`] : sentences;
  byId("health").replaceChildren(
    make("p", { class: "margin", text: all.length ? "To see to" : "All is well" }),
    ...(all.length ? [make("ul", {}, ...all.map((text) => make("li", { text })))] : []),
  );
  byId("health").dataset.state = all.length ? "faults" : "well";
  say(byId("said-health"), all.length ? all.join(". ") : "All is well");
}

function showLine() {
  const old = byId("old");
  const since = held.heardTime ? `since ${held.heardTime.toLocaleTimeString([], { hour12: false })}` : null;
  old.hidden = !isOld() && !held.gone;
  if (!old.hidden) {
    const why = held.gone ? `${sentence(held.gone)} ` : held.open ? "" : "The panel does not answer. ";
    say(old, since ? `What is shown is old, ${since}. ${why}Trying again by itself.` : `${why || "Connecting. "}Nothing has been heard yet.`);
  }
  byId("view-show").classList.toggle("old", !old.hidden);
  const role = byId("role");
  role.hidden = held.role !== "view";
  say(role, role.hidden ? "" : "This browser may look, not operate.");
}

const sentence = (text) => `${text[0].toUpperCase()}${text.slice(1)}.`;

function showRig() {
  const lists = held.rig.setlists;
  say(byId("rig-name"), held.rig.name);
  if (order && !lists.some((each) => each.name === order)) order = "";
  setOptions(byId("order"), [...lists.map((each) => [each.name, each.name]), ["", "the rig, all scenes"]], order);
  listScenes();
}

/** What is listed: [scene, place in the set list in use or null]. */
function listed() {
  const scenes = new Map(held.rig.scenes.map((scene) => [scene.number, scene]));
  const list = held.rig.setlists.find((each) => each.name === order);
  if (!list) return held.rig.scenes.map((scene) => [scene, null]);
  const inUse = list.name === held.facts.setlist?.name;
  return list.scenes.map((number, index) => [scenes.get(number), inUse ? index + 1 : null]);
}

function listScenes() {
  if (!held.rig) return;
  const wanted = byId("find-scene").value.trim().toLowerCase();
  byId("use-setlist").hidden = !order || order === held.facts.setlist?.name || !commands.mayOperate();
  const rows = listed()
    .filter(([scene]) => String(scene.number).startsWith(wanted) || scene.name.toLowerCase().includes(wanted))
    .map(([scene, place]) => {
      const press = () => (place === null ? commands.recall(scene) : commands.entry(place, scene));
      const row = make("button", { type: "button", class: "scene", on: { click: press } },
        make("span", { class: "number", text: String(scene.number) }),
        make("span", { class: "name", text: scene.name }),
        make("span", { class: "mark" }));
      row.disabled = !commands.mayOperate();
      row.dataset.number = scene.number;
      if (place !== null) row.dataset.place = place;
      return make("li", {}, row);
    });
  byId("scenes").replaceChildren(...rows);
  if (!rows.length) byId("scenes").append(make("li", { class: "note", text: "No scene is called that." }));
  markScenes();
}

function markScenes() {
  const { scene, next, setlist } = held.facts;
  for (const row of byId("scenes").querySelectorAll("button")) {
    const place = Number(row.dataset.place) || null;
    const here = Number(row.dataset.number) === scene?.number && (place === null || place === setlist?.place);
    const following = Number(row.dataset.number) === next?.number && (place === null || place === setlist?.place + 1);
    row.toggleAttribute("aria-current", here);
    if (here) row.setAttribute("aria-current", "true");
    say(row.lastElementChild, here ? "now" : following ? "next" : "");
  }
}

function jumpToFirst(event) {
  if (event.key !== "Enter") return;
  const exact = [...byId("scenes").querySelectorAll("button")].find((row) => row.dataset.number === event.target.value.trim());
  (exact ?? byId("scenes").querySelector("button"))?.click();
}

/** The scene's name as large as its room allows. */
function fit() {
  const name = byId("scene-name");
  const now = `${name.textContent} ${innerWidth} ${innerHeight} ${getComputedStyle(document.documentElement).fontSize}`;
  if (byId("view-show").hidden || fitted === now) return;
  fitted = now;
  const room = Math.max(innerHeight * (innerWidth < 768 ? 0.3 : 0.42), 120);
  name.style.overflowWrap = "normal"; // a word is broken only where it fits in no size
  for (const size of SIZES) {
    name.style.fontSize = `${size}rem`;
    const line = parseFloat(getComputedStyle(name).lineHeight);
    if (name.scrollWidth <= name.clientWidth && name.scrollHeight <= Math.min(room, LINES * line + 8)) return;
  }
  name.style.overflowWrap = "anywhere";
}

