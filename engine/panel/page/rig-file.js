// The rig and its file in the room Gear: its name and its start, what is not saved, earlier versions, a copy to keep,
// another rig to play; and what was played, kept after a mishap.

import { command, mayOperate } from "./commands.js";
import { ask, held } from "./connection.js";
import { button, fault, labelled, make, note, refill, say, select } from "./dom.js";
import { rigFields } from "./rig-facts.js";
import { textInput } from "./value-fields.js";

const LONGEST = 250_000; // bytes of a rig that goes over the live socket in one message
const MINUTES = /** @type {import("./dom.js").Option[]} */ ([["60", "the last minute"], ["300", "the last 5 minutes"], ["1200", "the last 20 minutes"], ["3600", "the last hour"]]);

/** @type {ReturnType<typeof build> | null} */
let parts = null;

function build() {
  const file = make("input", { type: "file", accept: ".toml", on: { change: ({ currentTarget }) => restore(currentTarget) } });
  return {
    facts: make("div", { class: "choose" }),
    name: make("p", {}),
    acts: make("div", { class: "row" }, button("What is not saved", () => differ(null)), button("Earlier versions", list), button("Download a copy", download)),
    said: make("div", { role: "status" }),
    restore: labelled("Play another rig, from a copy", file, "It plays at once, unsaved; Undo brings this one back."),
    file,
    last: select(MINUTES, "300", () => {}),
    keptAs: textInput("", { size: 26 }),
    keep: button("Keep it", keep),
    kept: make("p", { role: "status" }),
  };
}

export function section() {
  parts ??= build();
  return make("div", {},
    make("h2", { text: "The rig" }), parts.facts,
    make("h2", { text: "The rig’s file" }), parts.name, parts.acts, parts.said, parts.restore,
    make("h2", { text: "After a mishap" }),
    note("What came in and went out is remembered. Kept in a file in your home folder, it can be looked at, or sent to somebody who can help. A file that ends in .mid opens in a sequencer, one in .jsonl holds everything."),
    make("div", { class: "choose" }, labelled("Keep", parts.last), labelled("As", parts.keptAs), make("div", { class: "row" }, parts.keep)),
    parts.kept);
}

export function show() {
  if (!parts || !held.rig) return;
  refill(parts.facts, ...rigFields());
  const { file, draft, unsaved } = held.facts;
  say(parts.name, draft ? "It has no file yet: save it first." : `${file ?? ""}: ${unsaved ? "there are edits that it does not have yet" : "it has all edits"}.`);
  for (const each of [...parts.acts.querySelectorAll("button"), parts.keep, parts.file]) each.disabled = !mayOperate();
  parts.keptAs.value ||= `mishap-${new Date().toLocaleString("sv").slice(0, 16).replace(/\D/g, "")}.mid`;
}

/**
 * What the rig has now and the file, or one of its versions, has not.
 * @param {number | null} version
 */
async function differ(version) {
  const answer = await ask({ do: "save", what: "diff", version });
  if (parts) refill(parts.said, answer.done ? make("pre", { class: "differences", text: answer.text }) : fault(answer.text));
}

async function list() {
  const answer = /** @type {Answer<"versions">} */ (await ask({ do: "save", what: "history" }));
  if (!parts) return;
  if (!answer.done) {
    refill(parts.said, fault(answer.text));
    return;
  }
  const row = (/** @type {RigVersion} */ { number, time, bytes }) => {
    const back = button("Go back to it", async () => {
      const done = await command({ do: "save", what: "undo", version: number }, `version ${number}`);
      if (done.done) list();
    }, { "aria-label": `Go back to version ${number}` });
    return make("li", { "data-key": String(number) }, make("span", { class: "name", text: `Version ${number}` }), make("span", { class: "how", text: `${time}, ${bytes.toLocaleString("en")} bytes` }), button("What differs", () => differ(number), { "aria-label": `What differs from version ${number}` }), back);
  };
  refill(parts.said,
    note(answer.versions.length ? "Each time the file was written, what it held before was kept. The newest come first; going back plays that version and saves it." : "No earlier versions yet: each save keeps what the file held before."),
    make("ul", { class: "sounds versions" }, ...answer.versions.map(row)));
}

async function download() {
  const answer = await ask({ do: "backup" });
  if (!parts) return;
  if (!answer.done) {
    refill(parts.said, fault(answer.text));
    return;
  }
  const address = URL.createObjectURL(new Blob([answer.rig], { type: "application/toml" }));
  const name = (held.facts.file ?? "rig.toml").split("/").pop() || "rig.toml";
  make("a", { href: address, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(address), 10000);
  refill(parts.said, make("p", { text: `${name}: the rig as it plays now, unsaved edits included.` }));
}

/** @param {HTMLInputElement} field */
async function restore(field) {
  const file = field.files?.[0];
  if (!file || !parts) return;
  const text = await file.text();
  field.value = "";
  const answer = new Blob([JSON.stringify(text)]).size > LONGEST
    ? { done: false, text: "This rig is too long for the page; play it in the terminal: bayleaf restore FILE." }
    : await command({ do: "edit", what: "rig", text, where: file.name }, `the rig from ${file.name}`);
  refill(parts.said, answer.done ? make("p", { text: answer.text }) : fault(answer.text));
}

async function keep() {
  if (!parts) return;
  const answer = await command({ do: "keep", what: "home", last_s: Number(parts.last.value), file: parts.keptAs.value.trim() }, "keep what was played");
  refill(parts.kept, answer.done ? answer.text : fault(answer.text));
  if (answer.done) parts.keptAs.value = "";
}
