// Lights and displays of the gear in the room Gear: when a light is on, what a display shows; made, tried, removed.

import { command, mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, fault, make, note, select } from "./dom.js";
import { sceneWords } from "./labels.js";
import { routeNames } from "./playing.js";
import { channelButtons, DONE, putValues, textInput, valueField } from "./value-fields.js";

/** @typedef {"tallies" | "displays"} Section */
/** @typedef {import("./gear-ports.js").Choose} Choose */
/** @typedef {Partial<TallyTable & Omit<DisplayTable, "player">> & {player?: string | null}} Edit null takes it away */
/** @typedef {(facts: Edit, words: string) => Promise<Answer>} Change */
/** @typedef {{kind: "controller" | "note", channel: number, number: number, lit: number, dark: number}} Lamp */

const NEW = "new"; // the place of one that is being made
const HIGHEST = 127;
const FIELDS = /** @type {[string, string][]} */ ([
  ["scene.name:16", "Scene"], ["scene.number:3", "Number"], ["scene.cue:6", "Cue"], ["scene.text:16", "Text"], ["song.name:16", "Song"], ["next.name:16", "Next scene"], ["tempo:3", "Tempo"],
]);
const KINDS = /** @type {import("./dom.js").Option[]} */ ([["note", "a note"], ["controller", "a controller"], ["other", "another message"]]);

/** @type {{section: Section, table: TallyTable | DisplayTable, wrong: string} | null} what is being made */
let draft = null;
/** @type {string | null} the light whose messages are shown as they are */
let plain = null;
let redraw = () => {};

/** @param {() => void} heed */
export function onChange(heed) {
  redraw = heed;
}

/**
 * @param {import("./gear-ports.js").Chosen | null} chosen
 * @param {Choose} choose
 */
export function list(chosen, choose) {
  const { tallies = [], displays = [], outputs = [], format } = held.rig ?? {};
  const row = (/** @type {Section} */ section, /** @type {number} */ place, /** @type {string} */ how) =>
    make("li", { "data-key": `${section} ${place}` }, make("button", { type: "button", class: "thing", "aria-pressed": String(chosen?.section === section && chosen.name === String(place)), on: { click: () => choose({ section, name: String(place) }) } },
      make("span", { class: "name", text: title(section, String(place)) }), make("span", { class: "how", text: how })));
  const rows = [...tallies.map((each, place) => row("tallies", place, `${each.on} on, ${each.off} off`)), ...displays.map((each, place) => row("displays", place, each.show))];
  const add = (/** @type {Section} */ section, /** @type {string} */ words) => {
    const made = button(words, () => begin(section, choose), { "data-key": `add ${section}` });
    made.disabled = !mayOperate() || !outputs.length || format === 1;
    return made;
  };
  return [
    make("h2", { text: "Lights and displays" }),
    make("ul", { class: "gear", "data-key": "lights" }, ...(rows.length ? rows : [make("li", { class: "note", text: "None yet. A light of your gear can say which scene plays, or what is muted; a display can show its name." })])),
    make("div", { class: "row" }, add("tallies", "Add a light"), add("displays", "Add a display")),
    ...(format === 1 ? [note("Lights and displays need format = 2 in the rig file.")] : []),
  ];
}

/**
 * @param {Section} section
 * @param {Choose} choose
 */
function begin(section, choose) {
  const to = held.rig?.outputs[0].name ?? "";
  const table = section === "tallies"
    ? { to, when: { scene: held.facts.scene?.number ?? 1 }, ...messagesOf({ kind: "note", channel: 1, number: 60, lit: HIGHEST, dark: 0 }) }
    : { to, show: "F0 7D 01 {scene.name:16} F7" };
  draft = { section, table, wrong: "" };
  choose({ section, name: NEW });
}

/**
 * @param {Section} section
 * @param {string} name
 */
const tableOf = (section, name) => (name === NEW ? (draft?.section === section ? draft.table : undefined) : held.rig?.[section][Number(name)]);

/**
 * @param {Section} section
 * @param {string} name
 */
export function title(section, name) {
  if (name === NEW) return section === "tallies" ? "A new light" : "A new display";
  const table = tableOf(section, name);
  if (!table) return "";
  return "when" in table ? `Light at ${table.to}: ${whenWords(table.when)}` : `Display at ${table.to}`;
}

/** @param {TallyTable["when"]} when */
function whenWords({ scene, route, song, player }) {
  const whose = player ? ` of ${player}` : "";
  if (scene !== undefined) return `scene ${sceneWords(held.rig?.scenes.find((each) => each.number === scene || each.name === scene))}${whose}`;
  if (route !== undefined) return `${route} plays${whose}`;
  return song === undefined ? "the clock runs" : `song ${song}${whose}`;
}

/**
 * @param {Section} section
 * @param {string} name
 * @param {Choose} choose
 */
export function details(section, name, choose) {
  const table = tableOf(section, name);
  if (!table) return [note("It is not in this rig any more.")];
  const change = name === NEW ? drafted : changing(section, Number(name));
  const outputs = /** @type {import("./dom.js").Option[]} */ ((held.rig?.outputs ?? []).map((each) => [each.name, each.name]));
  return [
    valueField("Output", select(outputs, table.to, () => {}), `to ${section} ${name}`, (to) => change({ to }, `at ${to}`)),
    ...("when" in table ? tallyFields(table, name, change) : displayFields(table, name, change)),
    ...(name === NEW ? making(section, choose) : [acts(section, Number(name), choose)]),
  ];
}

/**
 * @param {Section} section
 * @param {number} place
 * @returns {Change}
 */
function changing(section, place) {
  return (facts, words) => putValues(Object.entries(facts).map(([key, value]) => [[section, place, key], value ?? null]), `${title(section, String(place))}: ${words}`);
}

/** @type {Change} */
async function drafted({ player, ...facts }) {
  if (draft) draft.table = { ...draft.table, ...facts, ...(player === undefined ? {} : { player: player ?? undefined }) };
  redraw();
  return DONE;
}

/**
 * @param {Section} section
 * @param {Choose} choose
 */
function making(section, choose) {
  const add = button(section === "tallies" ? "Add the light" : "Add the display", async () => {
    if (!draft) return;
    const place = held.rig?.[section].length ?? 0;
    const answer = await putValues([[[section, place], draft.table]], section === "tallies" ? `light at ${draft.table.to} added` : `display at ${draft.table.to} added`);
    if (answer.done) {
      draft = null;
      choose({ section, name: String(place) });
    } else if (draft) {
      draft.wrong = answer.text;
      redraw();
    }
  }, { class: "accent", "data-key": "make" });
  add.disabled = !mayOperate();
  return [...(draft?.wrong ? [fault(draft.wrong)] : []), make("div", { class: "row" }, add)];
}

/**
 * @param {Section} section
 * @param {number} place
 * @param {Choose} choose
 */
function acts(section, place, choose) {
  const what = section === "tallies" ? "tally" : "display";
  const words = title(section, String(place));
  const test = button("Test", () => command({ do: "try", what, place }, `test: ${words}`), { "data-key": "test", title: section === "tallies" ? "On for a second" : "Shows TEST for a second" });
  const remove = button("Remove", async () => {
    const answer = await putValues([[[section, place], null]], `${words} removed`);
    if (answer.done) choose(null);
  }, { class: "danger", "data-key": "remove" });
  test.disabled = remove.disabled = !mayOperate();
  return make("div", { class: "row" }, test, remove);
}

// A light

/**
 * @param {TallyTable} table
 * @param {string} name
 * @param {Change} change
 */
function tallyFields(table, name, change) {
  const { when } = table;
  const lamp = plain === name ? null : lampOf(table);
  const options = whenOptions(when);
  const put = (/** @type {Partial<Lamp>} */ facts, /** @type {string} */ words) => change(messagesOf({ .../** @type {Lamp} */ (lamp), ...facts }), words);
  const kind = (/** @type {string} */ value) => {
    plain = value === "other" ? name : null;
    if (value === "other") {
      redraw();
      return Promise.resolve(DONE);
    }
    return change(messagesOf({ channel: 1, number: 60, lit: HIGHEST, dark: 0, ...lampOf(table), kind: value === "note" ? "note" : "controller" }), `by ${value}`);
  };
  return [
    valueField("On while", select(options.map(({ words }) => [words, words]), options.find(({ now }) => now)?.words, () => {}), `when ${name}`, (value) => change({ when: options.find(({ words }) => words === value)?.when }, value)),
    ...whose(when.player, `whose ${name}`, (player) => change({ when: { ...withoutPlayer(when), ...(player ? { player } : {}) } }, player ? `for ${player}` : "for everybody"), when.clock !== undefined),
    valueField("The light is set by", select(KINDS, lamp?.kind ?? "other", () => {}), `kind ${name}`, kind),
    ...(lamp ? lampFields(lamp, name, put) : [
      valueField("Turns it on", textInput(table.on), `on ${name}`, (on) => change({ on }, "another message"), "one message in hexadecimal, such as B0 14 7F"),
      valueField("Turns it off", textInput(table.off), `off ${name}`, (off) => change({ off }, "another message"), "one message in hexadecimal, such as B0 14 00")]),
  ];
}

/**
 * @param {Lamp} lamp
 * @param {string} name
 * @param {(facts: Partial<Lamp>, words: string) => Promise<Answer>} put
 */
function lampFields({ kind, channel, number, lit, dark }, name, put) {
  const field = (/** @type {string} */ label, /** @type {"number" | "lit" | "dark"} */ key, /** @type {number} */ value, /** @type {string} */ hint) =>
    valueField(label, textInput(value, { inputmode: "numeric" }), `${key} ${name}`, async (text) =>
      (/^\d+$/.test(text) && Number(text) <= HIGHEST ? put({ [key]: Number(text) }, `${label.toLowerCase()} ${text}`) : { done: false, code: "bad-request", text: `${text || "Nothing"} is not a number from 0 to ${HIGHEST}` }), hint);
  return [
    field(kind === "note" ? "Number of its key" : "Number of its controller", "number", number, kind === "note" ? "0 to 127; 60 is middle C" : "0 to 127"),
    make("p", { class: "label", text: "Channel" }),
    channelButtons("Channel of the light", channel, (to) => put({ channel: to }, `channel ${to}`)),
    make("div", { class: "pair" }, field("Value when on", "lit", lit, kind === "note" ? "a velocity; gear often takes it as a colour" : "0 to 127"), field("Value when off", "dark", dark, "0 to 127")),
  ];
}

/**
 * What sets a light, if both of its messages set the same controller or the same key.
 * @param {TallyTable} table
 * @returns {Lamp | null}
 */
function lampOf({ on, off }) {
  const [lit, dark] = [on, off].map((message) => message.trim().split(/\s+/).map((each) => parseInt(each, 16)));
  const kind = { 0x90: "note", 0xb0: "controller" }[lit[0] & 0xf0];
  const same = lit.length === 3 && dark.length === 3 && lit[0] === dark[0] && lit[1] === dark[1];
  if (!same || !kind) return null;
  return { kind: kind === "note" ? "note" : "controller", channel: (lit[0] & 0x0f) + 1, number: lit[1], lit: lit[2], dark: dark[2] };
}

/** @param {Lamp} lamp */
function messagesOf({ kind, channel, number, lit, dark }) {
  const status = (kind === "note" ? 0x90 : 0xb0) + channel - 1;
  const hex = (/** @type {number[]} */ ...octets) => octets.map((each) => each.toString(16).toUpperCase().padStart(2, "0")).join(" ");
  return { on: hex(status, number, lit), off: hex(status, number, dark) };
}

/** @param {TallyTable["when"]} now */
function whenOptions(now) {
  const { scenes = [], songs = [] } = held.rig ?? {};
  /** @type {TallyTable["when"][]} */
  const all = [...scenes.map(({ number }) => ({ scene: number })), ...routeNames().map((route) => ({ route })), ...songs.map(({ name }) => ({ song: name })), { clock: "running" }];
  const same = (/** @type {TallyTable["when"]} */ when) => whenWords(when) === whenWords(withoutPlayer(now));
  const known = all.some(same) ? all : [withoutPlayer(now), ...all];
  return known.map((when) => ({ words: whenWords(when), now: same(when), when: now.player && when.clock === undefined ? { ...when, player: now.player } : when }));
}

/**
 * @param {TallyTable["when"]} when
 * @returns {TallyTable["when"]}
 */
const withoutPlayer = ({ player, ...when }) => when;

/**
 * Whose scenes it is about, in a rig with players.
 * @param {string | undefined} player
 * @param {string} key
 * @param {(player: string) => Promise<Answer>} put
 * @param {boolean} [nobodys]
 */
function whose(player, key, put, nobodys = false) {
  const players = Object.keys(held.facts.players ?? {});
  if (!players.length || nobodys) return [];
  return [valueField("Whose", select([["", "everybody, or the rest of the rig"], .../** @type {[string, string][]} */ (players.map((each) => [each, each]))], player ?? "", () => {}), key, put)];
}

// A display

/**
 * @param {DisplayTable} table
 * @param {string} name
 * @param {Change} change
 */
function displayFields({ show, player }, name, change) {
  const insert = (/** @type {string} */ field, /** @type {string} */ words) => button(words, () => change({ show: show.replace(/\s*F7\s*$/i, ` {${field}} F7`) }, `${words} added`), { "data-key": field });
  const buttons = FIELDS.map(([field, words]) => insert(field, words));
  for (const each of buttons) each.disabled = !mayOperate();
  return [
    ...whose(player, `whose ${name}`, (value) => change({ player: value || null }, value ? `for ${value}` : "for the rest of the rig")),
    valueField("What it is sent", textInput(show), `show ${name}`, (value) => change({ show: value }, "another text"), "SysEx in hexadecimal, as the manual of the display gives it; texts in braces: {scene.name:16} takes sixteen letters"),
    make("div", { class: "row", role: "group", "aria-label": "Add a text at the end" }, ...buttons),
  ];
}
