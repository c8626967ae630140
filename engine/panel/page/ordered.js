// A list whose entries are put in order: dragged, or moved by Alt with the arrow keys.

import { command, editUnderWay, mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { findAll, make, note } from "./dom.js";

/** @typedef {{key: string, label: string, current?: boolean, inside: (HTMLElement | null)[], press?: () => unknown, opens?: HTMLElement[]}} Entry `opens`: what a press on it shows below it */

/** @type {{list: Element | null, from: number}} */
let dragged = { list: null, from: 0 };

/**
 * The same in another order.
 * @template Each
 * @param {Each[]} all
 * @param {number} from
 * @param {number} to
 */
export function moved(all, from, to) {
  const now = all.filter((_, index) => index !== from);
  now.splice(to, 0, all[from]);
  return now;
}

/**
 * @param {string} label
 * @param {Entry[]} entries
 * @param {(from: number, to: number) => Promise<Answer>} move
 */
export function ordered(label, entries, move) {
  const shift = async (/** @type {HTMLElement} */ list, /** @type {number} */ from, /** @type {number} */ to) => {
    if (to < 0 || to >= entries.length || to === from || !mayOperate()) return;
    const open = rowsOf(list).map(isOpen);
    const answer = await move(from, to);
    await editUnderWay();
    rowsOf(list)[to]?.focus();
    if (answer.done) moved(open, from, to).forEach((each, index) => rowsOf(list)[index]?.parentElement?.toggleAttribute("open", each));
  };
  return make("ol", { class: "ordered", "aria-label": `${label}; Alt with an arrow key moves an entry`, on: { keydown: (event) => keyed(event, shift) } },
    ...entries.map((entry, index) => make("li", {
      "data-key": entry.key, draggable: mayOperate() && !entry.opens ? "true" : null, "aria-current": entry.current ? "true" : null,
      on: {
        dragstart: (event) => {
          if (event.target.closest("li") === event.currentTarget) dragged = { list: event.currentTarget.parentElement, from: index };
        },
        dragover: (event) => event.preventDefault(),
        drop: (event) => {
          const list = event.currentTarget.parentElement;
          if (list !== dragged.list) return;
          event.preventDefault();
          shift(list, dragged.from, index);
        },
      },
    }, ...rowOf(entry, index))));
}

/**
 * @param {Entry} entry
 * @param {number} index
 */
function rowOf({ label, inside, press, opens }, index) {
  const facts = { class: "entry-row", "data-key": "row", "data-index": index };
  if (opens) return [make("details", { class: "list" }, make("summary", { ...facts, draggable: mayOperate() ? "true" : null }, ...inside), ...opens)];
  return press
    ? [make("button", { type: "button", ...facts, "aria-label": label, on: { click: press } }, ...inside)]
    : [make("span", { tabindex: "0", ...facts }, ...inside.slice(0, -1)), inside.at(-1)];
}

/** @param {HTMLElement} list without the rows of a list within it */
const rowsOf = (list) => findAll(list, ".entry-row").filter((row) => row.closest("ol") === list);

/** @param {HTMLElement} row */
const isOpen = (row) => row.parentElement?.hasAttribute("open") ?? false;

/**
 * @param {KeyboardEvent} event
 * @param {(list: HTMLElement, from: number, to: number) => unknown} shift
 */
function keyed(event, shift) {
  const by = { ArrowUp: -1, ArrowDown: 1 }[event.key];
  const row = event.target instanceof Element ? /** @type {HTMLElement | null} */ (event.target.closest(".entry-row")) : null;
  if (!by || !row || !(event.currentTarget instanceof HTMLElement) || row.closest("ol") !== event.currentTarget) return;
  event.preventDefault();
  const at = Number(row.dataset.index);
  if (event.altKey) shift(event.currentTarget, at, at + by);
  else rowsOf(event.currentTarget)[at + by]?.focus();
}

/**
 * The set lists, songs or players of the rig, each with what can be set of it below its row.
 * @param {"setlists" | "songs" | "players"} section
 * @param {string} what one of them is
 * @param {{name: string, words: string, opens: HTMLElement[]}[]} parts
 */
export function orderedParts(section, what, parts) {
  const move = (/** @type {number} */ from, /** @type {number} */ to) =>
    command({ do: "edit", what: "move", section, place: from, new: to, revision: held.rig?.revision }, `${parts[from].name} is now ${what} ${to + 1}`);
  const entries = parts.map(({ words, opens }, place) => ({ key: `${section} ${place}`, label: words, inside: [make("span", { class: "name", text: words })], opens }));
  return parts.length ? [ordered(`${what[0].toUpperCase()}${what.slice(1)}s`, entries, move), ...(parts.length > 1 ? [note(`Drag a ${what}, or press Alt with an arrow key, to move it.`)] : [])] : [];
}
