// Saving: into the rig's file, or into the first one, and the choice if the file has changed meanwhile.

import { command, mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, find, make } from "./dom.js";
import { textInput } from "./value-fields.js";

/** A form for the name of the rig's first file, or another one. */
export function saveAs() {
  const press = make("button", { text: "Save", class: "accent" });
  press.disabled = !mayOperate();
  return make("form", { class: "take", "data-key": "save as", on: { submit: saved } },
    make("label", { class: "short" }, "File, in your home folder or wherever you say ", textInput(fileName(), { name: "file", "data-key": "file" })),
    press,
    make("p", { class: "fault", role: "alert", hidden: true }));
}

const fileName = () => `${(held.rig?.name ?? "rig").toLowerCase().replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "") || "rig"}.toml`;

/** @param {SubmitEvent} event */
async function saved(event) {
  event.preventDefault();
  const form = event.target;
  if (!(form instanceof HTMLFormElement)) return;
  const file = /** @type {HTMLInputElement} */ (find(form, "[name=file]")).value.trim();
  const answer = await command({ do: "save", what: "as", file }, `save as ${file}`);
  const fault = find(form, ".fault");
  if (!fault) return;
  fault.hidden = answer.done;
  fault.textContent = answer.done ? "" : answer.text;
}

/**
 * Save into the rig's file. What was answered is shown in `said`; a rig without a file asks for one there.
 * @param {HTMLElement} said
 * @param {"playing" | "file"} [choice] which of two versions to keep, where the file has changed meanwhile
 * @returns {Promise<void>}
 */
export async function save(said, choice) {
  if (held.facts.draft) {
    said.replaceChildren(saveAs());
    find(said, "input")?.focus();
    return;
  }
  const answer = await command({ do: "save", ...(choice && { choice }) }, "save");
  const conflict = ["conflict", "file-missing"].includes(answer.code);
  said.replaceChildren(
    make("pre", { text: answer.text }),
    ...(conflict
      ? [make("div", { class: "row" },
          button("Save what plays", () => save(said, "playing")),
          button("Play the file", () => save(said, "file")))]
      : []),
  );
}
