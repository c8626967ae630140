// Inputs and outputs in the room Gear: those of the rig, those that are connected and not used yet, and the details of one.

import { rateWords } from "./activity.js";
import { command, mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, make, note, select } from "./dom.js";
import { filterFields, freeZone, zoneFields } from "./gear-zones.js";
import { timeWords } from "./labels.js";
import { putValues, textInput, tick, valueField } from "./value-fields.js";

/** @typedef {"inputs" | "outputs"} Section */
/** @typedef {{section: string, name: string}} Chosen */
/** @typedef {(chosen: Chosen | null) => void} Choose */

const LIT = 3000; // ms that a port stays lit

/** What of a keyboard's own buttons may be kept from the rest, in words of the rig file. */
const STOPS = /** @type {[string, string][]} */ ([
  ["program", "program changes"], ["bank", "bank selects"], ["all notes off", "all notes off"], ["clock", "clock"], ["sysex", "SysEx"],
]);

/**
 * The rows of one section of the rig.
 * @param {Section} section
 * @param {EngineStatus | null} status
 * @param {Chosen | null} chosen
 * @param {Choose} choose
 */
export function portRows(section, status, chosen, choose) {
  const names = Object.keys(held.rig?.ports[section] ?? {});
  return names.map((name) => {
    const port = status?.[section].find((each) => each.name === name);
    const missing = port?.state === "missing";
    const pressed = chosen?.section === section && chosen.name === name;
    return make("li", { "data-key": name },
      make("button", { type: "button", class: "thing", "data-key": `${section} ${name}`, "aria-pressed": String(pressed), "data-state": missing ? "missing" : "there", on: { click: () => choose({ section, name }) } },
        make("span", { class: "name", text: name }),
        make("span", { class: "plays", "data-way": section === "inputs" ? "in" : "out", "data-port": name, text: rateWords(section === "inputs" ? "in" : "out", name) }),
        make("span", { class: "how", text: port ? stateWords(port) : "" })));
  });
}

/** @param {PortStatus} port */
function stateWords(port) {
  if (port.state !== "missing") return port.port ?? "";
  return `missing since ${timeWords(new Date(port.since * 1000))}${port.last_error ? `: ${port.last_error}` : ""}`;
}

/**
 * Ports that are connected and not used yet, each with a name to use it by.
 * @param {Section} section
 * @param {FreePort[]} ports
 * @param {Map<string, number>} fresh when something last came, by port
 */
export function freeRows(section, ports, fresh) {
  return ports.map((port) => {
    const key = `free ${section} ${port.port}`;
    const plays = performance.now() - (fresh.get(port.port) ?? -LIT) < LIT;
    const name = textInput(freeName(section, port.name), { "aria-label": `Name for ${port.port}`, "data-key": "name" });
    const channel = section === "outputs" ? select(channelOptions, "1", () => {}, { "aria-label": `What answers at ${port.port}`, "data-key": "channel" }) : null;
    const take = make("button", { text: "Use", class: "accent", "aria-label": `Use ${port.port}` });
    take.disabled = !mayOperate();
    return make("li", { "data-key": key, class: plays ? "free playing" : "free" },
      make("form", { class: "take", on: { submit: (event) => used(event, section, port) } },
        make("span", { class: "port" }, make("span", { class: "light", "aria-hidden": "true", text: plays ? "●" : "○" }), ` ${port.port}`),
        make("span", { class: "how", role: "status", text: plays ? `playing: ${port.last}` : section === "inputs" ? "play it, and it lights up" : "" }),
        name, channel, take));
  });
}

const channelOptions = /** @type {import("./dom.js").Option[]} */ ([
  ...Array.from({ length: 16 }, (_, index) => [String(index + 1), `an instrument on channel ${index + 1}`]), ["", "no instrument: lights, a recorder"],
]);

/**
 * A name that no port of this section has.
 * @param {Section} section
 * @param {string} name
 */
function freeName(section, name) {
  const taken = { ...held.rig?.ports[section], ...(section === "outputs" ? held.rig?.gear : {}) };
  let number = 1;
  while ((number === 1 ? name : `${name}-${number}`) in taken) number += 1;
  return number === 1 ? name : `${name}-${number}`;
}

/**
 * @param {SubmitEvent} event
 * @param {Section} section
 * @param {FreePort} port
 */
function used(event, section, port) {
  event.preventDefault();
  if (!(event.target instanceof HTMLFormElement)) return;
  const name = /** @type {HTMLInputElement} */ (event.target.querySelector("input")).value.trim();
  const channel = Number(event.target.querySelector("select")?.value || 0);
  /** @type {[import("./value-fields.js").Path, unknown][]} */
  const values = [[[section, name], { port: port.port }]];
  if (channel) values.push([["instruments", name], { output: name, channel }]);
  putValues(values, `${name} is ${port.port}`);
}

/**
 * The details of one port, to be edited.
 * @param {Section} section
 * @param {string} name
 * @param {FreePort[]} free
 * @param {Choose} choose
 */
export function portDetails(section, name, free, choose) {
  const port = held.rig?.ports[section][name];
  if (!port) return [note("It is not in this rig any more.")];
  const what = section === "inputs" ? "input" : "output";
  const now = port.port ?? port.device ?? port.keyboard ?? "";
  const ports = /** @type {import("./dom.js").Option[]} */ ([...new Set([now, ...free.map((each) => each.port)])].map((each) => [each, each]));
  return [
    valueField("Name", textInput(name), `name ${section} ${name}`, (value) => rename(section, name, value, choose)),
    valueField("Port", select(ports, now, () => {}), `port ${section} ${name}`, (value) => putValues([[[section, name, "port"], value]], `${name} is now ${value}`), `The ${what} ${name} may move to any port that is connected and not used.`),
    ...(section === "inputs" ? [...stops(name, port.stop ?? []), ...(port.keyboard ? [] : zone(name, port)), ...filterFields("inputs", name, port.through ?? [])] : cable(name, port.wire ?? "fast")),
    removal(section, name, choose),
  ];
}

/**
 * @param {string} section
 * @param {string} name
 * @param {string} value
 * @param {Choose} choose
 */
export async function rename(section, name, value, choose) {
  const answer = await command({ do: "edit", what: "rename", section, name, new: value }, `call ${name} ${value}`);
  if (answer.done) choose({ section, name: value });
  return answer;
}

/**
 * @param {string} name
 * @param {string[]} stopped
 */
function stops(name, stopped) {
  return [make("fieldset", { "data-key": `stop ${name}` }, make("legend", { text: "Never passed on from here" }),
    ...STOPS.map(([kind, words]) => valueField(words, tick(stopped.includes(kind)), `stop ${name} ${kind}`, (value) => {
      const now = value === "true" ? [...stopped, kind] : stopped.filter((each) => each !== kind);
      return putValues([[["inputs", name, "stop"], now.length ? now : null]], `${name}: ${words} ${value === "true" ? "stopped" : "passed on"}`);
    })))];
}

/**
 * Whether it is an MPE controller, and its zone.
 * @param {string} name
 * @param {PortTable} port
 */
function zone(name, { mpe }) {
  const isOne = valueField("An MPE controller: a channel for each note", tick(mpe !== undefined), `mpe ${name}`, (value) =>
    putValues([[["inputs", name, "mpe"], value === "true" ? freeZone([]) : null]], `${name}: ${value === "true" ? "an MPE controller" : "no MPE controller"}`));
  return [isOne, ...(mpe ? zoneFields("inputs", name, mpe) : [])];
}

/**
 * @param {string} name
 * @param {string} wire
 */
function cable(name, wire) {
  const kinds = /** @type {import("./dom.js").Option[]} */ ([["fast", "USB or network: as fast as it comes"], ["din", "a MIDI cable with five pins: 3,125 bytes per second"]]);
  return [valueField("Cable", select(kinds, wire, () => {}), `wire ${name}`, (value) => putValues([[["outputs", name, "wire"], value === "fast" ? null : value]], `cable of ${name}`))];
}

/**
 * A button that removes a part; Undo brings it back.
 * @param {string} section
 * @param {string} name
 * @param {Choose} choose
 */
export function removal(section, name, choose) {
  const made = button(`Remove ${name}`, async () => {
    const answer = await command({ do: "edit", what: "remove", section, name }, `remove ${name}`);
    if (answer.done) choose(null);
  }, { class: "danger", "data-key": `remove ${section} ${name}` });
  made.disabled = !mayOperate();
  return make("div", { class: "row" }, made, note("With what uses it. Undo brings all of it back."));
}
