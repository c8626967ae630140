// The patch of a scene as a table: a row for each input, a column for each output, a cell to connect or disconnect them.

import { mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, find, findAll, make, note, refill } from "./dom.js";
import { cellOf, playing } from "./playing.js";

/** @type {Record<string, [row: number, column: number]>} */
const MOVES = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] };

/** @typedef {(cell: HTMLElement, input: string, output: string) => unknown} Press */

let at = [0, 0]; // row and column of the cell that Tab reaches

/**
 * Show the table of this scene; `press` acts on a cell, `part` disconnects it, `choose` opens an input.
 * @param {HTMLElement} place
 * @param {Scene} scene
 * @param {string} query
 * @param {Press} press
 * @param {(input: string, output: string) => unknown} part
 * @param {(input: string) => void} choose
 */
export function table(place, scene, query, press, part, choose) {
  const [inputs, outputs] = found(held.rig?.inputs ?? [], held.rig?.outputs.map(({ name }) => name) ?? [], query);
  at = [Math.min(at[0], inputs.length - 1), Math.min(at[1], outputs.length - 1)];
  place.style.setProperty("--columns", String(outputs.length));
  place.style.setProperty("--rows", String(inputs.length));
  if (!inputs.length || !outputs.length) {
    refill(place, ...nothing(query));
    return;
  }
  const all = playing(scene);
  const heads = outputs.map((name) => make("th", { scope: "col" }, make("span", { text: name }),
    make("span", { class: "plays", "data-way": "out", "data-port": name, "data-short": "" })));
  const rows = inputs.map((input, row) => make("tr", {},
    make("th", { scope: "row" }, button(input, () => choose(input), { class: "small", "aria-label": `${input}: what it plays` }),
      make("span", { class: "plays", "data-way": "in", "data-port": input, "data-short": "" })),
    ...outputs.map((output, column) => make("td", {}, cell(scene, all, input, output, [row, column], press)))));
  const body = make("tbody", { on: { keydown: (event) => keyed(event, place, (row, column) => part(inputs[row], outputs[column])) } }, ...rows);
  refill(place,
    make("table", { "aria-label": "Inputs in rows, outputs in columns", on: { pointerover: light, focusin: light } }, make("thead", {}, make("tr", {}, make("td", {}), ...heads)), body));
}

/** What the signs in the cells mean, and what a press on one does. */
export const signs = () => make("details", { class: "signs" }, make("summary", { text: "Signs" }), note("◆ plays an instrument, ◇ muted, ↑ inherited, ✓ connected, ƒ connected through filters, • in every scene, ♪ active. Click an empty cell to connect, ✓ to disconnect, any other to open it; the Delete key disconnects any. Click an input’s name for all that it plays, with its filters."));

/**
 * What is said where there is nothing to show.
 * @param {string} query
 */
export const nothing = (query) => (query ? [note("No match.")] : [note("Nothing to connect yet: first name what plays and where it sounds."), make("a", { href: "#gear", text: "Go to Gear" })]);

/**
 * The names with these letters.
 * @param {string[]} names
 * @param {string} query
 */
export const matching = (names, query) => names.filter((name) => name.toLowerCase().includes(query));

/**
 * Inputs with these letters and all that they reach, outputs with these letters and all that reaches them.
 * @param {string[]} inputs
 * @param {string[]} outputs
 * @param {string} query
 * @returns {[string[], string[]]}
 */
function found(inputs, outputs, query) {
  const [some, others] = [matching(inputs, query), matching(outputs, query)];
  if (!some.length && !others.length) return [[], []];
  return [some.length ? some : inputs, others.length ? others : outputs];
}

/**
 * Light up the row and the column of the cell that is pointed at or has the focus.
 * @param {Event} event
 */
function light(event) {
  const cell = event.target instanceof Element ? /** @type {HTMLElement | null} */ (event.target.closest("[data-at]")) : null;
  const table = cell?.closest("table");
  if (!cell || !table) return;
  const [row, column] = (cell.dataset.at ?? "").split(",").map(Number);
  findAll(table, "thead th").forEach((head, index) => head.toggleAttribute("data-lit", index === column));
  findAll(table, "tbody th").forEach((head, index) => head.toggleAttribute("data-lit", index === row));
}

/**
 * @param {Scene} scene
 * @param {Playing[]} all
 * @param {string} input
 * @param {string} output
 * @param {[row: number, column: number]} where
 * @param {Press} press
 */
function cell(scene, all, input, output, where, press) {
  const found = cellOf(all, input, output, scene);
  const made = button(`${sign(found)}${found.always ? "•" : ""}`, ({ currentTarget }) => {
    at = where;
    if (currentTarget instanceof HTMLElement) press(currentTarget, input, output);
  }, {
    "aria-label": `${input} to ${output}: ${found.words}`,
    "aria-pressed": String(found.how !== "none"),
    title: `${input} → ${output}: ${found.words}`,
    tabindex: where.join() === at.join() ? "0" : "-1",
    "data-at": where.join(),
  });
  made.disabled = !mayOperate();
  return made;
}

/**
 * What a cell shows, one sign for each line or route.
 * @param {import("./playing.js").Cell} cell
 */
function sign({ own }) {
  return own.map((each) => `${each.line ? (each.muted ? "◇" : "◆") : each.through.length ? "ƒ" : "✓"}${each.inherited ? "↑" : ""}`).join("");
}

/** @param {HTMLElement} place */
const cellAt = (place) => find(place, `[data-at="${at.join()}"]`);

/**
 * Arrow keys go from cell to cell, and Delete disconnects.
 * @param {KeyboardEvent} event
 * @param {HTMLElement} place
 * @param {(row: number, column: number) => unknown} part
 */
function keyed(event, place, part) {
  const by = MOVES[event.key];
  const from = event.target instanceof HTMLElement ? event.target.dataset.at?.split(",").map(Number) : undefined;
  if (!from) return;
  if (event.key === "Delete" && mayOperate()) part(from[0], from[1]);
  if (!by) return;
  event.preventDefault();
  const to = [from[0] + by[0], from[1] + by[1]];
  const next = find(place, `[data-at="${to.join()}"]`);
  if (!next) return;
  cellAt(place)?.setAttribute("tabindex", "-1");
  at = to;
  next.setAttribute("tabindex", "0");
  next.focus();
}
