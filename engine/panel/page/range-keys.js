// A range of notes: on a drawn keyboard, by name, or by pressing the keys that are its ends.

import { on, requestEvents } from "./connection.js";
import { button, draw, make } from "./dom.js";
import { noteName } from "./playing.js";
import { textInput, valueField } from "./value-fields.js";

const LAST = 127;
const BLACK = new Set([1, 3, 6, 8, 10]);
const [WIDE, HIGH] = [10, 60]; // of a white key, in units of the drawing

/** @type {{input: string[], set: (end: "low" | "high", key: number) => unknown, end: "low" | "high"} | null} who waits for a key */
let waiting = null;

export function start() {
  on("frame", ({ events }) => {
    const pressed = events?.find((each) => waiting?.input.includes(each.port) && each.way === "in" && /^9. .. (?!00)/.test(each.message));
    if (!pressed || !waiting) return;
    const { set, end } = waiting;
    stopListening();
    set(end, parseInt(pressed.message.slice(3, 5), 16));
  });
}

export function stopListening() {
  if (waiting) requestEvents(false);
  waiting = null;
}

/**
 * @param {[number, number]} range lowest and highest key
 * @param {string[]} inputs that may say an end by playing it
 * @param {string} key by which the fields are found again
 * @param {(low: string, high: string) => Promise<Answer>} put with the ends as they are typed, "" for none
 * @param {() => void} again
 */
export function rangeControl([low, high], inputs, key, put, again) {
  const words = (/** @type {number} */ each, /** @type {number} */ open) => (each === open ? "" : noteName(each));
  const ends = { low: words(low, 0), high: words(high, LAST) };
  const set = (/** @type {"low" | "high"} */ end, /** @type {number} */ at) => put(end === "low" ? noteName(at) : ends.low, end === "high" ? noteName(at) : ends.high);
  const listen = (/** @type {"low" | "high"} */ end) => button(waiting?.end === end ? "Press the key …" : end === "low" ? "Play the lowest" : "Play the highest", () => {
    const stop = waiting?.end === end;
    stopListening();
    if (!stop) {
      waiting = { input: inputs, set, end };
      requestEvents(true);
    }
    again();
  }, { "data-key": `listen ${end}`, "aria-pressed": String(waiting?.end === end) });
  return make("div", { class: "range", "data-key": key },
    keyboard(low, high, (at) => set(Math.abs(at - low) <= Math.abs(at - high) ? "low" : "high", at)),
    make("div", { class: "pair" },
      valueField("Lowest note", textInput(ends.low, { placeholder: "no limit" }), `${key} low`, (value) => put(value, ends.high), "a name such as C4, or empty"),
      valueField("Highest note", textInput(ends.high, { placeholder: "no limit" }), `${key} high`, (value) => put(ends.low, value), "a name such as B3, or empty")),
    make("div", { class: "row" }, listen("low"), listen("high"), button("All notes", () => put("", ""), { "data-key": "all" })));
}

/**
 * @param {number} low
 * @param {number} high
 * @param {(key: number) => unknown} press
 */
function keyboard(low, high, press) {
  /** @type {SVGElement[]} */
  const whites = [];
  /** @type {SVGElement[]} */
  const blacks = [];
  let at = 0;
  for (let key = 0; key <= LAST; key += 1) {
    const inside = key >= low && key <= high;
    const black = BLACK.has(key % 12);
    const facts = black ? { x: at - 3, y: 0, width: 6, height: HIGH * 0.6 } : { x: at, y: 0, width: WIDE, height: HIGH };
    const made = draw("rect", { ...facts, class: `${black ? "black" : "white"}${inside ? " inside" : ""}`, on: { click: () => press(key) } }, draw("title", { text: noteName(key) }));
    (black ? blacks : whites).push(made);
    if (!black) {
      if (key % 12 === 0) blacks.push(draw("text", { x: at + 1, y: HIGH + 11, text: noteName(key) }));
      at += WIDE;
    }
  }
  return draw("svg", { class: "keyboard", viewBox: `0 0 ${at} ${HIGH + 14}`, role: "img", "aria-label": `From ${noteName(low)} to ${noteName(high)}; the fields below set the ends` }, ...whites, ...blacks);
}
