// Instruments in the room Gear: their rows, and the details of one: output, channel, sounds, set-up.

import { mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, make, note, select } from "./dom.js";
import { removal, rename } from "./gear-ports.js";
import { filterFields, freeZone, zoneFields } from "./gear-zones.js";
import { soundList } from "./sounds.js";
import { testNote, velocityField } from "./trying.js";
import { channelButtons, numberOf, putValues, textInput, tick, timeWords, valueField } from "./value-fields.js";

const BANKS = /** @type {import("./dom.js").Option[]} */ ([["msb lsb", "MSB and LSB"], ["msb", "MSB alone"], ["lsb", "LSB alone"], ["none", "no banks"]]);

/**
 * @param {import("./gear-ports.js").Chosen | null} chosen
 * @param {import("./gear-ports.js").Choose} choose
 */
export function instrumentRows(chosen, choose) {
  return (held.rig?.instruments ?? []).map(({ name, output, channel, members, spare, sounds, drums }) => {
    const pressed = chosen?.section === "instruments" && chosen.name === name;
    const count = sounds.length === 1 ? "1 sound" : `${sounds.length} sounds`;
    return make("li", { "data-key": name, class: "with-test" },
      make("button", { type: "button", class: "thing", "data-key": `instruments ${name}`, "aria-pressed": String(pressed), on: { click: () => choose({ section: "instruments", name }) } },
        make("span", { class: "name", text: name }),
        make("span", { class: "how", text: `${output}, ${channelWords(name, channel, members, spare)}, ${drums ? "drums, " : ""}${count}` })),
      testNote(name));
  });
}

/**
 * The channel that an instrument is on, which may be a spare one, or its MPE zone.
 *
 * @param {string} name
 * @param {number} channel
 * @param {number[]} members
 * @param {number[]} spare
 */
function channelWords(name, channel, members, spare) {
  if (members.length) return `MPE zone ${members.join("–")}, manager ${channel}`;
  const now = held.facts.channels?.[name];
  if (now) return `on spare channel ${now} (its own is ${channel})`;
  return spare.length ? `channel ${channel} (spare: ${spare.join(", ")})` : `channel ${channel}`;
}

/**
 * Another instrument, at an output that has a channel left.
 * @param {import("./gear-ports.js").Choose} choose
 */
export function addInstrument(choose) {
  const outputs = held.rig?.outputs ?? [];
  const add = button("Add an instrument", async () => {
    const output = outputs[0].name;
    const taken = new Set((held.rig?.instruments ?? []).filter((each) => each.output === output).map((each) => each.channel));
    const channel = Array.from({ length: 16 }, (_, index) => index + 1).find((each) => !taken.has(each)) ?? 1;
    let number = 1;
    while (held.rig && `instrument-${number}` in held.rig.gear) number += 1;
    const name = `instrument-${number}`;
    const answer = await putValues([[["instruments", name], { output, channel }]], `${name} added on ${output}, channel ${channel}`);
    if (answer.done) choose({ section: "instruments", name });
  }, { "data-key": "add instrument" });
  add.disabled = !mayOperate() || !outputs.length;
  return add;
}

/**
 * @param {string} name
 * @param {import("./gear-ports.js").Choose} choose
 */
export function instrumentDetails(name, choose) {
  const gear = held.rig?.gear[name];
  if (!gear) return [note("It is not in this rig any more.")];
  const put = (/** @type {string} */ key, /** @type {unknown} */ value, /** @type {string} */ words) => putValues([[["instruments", name, key], value]], `${name}: ${words}`);
  const outputs = /** @type {import("./dom.js").Option[]} */ ((held.rig?.outputs ?? []).map((each) => [each.name, each.name]));
  const setup = make("textarea", { rows: "3", spellcheck: "false" });
  setup.value = (gear.setup ?? []).join("\n");
  return [
    valueField("Name", textInput(name), `name instruments ${name}`, (value) => rename("instruments", name, value, choose)),
    valueField("Output", select(outputs, gear.output, () => {}), `output ${name}`, (value) => put("output", value, `on ${value}`)),
    ...receiving(name, gear),
    valueField("Drums: never transposed", tick(gear.drums === true), `drums ${name}`, (value) => put("drums", value === "true" ? true : null, value === "true" ? "drums" : "no drums")),
    make("div", { class: "row" }, testNote(name), velocityField()),
    make("h3", { text: "Sounds" }),
    ...soundList(name),
    make("details", { "data-key": `more ${name}` }, make("summary", { text: "Banks, numbering, set-up" }),
      valueField("Responds to banks by", select(BANKS, gear.bank ?? "msb lsb", () => {}), `bank ${name}`, (value) => put("bank", value === "msb lsb" ? null : value, `banks by ${value}`)),
      valueField("Its first program is printed as", select([["1", "1"], ["0", "0"]], String(gear.programs_from ?? 1), () => {}), `first ${name}`, (value) => put("programs_from", value === "0" ? 0 : null, `programs from ${value}`)),
      valueField("It prints its programs as", textInput(labelWords(gear.labels)), `labels ${name}`, (value) => put("labels", labelsOf(value), `programs printed as ${value || "numbers"}`), "A11..B88 in banks of eight, or each by itself: U1 = 65, U2 = 66; empty for numbers"),
      valueField("Pause after a program change", textInput(timeWords(gear.settle || undefined), { placeholder: "none" }), `settle ${name}`, (value) => put("settle", value || null, `pause ${value || "none"}`), "such as 30 ms"),
      valueField("Spare channels", textInput((gear.spare ?? []).join(", ")), `spare ${name}`, (value) => put("spare", value ? value.split(/[ ,]+/).map(numberOf) : null, "spare channels"), "for a new sound while notes ring, such as 11, 12"),
      valueField("Sent at the start and when it comes back", setup, `setup ${name}`, (value) => put("setup", value ? value.split("\n").map((each) => each.trim()).filter(Boolean) : null, "set-up"), "a word in each line: local off, volume 90, or a message in hexadecimal")),
    ...filterFields("instruments", name, gear.through ?? []),
    removal("instruments", name, choose),
  ];
}

/**
 * The channel that it receives on, or its MPE zone.
 * @param {string} name
 * @param {GearTable} gear
 */
function receiving(name, gear) {
  const at = (/** @type {string} */ key) => /** @type {import("./value-fields.js").Path} */ (["instruments", name, key]);
  const others = (held.rig?.instruments ?? []).filter((each) => each.name !== name && each.output === gear.output).flatMap((each) => [each.channel, ...each.spare, ...(each.members.length ? Array.from({ length: each.members[1] - each.members[0] + 1 }, (_, index) => each.members[0] + index) : [])]);
  const way = valueField("It receives on", select([["channel", "one channel"], ["zone", "an MPE zone: a channel for each note"]], gear.mpe ? "zone" : "channel", () => {}), `receives ${name}`, (value) =>
    (value === "zone"
      ? putValues([[at("channel"), null], [at("pressure"), null], [at("mpe"), freeZone(others)]], `${name}: an MPE zone`)
      : putValues([[at("mpe"), null], [at("channel"), gear.channel]], `${name}: channel ${gear.channel}`)));
  if (gear.mpe) return [way, ...zoneFields("instruments", name, gear.mpe)];
  const played = Object.values(held.rig?.ports.inputs ?? {}).some((each) => each.mpe);
  return [
    way,
    make("p", { class: "label", text: "Channel" }),
    channelButtons(`Channel of ${name}`, gear.channel, (channel) => putValues([[at("channel"), channel]], `${name}: channel ${channel}`)),
    ...(played || gear.pressure ? [valueField("The pressure of an MPE controller’s fingers is", select([["channel", "that of the whole channel"], ["keys", "that of each key"]], gear.pressure ?? "channel", () => {}), `pressure ${name}`, (value) => putValues([[at("pressure"), value === "channel" ? null : value]], `${name}: pressure of ${value === "keys" ? "each key" : "the channel"}`), "each key only for gear that knows key pressure")] : []),
  ];
}

/** @param {GearTable["labels"]} labels */
const labelWords = (labels) => (typeof labels === "object" ? Object.entries(labels).map(([label, program]) => `${label} = ${program}`).join(", ") : labels ?? "");

/**
 * What was typed, as the rig file has it; the engine says what is wrong with it.
 * @param {string} text
 */
function labelsOf(text) {
  if (!text.includes("=")) return text || null;
  return Object.fromEntries(text.split(",").map((each) => each.split("=").map((part) => part.trim())).filter(([label]) => label).map(([label, program = ""]) => [label, numberOf(program)]));
}
