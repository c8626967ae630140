// A play line as a sentence with holes: each part of it is a button, which opens the one control that fits it.

import { editUnderWay, mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, make, note } from "./dom.js";
import { edit, revisionOf, stayWith } from "./edited-scene.js";
import * as filterChain from "./filter-chain.js";
import { muting } from "./input-routes.js";
import { filterWords, sceneWords, transposeWords } from "./labels.js";
import { lineIds } from "./line-places.js";
import { nothing } from "./patch-table.js";
import { baseOf, noteEnds, noteKeys, playing, velocityEnds } from "./playing.js";
import { rangeControl, stopListening } from "./range-keys.js";
import { matchingSounds, placeWords } from "./sounds.js";
import { trySound, velocityField } from "./trying.js";
import { channelButtons, numberOf, textInput, valueField } from "./value-fields.js";

/** @typedef {"from" | "sound" | "on" | "notes" | "velocity" | "transpose" | "channel" | "pedal" | "programs" | "through" | "name"} Hole */

/** @type {{scene: number, row: number, hole: Hole | "more"} | null} `row`: the number by which the line is known */
let open = null;
let letters = ""; // of the sound that is searched for
/** @type {{key: string, element: HTMLElement} | null} the filters that are being edited */
let chain = null;
/** @type {{key: string, sound: string | undefined} | null} what Cancel puts back */
let soundBefore = null;
let again = () => {};

/** @param {() => void} heed draws the sentences again */
export function onChange(heed) {
  again = heed;
}

/** Close what is open. */
export function forget() {
  open = null;
  chain = null;
  soundBefore = null;
  filterChain.forget();
  stopListening();
}

/**
 * Open the first hole of a line of this scene, or of the last one.
 * @param {Scene} scene
 * @param {Playing | null} line
 */
export function openLine(scene, line) {
  forget();
  const lines = linesOf(scene);
  const at = line ? lines.findIndex((each) => each.index === line.index && each.line === line.line) : lines.length - 1;
  open = at < 0 ? null : { scene: scene.number, row: idsOf(scene, lines)[at], hole: "more" };
}

/**
 * @param {Scene} scene
 * @param {Playing[]} lines
 */
const idsOf = (scene, lines) => lineIds(scene.number, lines.map(({ line }) => line));

/** @param {Scene} scene */
const linesOf = (scene) => playing(scene).filter(({ line }) => line);

/**
 * All play lines of a scene, and one more to be added.
 * @param {Scene} scene
 */
export function sentences(scene) {
  const lines = linesOf(scene);
  const ids = idsOf(scene, lines);
  const rows = lines.map((each, row) => sentenceOf(scene, each, ids[row]));
  const add = button("Add a play line", () => addLine(scene, {}), { "data-key": "add", class: rows.length ? "" : "accent" });
  add.disabled = !mayOperate() || !held.rig?.instruments.length || !held.rig?.inputs.length;
  return [
    make("ul", { class: "lines", "data-key": "lines" }, ...(rows.length ? rows : [make("li", { class: "note" }, ...(held.rig?.instruments.length ? ["Nothing plays here yet. Add the first line."] : nothing("")))])),
    ...(held.rig?.format === 1 ? [note("Play lines need format = 2 in the rig file.")] : [add]),
  ];
}

/**
 * @param {Scene} scene
 * @param {PlayLine} line what is known of it
 */
export async function addLine(scene, line) {
  const added = { from: held.rig?.inputs.slice(0, 1), on: held.rig?.instruments[0]?.name, ...line };
  const answer = await put(scene, null, added);
  if (!answer.done) return;
  await editUnderWay();
  const now = held.rig?.scenes.find(({ number }) => number === scene.number);
  const lines = now ? linesOf(now) : [];
  const at = lines.findIndex(({ index }) => index === scene.play.length);
  if (at < 0) return;
  open = { scene: scene.number, row: idsOf(scene, lines)[at], hole: line.on ? "sound" : "on" };
  again();
}

/**
 * Ask for the scene's own lines with this one replaced, added (of an inherited line) or, with null, removed.
 * @param {Scene} scene
 * @param {Playing | null} each
 * @param {PlayLine | null} line
 * @param {number} [revision] that the lines are of
 */
function put(scene, each, line, revision = held.rig?.revision) {
  const index = each?.index ?? scene.play.length;
  const off = each?.inherited ? { name: each.name, off: true } : null;
  const now = line ?? off;
  const play = [...scene.play.slice(0, index), ...(now ? [now] : []), ...scene.play.slice(index + 1)];
  const words = `${scene.number}: ${line ? plainWords(line) : `${each ? plainWords(each.line ?? {}) : "a line"} removed`}`;
  return edit({ scene: scene.number, what: "lines", play, words }, words, revision);
}

/** @param {PlayLine} line */
export const plainWords = (line) => parts(line).map(([, words]) => words).join(" ").replace(/ ,/g, ",");

/**
 * The sentence: holes with their words, and what stands between them.
 * @param {PlayLine} line
 * @returns {[Hole | null, string][]}
 */
function parts(line) {
  const { from = [], on = "", sound, name } = line;
  const [low, high] = noteEnds(line);
  const [soft, hard] = velocityEnds(line);
  const semitones = Number(line.transpose ?? 0);
  /** @type {[Hole | null, string][]} */
  const found = [
    ...(name ? [/** @type {[Hole, string]} */ (["name", `${name}:`])] : []),
    ["from", from.join(" and ")], [null, from.length > 1 ? "play" : "plays"], ["sound", sound ?? "the sound it is on"], [null, "on"], ["on", on],
  ];
  const add = (/** @type {Hole} */ hole, /** @type {string} */ words) => found.push([null, ","], [hole, words]);
  if (low || high) add("notes", low && high ? `${low} to ${high}` : low ? `from ${low} up` : `up to ${high}`);
  if (soft || hard) add("velocity", `velocity ${soft || 1} to ${hard || 127}`);
  if (semitones) add("transpose", transposeWords(semitones));
  if (line.channel) add("channel", `from channel ${line.channel} only`);
  if (line.pedal === false) add("pedal", "without pedals");
  if (line.programs) add("programs", "with program changes");
  if (line.through?.length) add("through", line.through.map(filterWords).join(", then "));
  return found;
}

/**
 * @param {Scene} scene
 * @param {Playing} each
 * @param {number} row
 */
function sentenceOf(scene, each, row) {
  const line = each.line ?? {};
  const here = open?.scene === scene.number && open.row === row ? open.hole : null;
  const hole = (/** @type {Hole | "more"} */ name, /** @type {string} */ words) => {
    const made = button(words, () => turn(scene, row, name), { class: "hole", "data-key": `hole ${row} ${name}`, "aria-expanded": String(here === name), "aria-label": `${WORDS[name]}: ${words}` });
    made.disabled = !mayOperate() || (each.inherited && each.name === null && (name === "from" || name === "on"));
    return made;
  };
  const base = baseOf(scene);
  const state = [each.inherited && `inherited from ${sceneWords(base)}; an edit gives this scene a line of its own`, each.muted && "muted"].filter(Boolean).join(", ");
  const remove = button("Remove", () => put(scene, each, null), { "data-key": `remove ${row}`, "aria-label": `Remove: ${plainWords(line)}` });
  remove.disabled = !mayOperate() || (each.inherited && each.name === null);
  return make("li", { class: "line", "data-key": `line ${row}` },
    make("p", { class: "sentence" }, ...parts(line).map(([name, words]) => (name ? hole(name, words) : words === "," ? ", " : ` ${words} `))),
    state ? note(state) : null,
    make("div", { class: "row" }, hole("more", "and …"), muting(each), remove),
    here ? make("div", { class: "control", "data-key": `control ${here}`, role: "group", "aria-label": WORDS[here], on: { keydown: escape } }, ...control(scene, each, line, row, here)) : null);
}

/** @type {Record<Hole | "more", string>} */
const WORDS = {
  from: "Who plays", sound: "Sound", on: "Instrument", notes: "Range of notes", velocity: "Velocity", transpose: "Transposition",
  channel: "Channel of the input", pedal: "Pedals", programs: "Program changes", through: "Filters", name: "Name", more: "What else",
};

/**
 * @param {Scene} scene
 * @param {number} row
 * @param {Hole | "more"} hole
 */
function turn(scene, row, hole) {
  const same = open?.scene === scene.number && open.row === row && open.hole === hole;
  forget();
  letters = "";
  if (!same) {
    stayWith(scene);
    open = { scene: scene.number, row, hole };
  }
  again();
}

/** @param {KeyboardEvent} event */
function escape(event) {
  if (event.key !== "Escape") return;
  const hole = event.currentTarget instanceof HTMLElement ? /** @type {HTMLElement | null | undefined} */ (event.currentTarget.parentElement?.querySelector("[aria-expanded=true]")) : null;
  forget();
  again();
  hole?.focus();
}

/**
 * The control that fits a hole.
 * @param {Scene} scene
 * @param {Playing} each
 * @param {PlayLine} line
 * @param {number} row
 * @param {Hole | "more"} hole
 * @returns {HTMLElement[]}
 */
function control(scene, each, line, row, hole) {
  const change = (/** @type {Partial<PlayLine>} */ facts) => put(scene, each, withoutEmpty({ ...line, ...facts }));
  const key = `${scene.number} ${row}`;
  switch (hole) {
    case "from": {
      const from = line.from ?? [];
      return [choices(held.rig?.inputs ?? [], from, (name) => change({ from: from.includes(name) ? from.filter((one) => one !== name) : [...from, name] }))];
    }
    case "on":
      return [choices((held.rig?.instruments ?? []).map(({ name }) => name), [line.on ?? ""], (on) => change({ on, sound: undefined }))];
    case "sound":
      return soundControl(line, key, (sound) => change({ sound }));
    case "notes":
      return [rangeControl(noteKeys(line), line.from ?? [], `range ${key}`, (low, high) => change({ notes: low || high ? `${low}..${high}` : undefined }), again)];
    case "velocity": {
      const [soft, hard] = velocityEnds(line);
      const range = (/** @type {string} */ low, /** @type {string} */ high) => change({ velocity: low || high ? `${low}..${high}` : undefined });
      return [make("div", { class: "pair" },
        valueField("Softest", textInput(soft, { placeholder: "1" }), `soft ${key}`, (value) => range(value, hard), "1 to 127"),
        valueField("Hardest", textInput(hard, { placeholder: "127" }), `hard ${key}`, (value) => range(soft, value), "1 to 127"))];
    }
    case "transpose": {
      const now = Number(line.transpose ?? 0);
      const step = (/** @type {number} */ by, /** @type {string} */ words) => button(words, () => change({ transpose: now + by || undefined }), { "data-key": words });
      return [make("div", { class: "row" }, step(-12, "Octave down"), step(-1, "− 1"), step(1, "+ 1"), step(12, "Octave up"), step(-now, "None")),
        valueField("Semitones", textInput(now || ""), `semitones ${key}`, (value) => change({ transpose: value ? numberOf(value) : undefined }))];
    }
    case "channel":
      return [channelButtons("Channel of the input", line.channel ?? null, (channel) => change({ channel })), button("Any channel", () => change({ channel: undefined }), { "data-key": "any" })];
    case "name":
      return [valueField("Name", textInput(line.name ?? ""), `line name ${key}`, (value) => change({ name: value || undefined }), "to mute it by, from a switch or here")];
    case "through":
      return [filters(scene, each, line, key)];
    default:
      return [more(scene, line, row, change)];
  }
}

/** @param {PlayLine} line */
const withoutEmpty = (line) => /** @type {PlayLine} */ (Object.fromEntries(Object.entries(line).filter(([, value]) => value !== undefined && value !== null)));

/**
 * @param {string[]} names
 * @param {string[]} chosen
 * @param {(name: string) => unknown} pick
 */
function choices(names, chosen, pick) {
  return make("div", { class: "row" }, ...names.map((name) => button(name, () => pick(name), { "data-key": name, "aria-pressed": String(chosen.includes(name)) })));
}

/**
 * What the sentence does not say yet.
 * @param {Scene} scene
 * @param {PlayLine} line
 * @param {number} row
 * @param {(facts: Partial<PlayLine>) => unknown} change
 */
function more(scene, line, row, change) {
  const go = (/** @type {Hole} */ hole) => button(WORDS[hole], () => turn(scene, row, hole), { "data-key": hole });
  return make("div", { class: "row" }, ...(/** @type {Hole[]} */ (["notes", "velocity", "transpose", "channel", "through", "name"])).map(go),
    button(line.pedal === false ? "With pedals" : "Without pedals", () => change({ pedal: line.pedal === false ? undefined : false }), { "data-key": "pedal" }),
    button(line.programs ? "Without program changes" : "With program changes", () => change({ programs: line.programs ? undefined : true }), { "data-key": "programs" }));
}

/**
 * @param {PlayLine} line
 * @param {string} key
 * @param {(sound: string | undefined) => Promise<Answer>} pick
 */
function soundControl(line, key, pick) {
  const on = line.on ?? "";
  const found = matchingSounds(on, letters).slice(0, 40);
  const before = soundBefore?.key === key ? soundBefore.sound : line.sound ?? undefined;
  soundBefore = { key, sound: before };
  const cancel = button(`Cancel: back to ${before ?? "the sound it is on"}`, async () => {
    if ((await pick(before)).done) forget();
    again();
  }, { "data-key": "cancel" });
  const search = textInput(letters, { "aria-label": "Find a sound", placeholder: "Find a sound", "data-key": `find ${key}` });
  return [
    make("div", { on: { input: ({ target }) => {
      letters = target.value;
      again();
    } } }, search),
    make("ul", { class: "sounds", "data-key": `sounds ${key}` },
      make("li", { "data-key": "none" }, button("The sound it is on", () => pick(undefined), { "aria-pressed": String(!line.sound) })),
      ...found.map(({ sound, place }) => make("li", { "data-key": sound },
        button(sound, () => pick(sound), { "aria-pressed": String(line.sound === sound) }),
        make("span", { class: "how", text: placeWords(place) }),
        trySound(on, sound)))),
    velocityField(),
    ...(found.length ? [] : [note(letters ? "No sound has these letters." : `${on} has no sounds yet; add them in Gear.`)]),
    ...((line.sound ?? undefined) === before ? [] : [cancel]),
  ];
}

/**
 * @param {Scene} scene
 * @param {Playing} each
 * @param {PlayLine} line
 * @param {string} key
 */
function filters(scene, each, line, key) {
  if (chain?.key !== key) {
    const send = (/** @type {Chain} */ through, /** @type {number | undefined} */ revision) => put(scene, each, { ...line, through }, revisionOf(scene, "play", revision));
    chain = { key, element: filterChain.editor(each.through, send, () => {
      forget();
      again();
    }) };
  }
  return chain.element;
}
