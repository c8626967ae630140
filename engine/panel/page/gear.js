// The gear: which ports there are and which are used, a test note, and what two scenes differ in.

import { command, mayOperate } from "./commands.js";
import { button, byId, labelled, make, select, setOptions } from "./dom.js";
import { ask, held, on } from "./connection.js";

let parts = null;
let asking = false; // who is there
let looked = false; // since the view was opened

export function start() {
  on("rig", render);
  on("connection", () => {
    render();
    lookOnce();
  });
}

export function enter() {
  if (!parts) build();
  render();
  looked = false;
  lookOnce();
}

function lookOnce() {
  if (looked || !held.open || !parts || byId("view-gear").hidden) return;
  looked = true;
  look();
}

function build() {
  parts = {
    ports: make("div", { class: "ports" }, make("p", { class: "note", text: "Not looked yet." })),
    instruments: make("ul", { class: "gear" }),
    first: select([], "", () => {}),
    second: select([], "", () => {}),
    differences: make("div", { role: "status" }),
    ask: button("Ask who is there", identify),
    who: make("div", { class: "who", role: "status" }),
  };
  byId("view-gear").append(
    make("h1", { id: "title-gear", tabindex: "-1", text: "Gear" }),
    make("h2", { text: "Instruments" }),
    make("p", { class: "note", text: "A test note is middle C, half a second long, on the instrument’s own output and channel." }),
    parts.instruments,
    make("h2", { text: "Ports of this system" }),
    button("Look again", look),
    parts.ports,
    make("h2", { text: "Who is there" }),
    make("p", { class: "note", text: "Each output is asked by the standard’s device inquiry, and every input listened to. Old gear may not answer." }),
    parts.ask,
    parts.who,
    make("h2", { text: "Compare two scenes" }),
    make("div", { class: "choose" }, labelled("The first", parts.first), labelled("The second", parts.second), make("div", { class: "row" }, button("Compare", compare))),
    parts.differences,
  );
}

function render() {
  if (!parts || !held.rig) return;
  parts.ask.disabled = asking || !mayOperate();
  const { instruments, scenes } = held.rig;
  const focused = document.activeElement?.dataset?.instrument;
  parts.instruments.replaceChildren(...instruments.map(({ name, output, channel, sounds }) => {
    const press = button("Test note", () => command({ do: "test note", instrument: name }, `a test note to ${name}`), { "aria-label": `Test note: ${name}`, "data-instrument": name });
    press.disabled = !mayOperate();
    const count = sounds.length === 1 ? "1 sound" : `${sounds.length} sounds`;
    return make("li", {}, make("span", { class: "name", text: name }), make("span", { class: "how", text: `${output}, channel ${channel}, ${count}` }), press);
  }));
  if (!instruments.length) parts.instruments.append(make("li", { class: "note", text: "The rig names none." }));
  if (focused) [...parts.instruments.querySelectorAll("button")].find((each) => each.dataset.instrument === focused)?.focus();
  const options = scenes.map((each) => [each.number, `${each.number} ${each.name}`]);
  const chosen = [parts.first.value || scenes[0].number, parts.second.value || scenes[Math.min(1, scenes.length - 1)].number];
  setOptions(parts.first, options, chosen[0]);
  setOptions(parts.second, options, chosen[1]);
}

async function look() {
  const answer = await ask({ do: "ports" });
  if (!answer.done) {
    parts.ports.replaceChildren(make("p", { class: "fault", role: "alert", text: answer.text }));
    return;
  }
  const list = (title, ports) => make("div", {},
    make("h3", { text: title }),
    ports.length
      ? make("ul", {}, ...ports.map(({ port, used_by: user }) => make("li", {}, make("span", { class: "name", text: port }), make("span", { class: "how", text: user ? `used as ${user}` : "not used" }))))
      : make("p", { class: "note", text: "None." }));
  parts.ports.replaceChildren(list("Can be heard", answer.inputs), list("Can be played to", answer.outputs));
}

/** One output after the other: so every answer is shown as it comes. */
async function identify() {
  if (asking) return;
  asking = true;
  render();
  parts.who.replaceChildren();
  for (const { name } of held.rig?.outputs ?? []) {
    const answer = await ask({ do: "identify", outputs: [name] });
    const rows = answer.done ? answer.rows : [{ output: name, text: answer.text }];
    parts.who.append(...rows.map((row) => make("p", {}, make("span", { class: "name", text: `${row.output}: ` }), make("span", { text: deviceWords(row) }))));
  }
  asking = false;
  render();
}

function deviceWords({ input, identity, text }) {
  if (!identity) return text;
  const { manufacturer, family, member, version, device } = identity;
  return `maker ${manufacturer}, family ${family}, member ${member}, version ${version}, device id ${device}, answers at ${input}; ${text}`;
}

async function compare() {
  const answer = await ask({ do: "differences", first: Number(parts.first.value), second: Number(parts.second.value) });
  parts.differences.replaceChildren(
    make("p", { class: answer.done ? "" : "fault", text: answer.done ? `${answer.text}.` : answer.text }),
    ...(answer.done && answer.differences.length ? [make("ul", {}, ...answer.differences.map((text) => make("li", { text })))] : []),
  );
}
