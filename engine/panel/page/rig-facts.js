// What the rig is called, which scene it starts with, and how its gear prints note 60.

import { held } from "./connection.js";
import { select } from "./dom.js";
import { numberOf, putValues, textInput, valueField } from "./value-fields.js";

const LAST = "last";

/** @returns {HTMLElement[]} */
export function rigFields() {
  const { rig } = held;
  if (!rig) return [];
  const first = rig.scenes.find(({ number, name }) => number === rig.start || name === rig.start);
  const scenes = rig.scenes.map(({ number, name }) => /** @type {import("./dom.js").Option} */ ([String(number), `${number} ${name}`]));
  const fields = [
    valueField("Name of the rig", textInput(rig.name, { size: 26 }), "rig name", (name) => putValues([[["rig", "name"], name || null]], "the rig’s name")),
    valueField("Starts with", select([[LAST, "the scene that was last in force"], ...scenes], first?.number ?? LAST, () => {}), "rig start", (start) => putValues([[["rig", "start"], numberOf(start)]], "the scene at the start")),
  ];
  if (rig.format === 1) return fields;
  return [...fields, valueField("The gear prints note 60 as", select([["C3", "C3"], ["C4", "C4"], ["C5", "C5"]], rig.middle_c, () => {}), "rig middle C", (printed) => putValues([[["rig", "middle_c"], printed]], "the names of notes"))];
}
