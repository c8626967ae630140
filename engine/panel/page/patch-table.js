// The whole scene at one look: a row for each input, a column for each output, a press to join or part the two.

import { mayOperate } from "./commands.js";
import { button, make } from "./dom.js";
import { held } from "./connection.js";

const SIGNS = { none: "", plain: "✓", filtered: "ƒ" };
const WORDS = { none: "not joined", plain: "joined", filtered: "joined through filters" };
const MOVES = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] };

let at = [0, 0]; // row and column of the cell that Tab reaches

/** A table of this scene; `change(cell, input, output, joined)` asks, `choose(input)` opens an input. */
export function table(place, scene, wanted, change, choose) {
  const names = (all) => (all.some((name) => name.toLowerCase().includes(wanted)) ? all.filter((name) => name.toLowerCase().includes(wanted)) : all);
  const inputs = names(held.rig.inputs);
  const outputs = names(held.rig.outputs.map(({ name }) => name));
  const focused = place.contains(document.activeElement) && document.activeElement.closest("td") !== null;
  at = [Math.min(at[0], inputs.length - 1), Math.min(at[1], outputs.length - 1)];
  const heads = outputs.map((name) => make("th", { scope: "col" }, make("span", { text: name }),
    make("span", { class: "plays", "data-way": "out", "data-port": name, "data-short": "" })));
  const rows = inputs.map((input, row) => make("tr", {},
    make("th", { scope: "row" }, button(input, () => choose(input), { class: "small", "aria-label": `${input}: its routes and filters` }),
      make("span", { class: "plays", "data-way": "in", "data-port": input, "data-short": "" })),
    ...outputs.map((output, column) => make("td", {}, cell(scene, input, output, [row, column], change)))));
  const body = make("tbody", { on: { keydown: (event) => move(event, place) } }, ...rows);
  place.replaceChildren(
    make("p", { class: "note", text: "✓ joined, ƒ joined through filters, • in every scene, ♪ plays now. Press a place to join or part; press an input’s name for its filters." }),
    make("table", { "aria-label": "Inputs in rows, outputs in columns" }, make("thead", {}, make("tr", {}, make("td", {}), ...heads)), body));
  if (focused) cellAt(place)?.focus();
}

function cell(scene, input, output, where, change) {
  const leading = scene.routes.filter((route) => route.from.includes(input) && route.to.includes(output));
  const always = held.rig.routes.some((route) => route.from.includes(input) && route.to.includes(output));
  const how = !leading.length ? "none" : leading.some((route) => route.through.length) ? "filtered" : "plain";
  const made = button(`${SIGNS[how]}${always ? "•" : ""}`, () => {
    at = where;
    change(made, input, output, how !== "none");
  }, {
    "aria-label": `${input} to ${output}: ${WORDS[how]}${always ? ", in every scene too" : ""}`,
    "aria-pressed": String(how !== "none"),
    title: `${input} → ${output}`,
    tabindex: where.join() === at.join() ? "0" : "-1",
    "data-at": where.join(),
  });
  made.disabled = !mayOperate();
  return made;
}

const cellAt = (place) => place.querySelector(`[data-at="${at.join()}"]`);

/** Arrow keys go from cell to cell. */
function move(event, place) {
  const by = MOVES[event.key];
  const from = event.target.dataset?.at?.split(",").map(Number);
  if (!by || !from) return;
  const next = place.querySelector(`[data-at="${from[0] + by[0]},${from[1] + by[1]}"]`);
  event.preventDefault();
  if (!next) return;
  cellAt(place)?.setAttribute("tabindex", "-1");
  at = [from[0] + by[0], from[1] + by[1]];
  next.setAttribute("tabindex", "0");
  next.focus();
}
