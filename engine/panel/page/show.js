// The view Show: the current scene, the next one, the time, and whether anything is wrong.

import { onLook, rateWords } from "./activity.js";
import * as commands from "./commands.js";
import { held, isOld, on } from "./connection.js";
import { byId, find, findAll, inputById, make, refill, say, selectById, setOptions } from "./dom.js";
import { sceneWords, timeWords } from "./labels.js";
import * as player from "./player.js";
import { playing } from "./playing.js";
import { plainWords } from "./sentences.js";

const SIZES = [13, 11, 9.5, 8, 7, 6, 5, 4.2, 3.6, 3, 2.5, 2, 1.5]; // rem of the scene's name; the largest that fits is used
const LINES = 3;

let order = ""; // the name of the set list shown, "" for all scenes
let orderChosen = false;
let fitted = "";

export function start() {
  player.start(showPlayer);
  on("frame", showFrame);
  on("rig", showRig);
  on("connection", showConnection);
  on("age", showConnection);
  byId("find-scene").addEventListener("input", listScenes);
  byId("find-scene").addEventListener("keydown", jumpToFirst);
  byId("order").addEventListener("change", () => {
    order = selectById("order").value;
    orderChosen = true;
    listScenes();
  });
  byId("use-setlist").addEventListener("click", () => commands.command({ do: "setlist", setlist: order, ...player.forPlayer() }, `set list ${order}`));
  onLook(showLights);
  addEventListener("resize", fit);
  new ResizeObserver(fit).observe(byId("cue")); // its letters may have another size now
}

export function enter() {
  fitted = "";
  fit();
}

/** @param {Frame} frame */
function showFrame(frame) {
  if ("scene" in frame || "next" in frame || "setlist" in frame || "loaded" in frame || "players" in frame) showScene();
  if ("scene" in frame || "song" in frame || "step" in frame || "players" in frame) showSong();
  if (!byId("view-show").hidden) showTime();
  if ("health" in frame || "muted_routes" in frame) showHealth();
}

/** Another player was chosen: the order of scenes is theirs. */
function showPlayer() {
  orderChosen = false;
  showScene();
  showSong();
}

function showScene() {
  const { scene, next, setlist, loaded } = player.place();
  say(byId("scene-number"), scene ? String(scene.number) : "–");
  say(byId("scene-name"), scene?.name ?? "No scene yet");
  say(byId("next-scene"), next ? `${sceneWords(next)}${loaded ? ", loaded by show control" : ""}` : "none; this is the last scene");
  say(byId("setlist"), setlist?.name ? `${setlist.name}, ${setlist.place} of ${setlist.of}` : "none; scenes in the rig’s order");
  say(byId("dock-scene"), `${sceneWords(scene)}${next ? `, next ${sceneWords(next)}` : ""}`);
  say(byId("said-scene"), scene ? `Scene ${sceneWords(scene)}` : "");
  document.title = scene ? `${sceneWords(scene)} – Bayleaf` : "Bayleaf";
  if (!orderChosen && setlist && (setlist.name ?? "") !== order) {
    order = setlist.name ?? "";
    showRig();
  }
  markScenes();
  fit();
}

/** What each player is on. */
function showPlayers() {
  const whole = held.rig?.scenes.find(({ number }) => number === player.place().scene?.number);
  const rows = whole ? playing(whole).filter(({ line }) => line) : [];
  refill(byId("players"), ...rows.map(({ line, muted }) => make("li", { text: `${plainWords(line ?? {})}${muted ? " (muted)" : ""}` })));
}

/** A light for each port: it burns steadily while something passes. */
function showLights() {
  if (byId("view-show").hidden || !held.rig) return;
  const light = (/** @type {Way} */ way, /** @type {string} */ name) => {
    const words = rateWords(way, name);
    return make("li", { "data-key": name, "data-state": words === "still" ? "still" : "plays" }, make("span", { "aria-hidden": "true", text: words === "still" ? "○" : "●" }), ` ${name}`);
  };
  refill(byId("lights"),
    make("ul", { "aria-label": "Inputs" }, ...held.rig.inputs.map((name) => light("in", name))),
    make("ul", { "aria-label": "Outputs" }, ...held.rig.outputs.map(({ name }) => light("out", name))));
}

function showSong() {
  const { scene, song, step = 0 } = player.place();
  const semitones = step + (song?.transpose ?? 0);
  const transposed = semitones ? `transposed by ${semitones > 0 ? "+" : "−"}${Math.abs(semitones)}` : "";
  say(byId("song"), [song?.name, transposed].filter(Boolean).join(", "));
  byId("song-fact").hidden = !song && !semitones;
  const whole = held.rig?.scenes.find(({ number }) => number === scene?.number);
  const facts = [whole?.cue && `cue ${whole.cue}`, whole?.tempo && `tempo ${whole.tempo}`, whole?.transpose && `transposed ${whole.transpose > 0 ? "+" : ""}${whole.transpose}`];
  showText(byId("scene-facts"), facts.filter(Boolean).join(" · "));
  showText(byId("scene-text"), scene?.text);
  showText(byId("song-text"), song?.text);
  showPlayers();
}

/**
 * What the rig shows to the player, line by line.
 * @param {HTMLElement} element
 * @param {string | undefined} text
 */
function showText(element, text) {
  say(element, text ?? "");
  element.hidden = !text;
}

function showTime() {
  const { tempo, clock_from, timecode, timecode_runs, timecode_from } = held.facts;
  const source = clock_from == null ? "stopped" : `from ${clock_from}`;
  say(byId("tempo"), tempo == null ? "no clock" : `${tempo.toFixed(1)} bpm, ${source}`);
  say(byId("timecode"), timecode == null ? "none" : `${timecode}, ${timecode_runs ? "running" : "stopped"}, from ${timecode_from}`);
}

function showHealth() {
  const { health = [], muted_routes: muted = [] } = held.facts;
  const all = muted.length ? [...health, `muted: ${muted.join(", ")}`] : health;
  refill(byId("health"),
    make("p", { class: "margin", text: all.length ? "Needs attention" : "All is well" }),
    ...(all.length ? [make("ul", {}, ...all.map((text) => make("li", { text })))] : []),
  );
  byId("health").dataset.state = all.length ? "faults" : "well";
  say(byId("said-health"), all.length ? all.join(". ") : "All is well");
}

function showConnection() {
  const old = byId("old");
  old.hidden = !isOld() && !held.gone;
  if (!old.hidden) say(old, ageWords());
  byId("view-show").classList.toggle("old", !old.hidden);
  byId("health").hidden = !old.hidden; // whether all is well is not known
  const role = byId("role");
  say(role, { view: "View only: this browser cannot change the show.", show: "Show only: this browser recalls scenes and changes nothing else." }[String(held.role)] ?? "");
  role.hidden = !role.textContent;
}

function ageWords() {
  const why = held.gone ? `${sentence(held.gone)} ` : held.open ? "" : "The panel does not answer. ";
  const remedy = held.gone && held.open ? "Start it again with bayleaf run; this page reconnects by itself." : "Reconnecting.";
  if (!held.heardTime) return `${why}Nothing received yet. ${remedy}`;
  return `Display out of date since ${timeWords(held.heardTime)}. ${why}${remedy}`;
}

/** @param {string} text */
const sentence = (text) => `${text[0].toUpperCase()}${text.slice(1)}.`;

function showRig() {
  const { rig } = held;
  if (!rig) return;
  say(byId("rig-name"), rig.name);
  byId("song-steps").hidden = !rig.songs.length;
  showSong();
  if (order && !rig.setlists.some((each) => each.name === order)) order = "";
  setOptions(selectById("order"), [...rig.setlists.map(/** @returns {[string, string]} */ (each) => [each.name, each.name]), ["", "the rig: all scenes"]], order);
  listScenes();
}

/**
 * The scenes to list, each with its place in the set list in use, if it has one.
 * @param {Rig} rig
 * @returns {{scene: Scene, place: number | null}[]}
 */
function listed(rig) {
  const list = rig.setlists.find((each) => each.name === order);
  if (!list) return rig.scenes.map((scene) => ({ scene, place: null }));
  const inUse = list.name === player.place().setlist?.name;
  return list.scenes.flatMap((number, index) =>
    rig.scenes.filter((scene) => scene.number === number).map((scene) => ({ scene, place: inUse ? index + 1 : null })));
}

function listScenes() {
  if (!held.rig) return;
  const query = inputById("find-scene").value.trim().toLowerCase();
  byId("use-setlist").hidden = !order || order === player.place().setlist?.name || !commands.mayOperate();
  const rows = listed(held.rig)
    .filter(({ scene }) => String(scene.number).startsWith(query) || scene.name.toLowerCase().includes(query))
    .map(({ scene, place }) => make("li", {}, sceneButton(scene, place)));
  refill(byId("scenes"), ...(rows.length ? rows : [make("li", { class: "note", text: "No match." })]));
  markScenes();
}

/**
 * @param {Scene} scene
 * @param {number | null} place
 */
function sceneButton(scene, place) {
  const press = () => (place === null ? commands.recall(scene) : commands.entry(place, scene));
  const row = make("button", { type: "button", class: "scene", "data-number": scene.number, "data-place": place, on: { click: press } },
    make("span", { class: "number", text: String(scene.number) }),
    make("span", { class: "name", text: scene.name }),
    make("span", { class: "mark" }));
  row.disabled = !commands.mayRunShow();
  return row;
}

function markScenes() {
  const { scene, next, setlist, loaded } = player.place();
  for (const row of findAll(byId("scenes"), "button")) {
    const place = Number(row.dataset.place) || null;
    const here = Number(row.dataset.number) === scene?.number && (place === null || place === setlist?.place);
    const following = Number(row.dataset.number) === next?.number && (place === null || loaded || place === (setlist?.place ?? 0) + 1);
    if (here && row.getAttribute("aria-current") !== "true" && matchMedia("(min-width: 64rem)").matches) row.scrollIntoView({ block: "center" });
    if (here) row.setAttribute("aria-current", "true");
    else row.removeAttribute("aria-current");
    const mark = find(row, ".mark");
    if (mark) say(mark, here ? "now" : following ? "next" : "");
  }
}

/** @param {KeyboardEvent} event */
function jumpToFirst(event) {
  if (event.key !== "Enter") return;
  const exact = findAll(byId("scenes"), "button").find((row) => row.dataset.number === inputById("find-scene").value.trim());
  (exact ?? find(byId("scenes"), "button"))?.click();
}

/** Show the scene's name as large as its room allows. */
function fit() {
  const name = byId("scene-name");
  const now = `${name.textContent} ${innerWidth} ${innerHeight} ${getComputedStyle(document.documentElement).fontSize}`;
  if (byId("view-show").hidden || fitted === now) return;
  fitted = now;
  const room = Math.max(innerHeight * (innerWidth < 768 ? 0.3 : 0.34), 120);
  name.style.overflowWrap = "normal"; // a word is broken only where it fits in no size
  for (const size of SIZES) {
    name.style.fontSize = `${size}rem`;
    const line = parseFloat(getComputedStyle(name).lineHeight);
    if (name.scrollWidth <= name.clientWidth && name.scrollHeight <= Math.min(room, LINES * line + 8)) return;
  }
  name.style.overflowWrap = "anywhere";
}
