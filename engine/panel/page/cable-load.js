// How full each output's cable is, second by second over the last minute.

import { draw, make, say } from "./dom.js";
import { held, on } from "./connection.js";
import { percent } from "./labels.js";

const SECONDS = 60;

const past = new Map(); // output -> shares, the newest last
let worst = new Map(); // output -> the greatest share since the last second
let place = null;
let rows = new Map();

export function start() {
  on("frame", () => {
    const { load, outputs } = held.facts;
    load?.forEach((share, index) => {
      if (share !== null) worst.set(outputs?.[index], Math.max(share, worst.get(outputs?.[index]) ?? 0));
    });
  });
  setInterval(second, 1000);
}

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
  if (place) show();
}

function show() {
  const { outputs, load, peak } = held.facts;
  const listed = held.rig?.outputs.map(({ name }) => name) ?? [];
  if (listed.join("\n") !== [...rows.keys()].join("\n")) {
    rows = new Map(listed.map((name) => [name, row(name)]));
    place.replaceChildren(...[...rows.values()].map(({ element }) => element));
  }
  for (const [name, { words, line }] of rows) {
    const index = outputs?.indexOf(name) ?? -1;
    const share = load?.[index] ?? null;
    say(words, share === null ? "fast: no limit to keep" : `${percent(share)} now, ${percent(peak?.[index] ?? 0)} at the most`);
    line.parentNode.classList.toggle("none", share === null);
    const shares = past.get(name) ?? [];
    line.setAttribute("points", shares.map((each, at) => `${SECONDS - shares.length + at + 1},${22 - 20 * each}`).join(" "));
  }
}

function row(name) {
  const words = make("span", { class: "how" });
  const line = draw("polyline", { class: "load" });
  const picture = draw("svg", { viewBox: `0 0 ${SECONDS} 24`, preserveAspectRatio: "none", "aria-hidden": "true" },
    draw("line", { x1: 0, x2: SECONDS, y1: 2, y2: 2, class: "limit" }),
    draw("line", { x1: 0, x2: SECONDS, y1: 22, y2: 22, class: "ground" }),
    line);
  return { words, line, element: make("li", {}, make("span", { class: "name", text: name }), words, picture) };
}
