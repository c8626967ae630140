// A song through the rig's file without the gear: what each scene change costs, and what there is to mend.

import { command, mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, fault, labelled, make, note, refill, select, setOptions } from "./dom.js";
import { sceneOption } from "./labels.js";

const LONGEST = 180_000; // bytes of a song that goes over the live socket in one message

const parts = {
  file: make("input", { type: "file", accept: ".mid,.midi,audio/midi" }),
  input: select([], "", () => {}),
  scene: select([], "", () => {}),
  start: button("Rehearse", rehearse),
  found: make("div", { role: "status" }),
};

export function section() {
  return make("div", {},
    make("h2", { text: "Rehearse a song" }),
    note("A MIDI file is played through the rig as its file has it, without the gear and in a moment."),
    make("div", { class: "choose" }, labelled("Song", parts.file), labelled("Played on", parts.input), labelled("Beginning with", parts.scene), make("div", { class: "row" }, parts.start)),
    parts.found);
}

export function show() {
  if (!held.rig) return;
  parts.start.disabled = parts.file.disabled = !mayOperate();
  setOptions(parts.input, [["", "each track on the input of its name"], ...held.rig.inputs.map(/** @returns {[string, string]} */ (name) => [name, name])], parts.input.value);
  setOptions(parts.scene, [["", "the scene that the rig begins with"], ...held.rig.scenes.map(sceneOption)], parts.scene.value);
}

async function rehearse() {
  const file = parts.file.files?.[0];
  if (!file || file.size > LONGEST) {
    refill(parts.found, fault(file ? "This song is too long for the page; play it in the terminal: bayleaf rehearse." : "Choose a song first: a MIDI file."));
    return;
  }
  refill(parts.found, note("Rehearsing …"));
  const song = btoa(Array.from(new Uint8Array(await file.arrayBuffer()), (octet) => String.fromCharCode(octet)).join(""));
  const scene = parts.scene.value;
  const answer = await command({ do: "rehearse", name: file.name, song, input: parts.input.value, scene: scene ? Number(scene) : null }, `rehearse ${file.name}`);
  if (!answer.done) {
    refill(parts.found, fault(answer.text));
    return;
  }
  refill(parts.found,
    make("p", { text: `${answer.text}.` }),
    make("ul", {}, ...(answer.findings.length ? answer.findings : ["Nothing to mend."]).map((text) => make("li", { text }))),
    ...answer.remarks.map(note),
    answer.page ? make("p", {}, make("a", { href: URL.createObjectURL(new Blob([answer.page], { type: "text/html" })), download: "report.html", text: "Download the whole report" })) : null);
}
