// The view Gear: test notes, the system's ports and who uses them, which devices answer, and how two scenes differ.

import { command, mayOperate } from "./commands.js";
import { ask, held, on } from "./connection.js";
import { button, byId, fault, findAll, focused, labelled, make, note, select, setOptions } from "./dom.js";
import { sceneOption } from "./labels.js";
import * as pairings from "./pairings.js";

/** @type {ReturnType<typeof build> | null} */
let parts = null;
let asking = false; // which devices answer
let looked = false; // since the view was opened

export function start() {
  on("rig", render);
  on("frame", (frame) => {
    if ("channels" in frame) render();
  });
  on("connection", () => {
    render();
    lookOnce();
  });
}

export function enter() {
  parts ??= build();
  render();
  looked = false;
  lookOnce();
  pairings.look();
}

function lookOnce() {
  if (looked || !held.open || !parts || byId("view-gear").hidden) return;
  looked = true;
  look();
}

function build() {
  const made = {
    ports: make("div", { class: "ports" }, note("Loading …")),
    instruments: make("ul", { class: "gear" }),
    first: select([], "", () => {}),
    second: select([], "", () => {}),
    differences: make("div", { role: "status" }),
    ask: button("Identify devices", identify),
    who: make("div", { class: "who", role: "status" }),
  };
  byId("view-gear").append(
    make("h1", { id: "title-gear", tabindex: "-1", text: "Gear" }),
    make("h2", { text: "Instruments" }),
    note("A test note is middle C for half a second, on the instrument’s output and channel."),
    made.instruments,
    make("h2", { text: "System ports" }),
    button("Refresh", look),
    made.ports,
    make("h2", { text: "Devices" }),
    note("Sends the standard device inquiry to each output and listens on every input. Old gear may not answer."),
    made.ask,
    made.who,
    make("h2", { text: "Compare two scenes" }),
    make("div", { class: "choose" }, labelled("First scene", made.first), labelled("Second scene", made.second), make("div", { class: "row" }, button("Compare", compare))),
    made.differences,
    pairings.section(),
  );
  return made;
}

function render() {
  if (!parts || !held.rig) return;
  parts.ask.disabled = asking || !mayOperate();
  const { instruments, scenes } = held.rig;
  const before = focused()?.dataset.instrument;
  parts.instruments.replaceChildren(...instruments.map(row));
  if (!instruments.length) parts.instruments.append(make("li", { class: "note", text: "This rig has no instruments." }));
  if (before) findAll(parts.instruments, "button").find((each) => each.dataset.instrument === before)?.focus();
  const options = scenes.map(sceneOption);
  const chosen = [parts.first.value || scenes[0].number, parts.second.value || scenes[Math.min(1, scenes.length - 1)].number];
  setOptions(parts.first, options, chosen[0]);
  setOptions(parts.second, options, chosen[1]);
}

/** @param {Instrument} instrument */
function row({ name, output, channel, members, spare, sounds }) {
  const press = button("Test note", () => command({ do: "test note", instrument: name }, `test note to ${name}`), { "aria-label": `Test note: ${name}`, "data-instrument": name });
  press.disabled = !mayOperate();
  const count = sounds.length === 1 ? "1 sound" : `${sounds.length} sounds`;
  return make("li", {}, make("span", { class: "name", text: name }), make("span", { class: "how", text: `${output}, ${channelWords(name, channel, members, spare)}, ${count}` }), press);
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

async function look() {
  const answer = await ask({ do: "ports" });
  if (answer.done) parts?.ports.replaceChildren(list("Inputs", answer.inputs), list("Outputs", answer.outputs));
  else parts?.ports.replaceChildren(fault(answer.text));
}

/**
 * @param {string} title
 * @param {UsedPort[]} ports
 */
function list(title, ports) {
  const rows = ports.map(({ port, used_by: user }) =>
    make("li", {}, make("span", { class: "name", text: port }), make("span", { class: "how", text: user ? `used as ${user}` : "not used" })));
  return make("div", {}, make("h3", { text: title }), rows.length ? make("ul", {}, ...rows) : note("None."));
}

/** One output after the other, so every answer is shown as it arrives. */
async function identify() {
  if (asking || !parts) return;
  asking = true;
  render();
  parts.who.replaceChildren();
  for (const { name } of held.rig?.outputs ?? []) {
    const answer = await ask({ do: "identify", outputs: [name] });
    const rows = answer.done ? answer.rows : [{ output: name, text: answer.text }];
    parts.who.append(...rows.map((each) =>
      make("p", {}, make("span", { class: "name", text: `${each.output}: ` }), make("span", { text: deviceWords(each) }))));
  }
  asking = false;
  render();
}

/** @param {IdentifiedRow} row */
function deviceWords({ input, identity, text }) {
  if (!identity) return text;
  const { manufacturer, family, member, version, device } = identity;
  return `manufacturer ${manufacturer}, family ${family}, member ${member}, version ${version}, device ID ${device}, answers on ${input}; ${text}`;
}

async function compare() {
  if (!parts) return;
  const answer = await ask({ do: "differences", first: Number(parts.first.value), second: Number(parts.second.value) });
  parts.differences.replaceChildren(
    make("p", { class: answer.done ? "" : "fault", text: answer.done ? `${answer.text}.` : answer.text }),
    answer.done && answer.differences.length ? make("ul", {}, ...answer.differences.map((text) => make("li", { text }))) : "",
  );
}
