// What a scene plays: its own lines and routes, those it inherits, and those of every scene; and play lines in words.

import { held } from "./connection.js";
import { filterWords, routeWords, sceneWords } from "./labels.js";

const NOTES = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];
const HIGHEST = 127;

/**
 * The name of a key as the rig's gear prints it: the rig says which C is key 60.
 * @param {number} key
 */
export function noteName(key) {
  const octave = Number(held.rig?.middle_c.slice(1) ?? 4) + Math.floor(key / 12) - 5;
  return `${NOTES[key % 12]}${octave}`;
}

/**
 * The ends of a range as they are typed, "" where it is open.
 * @param {number[] | string | undefined} range
 * @param {(end: number) => string} words
 * @returns {[string, string]}
 */
function ends(range, words) {
  if (typeof range === "string") {
    const [low = "", high = low] = range.split("..");
    return [low, high];
  }
  const [low, high] = range ?? [0, HIGHEST];
  return [low === 0 ? "" : words(low), high === HIGHEST ? "" : words(high)];
}

/** @param {PlayLine} line */
export const noteEnds = ({ notes }) => ends(notes, noteName);

/**
 * The lowest and the highest key of a line.
 * @param {PlayLine} line
 * @returns {[number, number]}
 */
export const noteKeys = ({ notes }) => (Array.isArray(notes) ? [notes[0], notes[1]] : [0, HIGHEST]);

/** @param {PlayLine} line */
export const velocityEnds = ({ velocity }) => ends(velocity, String);

/** @param {string} name */
export const instrument = (name) => held.rig?.instruments.find((each) => each.name === name);

/**
 * "Upright on bass-box".
 * @param {PlayLine} line
 */
const soundWords = ({ on = "", sound }) => (sound ? `${sound} on ${on}` : on);

/**
 * "keys plays Upright on bass-box (output bass), notes ..B3, transposed -12".
 * @param {PlayLine} line
 */
export function sentence(line) {
  const { from = [], on = "" } = line;
  const subject = `${from.join(" and ")} ${from.length > 1 ? "play" : "plays"}`;
  return [`${subject} ${soundWords(line)} (output ${instrument(on)?.output ?? "unknown"})`, ...lineWords(line)].join(", ");
}

/**
 * The ends of a range of keys with the drums on them, where the instrument has drums.
 * @param {PlayLine} line
 */
function noteWords(line) {
  const keys = instrument(line.on ?? "")?.keys ?? {};
  const drums = Object.entries(keys).map(/** @returns {[string, string]} */ ([key, name]) => [noteName(Number(key)), name]);
  const named = new Map(drums);
  return noteEnds(line).map((end) => (named.has(end) ? `${end} (${named.get(end)})` : end)).join("..");
}

/**
 * What a line does to messages, part by part.
 * @param {PlayLine} line
 */
export function lineWords(line) {
  const notes = noteEnds(line).join("");
  const velocity = velocityEnds(line);
  const transpose = Number(line.transpose ?? 0);
  return [
    notes && `notes ${noteWords(line)}`,
    velocity.join("") && `velocity ${velocity.join("..")}`,
    transpose && `transposed ${transpose > 0 ? "+" : ""}${transpose}`,
    line.channel && `channel ${line.channel} only`,
    line.pedal === false && "without pedals",
    line.group && `group ${line.group}`,
    line.programs && "with program changes",
    ...(line.through ?? []).map(filterWords),
  ].filter((words) => typeof words === "string" && words !== "").map(String);
}

/** The names of all lines, routes and groups: what can be muted. */
export function routeNames() {
  const { scenes = [], routes = [] } = held.rig ?? {};
  const all = [...routes, ...scenes.flatMap((each) => [...each.play, ...each.routes])];
  return [...new Set(all.flatMap(({ name, group }) => [name, group]).filter((name) => typeof name === "string" && name !== ""))].map(String);
}

/**
 * Whether a route, a line or a group of this name is muted.
 * @param {string | null | undefined} name
 */
export const isMuted = (name) => typeof name === "string" && (held.facts.muted_routes ?? []).includes(name);

/**
 * @param {PlayLine} line
 * @param {number | null} index
 * @returns {Playing}
 */
function ofLine(line, index) {
  const { from = [], on = "", name = null, through = [] } = line;
  const to = instrument(on)?.output;
  return { from, to: to === undefined ? [] : [to], name, title: name ?? soundWords(line), words: [...(name === null ? [] : [soundWords(line)]), ...lineWords(line)], line, through, index, inherited: index === null, lasting: false, muted: isMuted(name) || isMuted(line.group) };
}

/**
 * @param {Route} route
 * @param {number | null} index
 * @param {string} title
 * @param {boolean} lasting
 * @returns {Playing}
 */
function ofRoute(route, index, title, lasting = false) {
  return { ...route, title: route.name ?? title, words: route.through.map(filterWords), line: null, index, inherited: index === null && !lasting, lasting, muted: isMuted(route.name) || isMuted(route.group) };
}

/**
 * Everything that a scene plays: play lines, then routes, then those of every scene.
 * @param {Scene} scene
 * @returns {Playing[]}
 */
export function playing(scene) {
  const inherited = held.rig?.inherited[scene.number] ?? { play: [], routes: [] };
  return [
    ...scene.play.map((line, index) => ({ line, index })).filter(({ line }) => !line.off).map(({ line, index }) => ofLine(line, index)),
    ...inherited.play.map((line) => ofLine(line, null)),
    ...scene.routes.map((route, index) => ofRoute(route, index, `Route ${index + 1}`)),
    ...inherited.routes.map((route) => ofRoute(route, null, "Inherited route")),
    ...(held.rig?.routes ?? []).map((route) => ofRoute(route, null, "In every scene", true)),
  ];
}

/**
 * The scene that this one is like, if any.
 * @param {Scene} scene
 */
export const baseOf = ({ like }) => (like === null ? undefined : held.rig?.scenes.find(({ number, name }) => like === number || like === name));

/**
 * "inherited from 11 Overture, muted", as far as it is so.
 * @param {Playing} each
 * @param {Scene} scene
 */
export const stateWords = (each, scene) =>
  [each.inherited && `inherited from ${sceneWords(baseOf(scene))}`, each.lasting && "in every scene", each.muted && "muted"].filter(Boolean).join(", ");

/**
 * All of it in sentences.
 * @param {Playing[]} routes
 * @param {Scene} scene
 */
export const inWords = (routes, scene) => routes.map((each) => {
  const what = each.line ? sentence(each.line) : `${routeWords(each)}${each.words.length ? `: ${each.words.join(", then ")}` : ", unchanged"}`;
  const state = stateWords(each, scene);
  return `${each.line && each.name ? `${each.name}: ` : ""}${what}${state ? ` (${state})` : ""}`;
});

/** @typedef {"none" | "plain" | "filtered" | "played"} CellState */
/** @typedef {{how: CellState, words: string, own: Playing[], always: boolean}} Cell */

/** @type {Record<CellState, string>} */
const CELL_WORDS = { none: "not connected", plain: "connected", filtered: "connected through filters", played: "" };

/**
 * How an input reaches an output: `own` are the scene's lines and routes between them, inherited ones included.
 * @param {Playing[]} all that the scene plays
 * @param {string} input
 * @param {string} output
 * @param {Scene} scene
 * @returns {Cell}
 */
export function cellOf(all, input, output, scene) {
  const between = all.filter(({ from, to }) => from.includes(input) && to.includes(output));
  const own = between.filter(({ lasting }) => !lasting);
  const always = own.length < between.length;
  const how = !own.length ? "none" : own.some(({ line, inherited }) => line || inherited) ? "played" : own.some(({ through }) => through.length) ? "filtered" : "plain";
  const what = how === "played" ? own.map((each) => cellSentence(each, scene)).join("; ") : CELL_WORDS[how];
  return { how, words: `${what}${always ? ", in every scene too" : ""}`, own, always };
}

/**
 * @param {Playing} each
 * @param {Scene} scene
 */
const cellSentence = (each, scene) => [each.line ? `plays ${[each.title, ...each.words].join(", ")}` : "connected", stateWords(each, scene)].filter(Boolean).join(", ");
