// A room with a list and, beside it, what is chosen in it; on a phone it shows one of the two.

import { button, find } from "./dom.js";

/** Whether both are side by side, as the style sheet has it. */
export const besides = () => matchMedia("(min-width: 48rem) and (min-height: 32.01rem)").matches;

/**
 * Turn a phone to what was chosen, or back to the list.
 * @param {HTMLElement} room
 * @param {boolean} chosen
 */
export function turn(room, chosen) {
  room.classList.toggle("chosen", chosen);
  if (chosen && !besides()) find(room, ".drawer h2")?.focus();
}

/**
 * The way back to the list, where it is not beside what is chosen.
 * @param {string} words
 * @param {() => unknown} press
 */
export const wayBack = (words, press) => button(words, press, { class: "way-back", "data-key": "list" });
