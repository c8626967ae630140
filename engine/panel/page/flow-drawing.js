// Draws a scene's signal flow: inputs on the left, routes with their filters, outputs on the right.

import { draw } from "./dom.js";
import { sceneWords } from "./labels.js";
import { stateWords } from "./playing.js";

const WIDEST = 88; // times the size of the letters
const NARROW = 35;
const TITLE = 0.9; // of the letters that fit: titles are bold

/**
 * The size of letters and what follows from it, in pixels. `side`: room for the names of ports at either edge.
 * @typedef {{size: number, letter: number, line: number, width: number, side: number, left: number, right: number}} Measures
 */
/** @typedef {{route: Playing, titles: string[], lines: string[], top: number, high: number, middle: number}} Box */

/**
 * @param {Scene} scene
 * @param {Playing[]} routes
 * @param {Rig} rig
 * @param {number} room width in pixels
 * @param {number} size of the letters in pixels
 */
export function drawing(scene, routes, rig, room, size) {
  const by = measures(room, size);
  const { width, side } = by;
  const inputs = rig.inputs.filter((name) => routes.some((route) => route.from.includes(name)));
  const outputs = rig.outputs.map(({ name }) => name).filter((name) => routes.some((route) => route.to.includes(name)));
  const { boxes, used } = stacked(routes, scene, by);
  const height = Math.max(used, 2.4 * by.line * Math.max(inputs.length, outputs.length));
  spread(boxes, height - used);
  const from = ends(inputs, height, boxes, (route) => route.from);
  const to = ends(outputs, height, boxes, (route) => route.to);

  const lines = boxes.flatMap(({ route, middle }) => [
    ...route.from.map((name) => curve(side + 6, from.get(name) ?? 0, by.left, middle, "in", name, route)),
    ...route.to.map((name) => curve(by.right, middle, width - side - 6, to.get(name) ?? 0, "out", name, route)),
  ]);
  return draw("svg", { viewBox: `0 0 ${width} ${height}`, width, height, role: "img", "aria-label": `Signal flow of ${sceneWords(scene)}; described in words below.`, class: "drawing" },
    ...lines,
    ...boxes.map((box) => drawBox(box, by)),
    ...inputs.map((name) => port(name, "in", side, from.get(name) ?? 0, "end", by)),
    ...outputs.map((name) => port(name, "out", width - side, to.get(name) ?? 0, "start", by)));
}

/**
 * @param {number} room
 * @param {number} size
 * @returns {Measures}
 */
function measures(room, size) {
  const width = Math.min(room, WIDEST * size);
  const narrow = width < NARROW * size;
  const side = width * (narrow ? 0.24 : 0.17);
  const gap = width * (narrow ? 0.05 : 0.1);
  return { size, letter: size * 0.56, line: size * 1.5, width, side, left: side + gap, right: width - side - gap };
}

/**
 * The boxes of all routes, one below the other, and the height that they take.
 * @param {Playing[]} routes
 * @param {Scene} scene
 * @param {Measures} by
 */
function stacked(routes, scene, { size, letter, line, left, right }) {
  /** @type {Box[]} */
  const boxes = [];
  let top = line / 2;
  for (const route of routes) {
    const words = [...route.words, stateWords(route, scene)].filter(Boolean);
    const most = Math.floor((right - left - size) / letter);
    const titles = wrapped(route.title, Math.floor(most * TITLE));
    const lines = words.flatMap((each) => wrapped(each, most));
    const high = (titles.length + lines.length) * line + size;
    boxes.push({ route, titles, lines, top, high, middle: top + high / 2 });
    top += high + line;
  }
  return { boxes, used: top };
}

/**
 * Boxes share the height that is left over.
 * @param {Box[]} boxes
 * @param {number} left
 */
function spread(boxes, left) {
  const more = Math.max(0, left) / (boxes.length + 1);
  boxes.forEach((box, index) => {
    box.top += more * (index + 1);
    box.middle += more * (index + 1);
  });
}

/**
 * The heights of names: near the boxes they belong to, in that order, evenly spaced.
 * @param {string[]} names
 * @param {number} height
 * @param {Box[]} boxes
 * @param {(route: Playing) => string[]} of
 */
function ends(names, height, boxes, of) {
  const weight = (/** @type {string} */ name) => {
    const near = boxes.filter(({ route }) => of(route).includes(name)).map(({ middle }) => middle);
    return near.reduce((sum, each) => sum + each, 0) / near.length;
  };
  const sorted = [...names].sort((one, other) => weight(one) - weight(other));
  const each = height / (sorted.length || 1);
  return new Map(sorted.map((name, index) => [name, each * (index + 0.5)]));
}

/**
 * @param {number} x1
 * @param {number} y1
 * @param {number} x2
 * @param {number} y2
 * @param {Way} way
 * @param {string} name
 * @param {Playing} route
 */
function curve(x1, y1, x2, y2, way, name, route) {
  const half = (x1 + x2) / 2;
  return draw("path", { d: `M${x1} ${y1}C${half} ${y1} ${half} ${y2} ${x2} ${y2}`, class: route.muted ? "way muted" : "way", "data-way": way, "data-port": name });
}

/**
 * @param {Box} box
 * @param {Measures} by
 */
function drawBox({ route, titles, lines, top, high }, { size, letter, line, left, right }) {
  const inside = right - left;
  const text = (/** @type {string} */ words, /** @type {number} */ index, /** @type {string} */ kind) =>
    draw("text", { x: left + size / 2, y: top + size / 2 + line * (index + 0.75), class: kind, text: clipped(words, Math.floor((inside - size) / letter)) });
  return draw("g", {},
    draw("title", { text: route.title }),
    draw("rect", { x: left, y: top, width: inside, height: high, rx: 3, class: route.muted ? "box muted" : "box" }),
    ...titles.map((words, index) => text(words, index, "title")),
    ...lines.map((words, index) => text(words, titles.length + index, "filter")));
}

/**
 * @param {string} name
 * @param {Way} way
 * @param {number} x
 * @param {number} y
 * @param {"start" | "end"} anchor
 * @param {Measures} by
 */
function port(name, way, x, y, anchor, { size, letter, side }) {
  const lines = wrapped(name, Math.floor((side - 8) / letter)).slice(0, 2);
  const at = anchor === "end" ? x - 2 : x + 2;
  return draw("g", { class: "port", "data-way": way, "data-port": name },
    draw("title", { text: name }),
    ...lines.map((words, index) => draw("text", { x: at, y: y + size * (0.35 + 1.2 * (index - (lines.length - 1) / 2)), "text-anchor": anchor, text: clipped(words, Math.floor((side - 4) / letter)) })),
    draw("text", { class: "sign", x: at, y: y + size * (0.9 + 0.6 * lines.length), "text-anchor": anchor, text: "♪ active" }));
}

/**
 * @param {string} text
 * @param {number} most letters
 */
const clipped = (text, most) => (text.length > most ? `${text.slice(0, Math.max(1, most - 1))}…` : text);

/**
 * Lines of at most this many letters, broken at spaces and hyphens where there are any.
 * @param {string} text
 * @param {number} most
 */
function wrapped(text, most) {
  const lines = [];
  let current = "";
  for (const word of text.split(/(?<=[\s-])/)) {
    if (current && (current + word).trimEnd().length > most) {
      lines.push(current.trimEnd());
      current = "";
    }
    current += word;
  }
  return [...lines, current.trimEnd()];
}
