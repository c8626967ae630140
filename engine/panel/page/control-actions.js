// What a foot switch or another control does: one action or several, each chosen from a list.

import { held } from "./connection.js";
import { select } from "./dom.js";
import { routeNames } from "./playing.js";
import { putValues, valueField } from "./value-fields.js";

/** What a control may do, in words that the rig file uses. */
const WORDS = ["next", "back", "first", "next song", "back song", "panic", "resend", "tap", "clock start", "clock stop", "clock continue"];

/** Keys beside `do` that belong to some of its words, as older rigs have them. */
const BESIDE = { scene: ["scene"], route: ["mute", "unmute"], output: ["send"], messages: ["send"] };

/** @typedef {string | Line} Action */

/** @param {ControlTable} control */
const actionsOf = (control) => (Array.isArray(control.do) ? control.do : [control.do]);

/**
 * @param {Action} action
 * @param {ControlTable} [control]
 */
function words(action, control) {
  if (typeof action === "string") return [action, action === "scene" ? control?.scene : action === "mute" || action === "unmute" ? control?.route : undefined].filter((each) => each !== undefined).join(" ");
  if ("transpose" in action) return action.transpose === 0 ? "no transposition" : `transpose ${Number(action.transpose) > 0 ? "up" : "down"}`;
  return Object.entries(action).map(([key, value]) => `${{ toggle: "mute or unmute", setlist: "set list", tempo: "tempo" }[key] ?? key} ${Array.isArray(value) ? value.join(", ") : value}`).join(" ");
}

/** @param {ControlTable} control */
export const doWords = (control) => actionsOf(control).map((each) => words(each, control)).join(", then ");

/**
 * A field for each action, and one more.
 * @param {ControlTable} control
 * @param {number} place
 */
export function actionFields(control, place) {
  const now = actionsOf(control);
  const field = (/** @type {Action | null} */ action, /** @type {number} */ index) => {
    const all = options(control, action, index);
    const chosen = all.findIndex((each) => each.now);
    return valueField(index ? `Then, ${index + 1}` : "What it does", select(all.map((each, at) => [at, each.words]), chosen, () => {}), `do ${place} ${index}`, (value) => put(control, place, index, all[Number(value)].action));
  };
  return [...now, ...(held.rig?.format === 1 ? [] : [null])].map(field);
}

/**
 * @param {ControlTable} control
 * @param {Action | null} now
 * @param {number} index
 */
function options(control, now, index) {
  const { scenes = [], songs = [], setlists = [], format } = held.rig ?? {};
  const tables = format === 1 ? [] : [
    ...scenes.map(({ number, name }) => ({ action: { scene: number }, words: `scene ${number} ${name}` })),
    ...routeNames().flatMap((name) => ["toggle", "mute", "unmute"].map((key) => ({ action: { [key]: name }, words: words({ [key]: name }) }))),
    ...songs.map(({ name }) => ({ action: { song: name }, words: `song ${name}` })),
    ...setlists.map(({ name }) => ({ action: { setlist: name }, words: `set list ${name}` })),
    ...[1, -1, 0].map((step) => ({ action: { transpose: step }, words: words({ transpose: step }) })),
  ];
  /** @type {{action: Action | null, words: string}[]} */
  const all = [...(index ? [{ action: null, words: "nothing more" }] : []), ...WORDS.filter((word) => format !== 1 || !word.endsWith(" song")).map((word) => ({ action: word, words: word })), ...tables];
  const same = (/** @type {Action | null} */ action) => JSON.stringify(action) === JSON.stringify(now);
  const known = all.some(({ action }) => same(action)) ? all : [{ action: now, words: words(now ?? "", control) }, ...all];
  return known.map((each) => ({ ...each, now: same(each.action) }));
}

/**
 * @param {ControlTable} control
 * @param {number} place
 * @param {number} index
 * @param {Action | null} action null takes it out
 */
function put(control, place, index, action) {
  const all = actionsOf(control);
  const now = [...all.slice(0, index), ...(action === null ? [] : [action]), ...all.slice(index + 1)];
  const left = Object.entries(BESIDE).filter(([key, needed]) => key in control && !now.some((each) => typeof each === "string" && needed.includes(each)));
  const at = (/** @type {string} */ key) => /** @type {import("./value-fields.js").Path} */ (["controls", place, key]);
  return putValues([[at("do"), now.length === 1 ? now[0] : now], ...left.map(([key]) => /** @type {[import("./value-fields.js").Path, unknown]} */ ([at(key), null]))], `${control.input}: ${now.map((each) => words(each)).join(", then ")}`);
}
