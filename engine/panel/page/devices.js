// Which devices answer at the outputs, and how two scenes differ.

import { mayOperate } from "./commands.js";
import { ask, held } from "./connection.js";
import { button, labelled, make, note, refill, select, setOptions } from "./dom.js";
import { sceneOption } from "./labels.js";

/** @type {ReturnType<typeof build> | null} */
let parts = null;
let asking = false;

function build() {
  return {
    first: select([], "", () => {}),
    second: select([], "", () => {}),
    differences: make("div", { role: "status" }),
    ask: button("Identify devices", identify),
    who: make("div", { class: "who", role: "status" }),
  };
}

export function section() {
  parts ??= build();
  return make("div", {},
    make("h2", { text: "Devices" }),
    note("Sends the standard device inquiry to each output and listens on every input. Old gear may not answer."),
    parts.ask,
    parts.who,
    make("h2", { text: "Compare two scenes" }),
    make("div", { class: "choose" }, labelled("First scene", parts.first), labelled("Second scene", parts.second), make("div", { class: "row" }, button("Compare", compare))),
    parts.differences);
}

export function show() {
  if (!parts || !held.rig) return;
  parts.ask.disabled = asking || !mayOperate();
  const { scenes } = held.rig;
  const options = scenes.map(sceneOption);
  const chosen = [parts.first.value || scenes[0].number, parts.second.value || scenes[Math.min(1, scenes.length - 1)].number];
  setOptions(parts.first, options, chosen[0]);
  setOptions(parts.second, options, chosen[1]);
}

/** One output after the other, so every answer is shown as it arrives. */
async function identify() {
  if (asking || !parts) return;
  asking = true;
  show();
  refill(parts.who);
  for (const { name } of held.rig?.outputs ?? []) {
    const answer = await ask({ do: "identify", outputs: [name] });
    const rows = answer.done ? answer.rows : [{ output: name, text: answer.text }];
    parts.who.append(...rows.map((each) =>
      make("p", {}, make("span", { class: "name", text: `${each.output}: ` }), make("span", { text: deviceWords(each) }))));
  }
  asking = false;
  show();
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
  refill(parts.differences,
    make("p", { class: answer.done ? "" : "fault", text: answer.done ? `${answer.text}.` : answer.text }),
    answer.done && answer.differences.length ? make("ul", {}, ...answer.differences.map((text) => make("li", { text }))) : null,
  );
}
