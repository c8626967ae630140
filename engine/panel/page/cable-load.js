// The load of each output's cable over the last minute, second by second.

import { held, on } from "./connection.js";
import { draw, make, say } from "./dom.js";
import { percent } from "./labels.js";

const SECONDS = 60;

/** @typedef {{words: HTMLElement, picture: SVGElement, line: SVGElement, element: HTMLElement}} Row */

/** @type {Map<string, number[]>} by output: its shares, the newest last */
const past = new Map();
/** @type {Map<string, number>} by output: the greatest share in the present second */
let worst = new Map();
/** @type {HTMLElement | null} */
let place = null;
/** @type {Map<string, Row>} */
let rows = new Map();

export function start() {
  on("frame", () => {
    const { load, outputs } = held.facts;
    load?.forEach((share, index) => {
      const name = outputs?.[index];
      if (share !== null && name !== undefined) worst.set(name, Math.max(share, worst.get(name) ?? 0));
    });
  });
  setInterval(second, 1000);
}

/** @param {HTMLElement} into */
export function enter(into) {
  place = into;
  rows = new Map();
  place.replaceChildren();
  show();
}

export function leave() {
  place = null;
}

function second() {
  for (const [name, share] of worst) past.set(name, [...(past.get(name) ?? []), share].slice(-SECONDS));
  worst = new Map();
  show();
}

function show() {
  if (!place) return;
  const { outputs, load, peak } = held.facts;
  const listed = held.rig?.outputs.map(({ name }) => name) ?? [];
  if (listed.join("\n") !== [...rows.keys()].join("\n")) {
    rows = new Map(listed.map((name) => [name, row(name)]));
    place.replaceChildren(...[...rows.values()].map(({ element }) => element));
  }
  for (const [name, { words, picture, line }] of rows) {
    const index = outputs?.indexOf(name) ?? -1;
    const share = load?.[index] ?? null;
    say(words, share === null ? "no limit" : `${percent(share)} now, peak ${percent(peak?.[index] ?? 0)}`);
    picture.classList.toggle("none", share === null);
    const shares = past.get(name) ?? [];
    line.setAttribute("points", shares.map((each, at) => `${SECONDS - shares.length + at + 1},${22 - 20 * each}`).join(" "));
  }
}

/**
 * @param {string} name
 * @returns {Row}
 */
function row(name) {
  const words = make("span", { class: "how" });
  const line = draw("polyline", { class: "load" });
  const picture = draw("svg", { viewBox: `0 0 ${SECONDS} 24`, preserveAspectRatio: "none", "aria-hidden": "true" },
    draw("line", { x1: 0, x2: SECONDS, y1: 2, y2: 2, class: "limit" }),
    draw("line", { x1: 0, x2: SECONDS, y1: 22, y2: 22, class: "ground" }),
    line);
  return { words, picture, line, element: make("li", {}, make("span", { class: "name", text: name }), words, picture) };
}
