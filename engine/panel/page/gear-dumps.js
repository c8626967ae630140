// The memory of the gear: dumps that are received into a file, and sent from one.

import { command, mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, fault, labelled, make, note, refill, select, setOptions } from "./dom.js";

const LONGEST = 80_000; // bytes of a dump that goes over the live socket in one message

const parts = {
  input: select([], "", () => {}),
  instrument: select([], "", () => {}),
  receive: button("Receive a dump", receive),
  file: make("input", { type: "file", accept: ".syx" }),
  output: select([], "", () => {}),
  send: button("Send the dump", send),
  said: make("div", { role: "status" }),
};

export function section() {
  return make("div", {},
    make("h2", { text: "SysEx dumps" }),
    note("Sounds and settings that gear sends as SysEx are kept in a file, and sent back from it. Sending overwrites what the gear has there."),
    make("div", { class: "choose" }, labelled("Comes in at", parts.input), labelled("Asked for", parts.instrument), make("div", { class: "row" }, parts.receive)),
    make("div", { class: "choose" }, labelled("Dump", parts.file), labelled("Goes to", parts.output), make("div", { class: "row" }, parts.send)),
    parts.said);
}

export function show() {
  if (!held.rig) return;
  const { inputs, outputs, gear } = held.rig;
  const names = (/** @type {string[]} */ all) => all.map(/** @returns {[string, string]} */ (name) => [name, name]);
  parts.receive.disabled = parts.file.disabled = parts.send.disabled = !mayOperate();
  setOptions(parts.input, names(inputs), parts.input.value || inputs[0]);
  setOptions(parts.instrument, [["", "at the gear itself"], ...names(Object.keys(gear).filter((name) => gear[name].request))], parts.instrument.value);
  setOptions(parts.output, names(outputs.map(({ name }) => name)), parts.output.value || outputs[0]?.name);
}

async function receive() {
  refill(parts.said, note(parts.instrument.value ? "Waiting for the dump …" : "Waiting for the dump: start it at the gear, within 15 seconds …"));
  const answer = await command({ do: "dump", what: "receive", input: parts.input.value, instrument: parts.instrument.value || null }, `a dump from ${parts.input.value}`);
  if (!answer.done) {
    refill(parts.said, fault(answer.text));
    return;
  }
  const octets = Uint8Array.from(answer.messages.join("").match(/../g) ?? [], (each) => parseInt(each, 16));
  const href = URL.createObjectURL(new Blob([octets], { type: "application/octet-stream" }));
  refill(parts.said, make("p", {}, `${answer.text}. `, make("a", { href, download: `${parts.instrument.value || parts.input.value}.syx`, text: "Download the dump" })));
}

async function send() {
  const file = parts.file.files?.[0];
  const messages = file && file.size <= LONGEST ? messagesOf(new Uint8Array(await file.arrayBuffer())) : [];
  if (!file || !messages.length) {
    refill(parts.said, fault(!file ? "Choose a dump first: a file that ends in .syx." : file.size > LONGEST ? "This dump is too long for the page; send it in the terminal: bayleaf sysex send." : "There is no SysEx in this file."));
    return;
  }
  refill(parts.said, note("Sending …"));
  const answer = await command({ do: "dump", what: "send", output: parts.output.value, messages }, `${file.name} to ${parts.output.value}`);
  refill(parts.said, answer.done ? make("p", { text: answer.text }) : fault(answer.text));
}

/**
 * The SysEx messages of a file, in hexadecimal; what is between them is left out.
 * @param {Uint8Array} octets
 */
function messagesOf(octets) {
  /** @type {string[]} */
  const found = [];
  let begun = "";
  for (const octet of octets) {
    const word = octet.toString(16).padStart(2, "0");
    begun = octet === 0xf0 ? word : begun && begun + word;
    if (octet !== 0xf7 || !begun) continue;
    found.push(begun);
    begun = "";
  }
  return found;
}
