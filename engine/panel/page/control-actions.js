// What a foot switch or another control does: one action or several, each chosen from a list; a tempo or messages are typed.

import { held } from "./connection.js";
import { begin, draftKey, draftOf, forget, messageFields, sendingOf } from "./control-messages.js";
import { select } from "./dom.js";
import { routeNames } from "./playing.js";
import { DONE, putValues, textInput, valueField } from "./value-fields.js";

/** What a control may do, in words that the rig file uses. */
const WORDS = ["next", "back", "first", "next song", "back song", "panic", "resend", "tap", "clock start", "clock stop", "clock continue", "timecode start", "timecode stop"];

/** Keys beside `do` that belong to some of its words, as older rigs have them. */
const BESIDE = { scene: ["scene"], route: ["mute", "unmute"], output: ["send"], messages: ["send"] };

const USUAL_TEMPO = 120;

/** @typedef {string | Line} Action */
/** @typedef {{action: Action | null, beside?: Partial<ControlTable>, words: string, sends?: boolean}} Option `beside`: keys beside `do`, null to take one away; `sends`: its messages are to be typed */

/** @param {ControlTable} control */
const actionsOf = (control) => (Array.isArray(control.do) ? control.do : [control.do]);

/**
 * @param {Action} action
 * @param {Partial<ControlTable>} [control]
 */
function words(action, control) {
  if (action === "scene") return control?.scene === undefined || control.scene === null ? "the scene of its number" : `scene ${control.scene}`;
  if (action === "send") return `send ${control?.messages?.join(", ")} to ${control?.output}`;
  if (typeof action === "string") return (action === "mute" || action === "unmute") && control?.route ? `${action} ${control.route}` : action;
  if ("transpose" in action) return action.transpose === 0 ? "no transposition" : `transpose ${Number(action.transpose) > 0 ? "up" : "down"}`;
  return Object.entries(action).map(([key, value]) => `${{ toggle: "mute or unmute", setlist: "set list" }[key] ?? key} ${Array.isArray(value) ? value.join(", ") : value}`).join(" ");
}

/** @param {ControlTable} control */
export const doWords = (control) => actionsOf(control).map((each) => words(each, control)).join(", then ");

/**
 * What is chosen and typed for each action, and for one more.
 * @param {ControlTable} control
 * @param {number} place
 */
export const actionFields = (control, place) => [...actionsOf(control), ...(held.rig?.format === 1 ? [] : [null])].flatMap((action, index) => oneAction(control, place, action, index));

/**
 * @param {ControlTable} control
 * @param {number} place
 * @param {Action | null} action
 * @param {number} index
 */
function oneAction(control, place, action, index) {
  const all = options(control, action, index);
  const key = draftKey(control, index);
  const sending = draftOf(key) ?? (action === null ? null : sendingOf(action, control));
  const chosen = all.find(({ sends, ...each }) => (sending ? sends : isNow(each, control, action)));
  const choose = async (/** @type {string} */ value) => {
    const option = all.find((each) => each.words === value);
    if (!option) return DONE;
    if (option.sends) return sending ? DONE : begin(key);
    forget(key);
    return option.action === action && action === null ? DONE : put(control, place, index, option);
  };
  const tempo = typeof action === "object" && action && !sending ? action.tempo : undefined;
  return [
    valueField(index ? `Then, ${index + 1}` : "What it does", select(all.map((each) => [each.words, each.words]), chosen?.words, () => {}), `do ${place} ${index}`, choose),
    ...(sending ? messageFields(`${place} ${index}`, key, sending, (made) => put(control, place, index, made)) : []),
    ...(tempo === undefined ? [] : [valueField("Tempo", textInput(tempo, { inputmode: "decimal" }), `tempo ${place} ${index}`, (value) => put(control, place, index, { action: { tempo: value && !Number.isNaN(Number(value)) ? Number(value) : value } }), "20 to 300 beats per minute, of the rig’s own clock")]),
  ];
}

/**
 * @param {ControlTable} control
 * @param {Action | null} now
 * @param {number} index
 * @returns {Option[]}
 */
function options(control, now, index) {
  const { outputs = [], format } = held.rig ?? {};
  const told = [...(carriesNumber(control.when) ? [{ action: "scene", beside: { scene: null }, words: "the scene of its number" }] : []), ...WORDS.filter((word) => format !== 1 || !word.endsWith(" song")).map((word) => ({ action: word, words: word }))];
  const all = [...(index ? [{ action: null, words: "nothing more" }] : []), ...told, ...(format === 1 ? oldTables(control) : tables(now)), ...(outputs.length ? [{ action: "", words: "send messages", sends: true }] : [])];
  const known = now === null || sendingOf(now, control) || all.some((each) => isNow(each, control, now));
  return known ? all : [{ action: now, words: words(now, control) }, ...all];
}

/**
 * @param {Action | null} now
 * @returns {Option[]}
 */
function tables(now) {
  const { scenes = [], songs = [], setlists = [] } = held.rig ?? {};
  const tempo = (typeof now === "object" && now?.tempo) || Math.round(held.facts.tempo ?? USUAL_TEMPO);
  const each = (/** @type {Line} */ action) => ({ action, words: words(action) });
  return [
    ...scenes.map(({ number, name }) => ({ action: { scene: number }, words: `scene ${number} ${name}` })),
    ...routeNames().flatMap((name) => [{ toggle: name }, { mute: name }, { unmute: name }].map(each)),
    ...songs.map(({ name }) => each({ song: name })),
    ...setlists.map(({ name }) => each({ setlist: name })),
    ...[1, -1, 0].map((step) => each({ transpose: step })),
    { action: { tempo }, words: "set the tempo" },
  ];
}

/**
 * The same of a rig of format 1, as far as it can be said there.
 * @param {ControlTable} control
 * @returns {Option[]}
 */
const oldTables = ({ when }) => [
  ...(carriesNumber(when) ? [] : (held.rig?.scenes ?? []).map(({ number, name }) => ({ action: "scene", beside: { scene: number }, words: `scene ${number} ${name}` }))),
  ...routeNames().flatMap((route) => ["mute", "unmute"].map((action) => ({ action, beside: { route }, words: `${action} ${route}` }))),
];

/**
 * Whether its message has the number of a scene: a program or a song, one of several.
 * @param {ControlTable["when"]} when
 */
function carriesNumber({ program, song }) {
  const number = program ?? song;
  return number === "any" || (Array.isArray(number) && number[0] < number[1]);
}

/**
 * @param {Option} option
 * @param {ControlTable} control
 * @param {Action | null} now
 */
function isNow({ action, beside = {} }, control, now) {
  const inForce = /** @type {[keyof ControlTable, unknown][]} */ (Object.entries(beside)).every(([key, value]) => (control[key] ?? null) === value);
  return JSON.stringify(action) === JSON.stringify(now) && inForce;
}

/**
 * @param {ControlTable} control
 * @param {number} place
 * @param {number} index
 * @param {{action: Action | null, beside?: Partial<ControlTable>}} option no action takes it out
 */
function put(control, place, index, { action, beside = {} }) {
  const all = actionsOf(control);
  const now = [...all.slice(0, index), ...(action === null ? [] : [action]), ...all.slice(index + 1)];
  const left = Object.entries(BESIDE).filter(([key, needed]) => key in control && !now.some((each) => typeof each === "string" && needed.includes(each)));
  const values = { do: now.length === 1 ? now[0] : now, ...Object.fromEntries(left.map(([key]) => [key, null])), ...beside };
  const said = now.map((each) => words(each, { ...control, ...beside })).join(", then ");
  return putValues(Object.entries(values).map(([key, value]) => [["controls", place, key], value]), `${control.input}: ${said}`);
}
