// A list whose entries are put in order: dragged, or moved by Alt with the arrow keys.

import { editUnderWay, mayOperate } from "./commands.js";
import { find, findAll, make } from "./dom.js";

/** @typedef {{key: string, label: string, current?: boolean, inside: (HTMLElement | null)[], press?: () => unknown}} Entry */

let dragged = -1;

/**
 * @param {string} label
 * @param {Entry[]} entries
 * @param {(from: number, to: number) => unknown} move
 */
export function ordered(label, entries, move) {
  const shift = async (/** @type {HTMLElement} */ list, /** @type {number} */ from, /** @type {number} */ to) => {
    if (to < 0 || to >= entries.length || to === from || !mayOperate()) return;
    await move(from, to);
    await editUnderWay();
    rowsOf(list)[to]?.focus();
  };
  return make("ol", { class: "ordered", "aria-label": `${label}; Alt with an arrow key moves an entry`, on: { keydown: (event) => keyed(event, shift) } },
    ...entries.map((entry, index) => make("li", {
      "data-key": entry.key, draggable: mayOperate() ? "true" : null, "aria-current": entry.current ? "true" : null,
      on: {
        dragstart: () => {
          dragged = index;
        },
        dragover: (event) => event.preventDefault(),
        drop: (event) => {
          event.preventDefault();
          shift(event.currentTarget.parentElement, dragged, index);
        },
      },
    }, make(entry.press ? "button" : "span", { type: entry.press ? "button" : null, class: "entry-row", tabindex: "0", "data-key": "row", "data-index": String(index), "aria-label": entry.press ? entry.label : null, on: entry.press ? { click: entry.press } : {} }, ...entry.inside.slice(0, entry.press ? undefined : -1)),
      entry.press ? null : entry.inside.at(-1))));
}

/** @param {HTMLElement} list */
const rowsOf = (list) => findAll(list, ".entry-row");

/**
 * @param {KeyboardEvent} event
 * @param {(list: HTMLElement, from: number, to: number) => unknown} shift
 */
function keyed(event, shift) {
  const by = { ArrowUp: -1, ArrowDown: 1 }[event.key];
  const row = event.target instanceof Element ? /** @type {HTMLElement | null} */ (event.target.closest(".entry-row")) : null;
  if (!by || !row || !(event.currentTarget instanceof HTMLElement)) return;
  event.preventDefault();
  const at = Number(row.dataset.index);
  if (event.altKey) shift(event.currentTarget, at, at + by);
  else find(event.currentTarget, `[data-index="${at + by}"]`)?.focus();
}
