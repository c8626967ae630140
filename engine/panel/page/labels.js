// Texts that several views show alike.

import { held } from "./connection.js";

/**
 * "12 Finale", or a dash.
 * @param {SceneName | null | undefined} scene
 */
export const sceneWords = (scene) => (scene ? `${scene.number} ${scene.name}` : "–");

/**
 * All scenes as options of a field, the current one first.
 * @returns {import("./dom.js").Option[]}
 */
export function sceneOptions() {
  const now = held.facts.scene;
  const scenes = held.rig?.scenes ?? [];
  return [["", now ? `current scene: ${sceneWords(now)}` : "current scene"], ...scenes.map(sceneOption)];
}

/**
 * @param {SceneName} scene
 * @returns {import("./dom.js").Option}
 */
export const sceneOption = (scene) => [scene.number, sceneWords(scene)];

/**
 * The sounds of an instrument as options of a field, with the labels that its gear prints.
 * @param {Instrument | undefined} gear
 * @returns {[string, string][]}
 */
export const soundOptions = (gear) =>
  (gear?.sounds ?? []).map((name) => [name, gear?.printed[name] ? `${name} (${gear.printed[name]})` : name]);

/**
 * A value of a filter's setting, short.
 * @param {unknown} value
 * @returns {string}
 */
function valueWords(value) {
  if (Array.isArray(value)) return value.map(valueWords).join(" to ");
  if (value !== null && typeof value === "object") {
    return Object.entries(value).map(([key, each]) => `${key}: ${valueWords(each)}`).join(", ");
  }
  return String(value);
}

/**
 * @param {string} name
 * @param {unknown} value
 */
function settingWords(name, value) {
  if (value === true) return name;
  if (Array.isArray(value) && (value.length !== 2 || name === "keep" || name === "drop" || name === "kinds")) {
    return `${name} ${value.join(", ")}`;
  }
  if (value !== null && typeof value === "object" && !Array.isArray(value)) {
    const pairs = Object.entries(value).map(([key, each]) => `${key} → ${valueWords(each)}`);
    return `${name} ${pairs.join(", ")}`;
  }
  return `${name} ${valueWords(value)}`;
}

/**
 * "an octave down".
 * @param {number} semitones
 */
export function transposeWords(semitones) {
  const [count, way] = [Math.abs(semitones), semitones < 0 ? "down" : "up"];
  if (count % 12 === 0) return count === 12 ? `an octave ${way}` : `${count / 12} octaves ${way}`;
  return count === 1 ? `a semitone ${way}` : `${count} semitones ${way}`;
}

/**
 * What the plainest filters do, as a musician says it; by name, or by name and settings.
 * @typedef {{kinds: string[], semitones: number, outside?: string, range: number[], fixed: number}} PlainSettings
 * @type {Record<string, (settings: PlainSettings) => string>}
 */
const PLAIN = {
  strip: ({ kinds }) => `without ${kinds.join(" and ")}`,
  transpose: ({ semitones, outside }) => `${transposeWords(semitones)}${outside === "fold" ? " (folded at the ends)" : ""}`,
  "velocity range": ({ range }) => `velocity scaled to ${range.join("–")}`,
  "velocity fixed": ({ fixed }) => `velocity always ${fixed}`,
};

/**
 * "an octave down", "without pitch bend"; of others the settings, "thin: milliseconds 20"; or "chain left hand".
 * @param {FilterStep | string} step
 */
export function filterWords(step) {
  if (typeof step === "string") return `chain ${step}`;
  const { filter, ...settings } = step;
  const plain = PLAIN[filter] ?? PLAIN[[filter, ...Object.keys(settings)].join(" ")];
  const words = plain ? plain(/** @type {PlainSettings} */ (/** @type {unknown} */ (settings))) : [filter, Object.entries(settings).map(([name, value]) => settingWords(name, value)).join("; ")].filter(Boolean).join(": ");
  return words.replaceAll("_", " ");
}

/** @param {Chain} through */
export const chainWords = (through) => through.map((each) => (typeof each === "string" ? each : each.filter)).join(", ");

/**
 * What a step of a burst sends.
 * @param {BurstStep} step
 */
export function stepWords(step) {
  const bank = step.bank ? `bank ${step.bank.join("/")}, ` : "";
  const program = step.program === undefined || step.program === null ? "nothing (its place is kept)" : `${bank}program ${step.program}`;
  const what = step.sound ?? program;
  return step.instrument ? `${step.instrument}: ${what}` : `${step.output}, channel ${step.channel}: ${what}`;
}

/** @param {{from: string[], to: string[]}} route */
export const routeWords = (route) => `${route.from.join(", ")} → ${route.to.join(", ")}`;

/**
 * The time of day by the clock of this computer, in hours, minutes and seconds.
 * @param {Date} date
 */
export const timeWords = (date) => date.toLocaleTimeString([], { hour12: false });

/** @param {number} share */
export const percent = (share) => `${Math.round(100 * share)} %`;

/** The kinds of messages that the monitor can show, with their names. */
export const KINDS = [
  ["note", "notes"],
  ["controller", "controllers"],
  ["program", "program changes"],
  ["bend", "pitch bend"],
  ["pressure", "aftertouch"],
  ["sysex", "SysEx"],
  ["clock", "clock"],
  ["system", "other system messages"],
];

/** @type {Record<number, string>} */
const KIND_OF_STATUS = { 0x80: "note", 0x90: "note", 0xa0: "pressure", 0xb0: "controller", 0xc0: "program", 0xd0: "pressure", 0xe0: "bend" };

/**
 * The kind of a message in hexadecimal (MIDI 1.0 Detailed Specification 4.2.1, Tables I to VI).
 * @param {string} message
 */
export function kindOf(message) {
  const status = parseInt(message.slice(0, 2), 16);
  if (status === 0xf0) return "sysex";
  if (status === 0xf8) return "clock";
  return KIND_OF_STATUS[status & 0xf0] ?? "system";
}
