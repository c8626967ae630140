// A scene's signal flow as a picture: inputs on the left, routes with their filters, outputs on the right.

import { draw } from "./dom.js";
import { filterWords } from "./labels.js";

const WIDEST = 1400;

/** `routes` have title, from, to, through, muted; `size` is that of the text in pixels. */
export function drawing(title, routes, rig, room, size) {
  const width = Math.min(room, WIDEST);
  const letter = size * 0.56;
  const line = size * 1.5;
  const side = width < 560 ? width * 0.27 : Math.min(240, width * 0.2);
  const gap = width < 560 ? width * 0.09 : width * 0.1;
  const place = { left: side + gap, right: width - side - gap };
  const inside = place.right - place.left;
  const inputs = rig.inputs.filter((name) => routes.some((route) => route.from.includes(name)));
  const outputs = rig.outputs.map(({ name }) => name).filter((name) => routes.some((route) => route.to.includes(name)));

  const boxes = [];
  let top = line / 2;
  for (const route of routes) {
    const lines = route.through.flatMap((each) => wrapped(filterWords(each), Math.floor((inside - size) / letter)));
    const high = (1 + lines.length) * line + size;
    boxes.push({ route, lines, top, high, middle: top + high / 2 });
    top += high + line;
  }
  const height = Math.max(top, 2.4 * line * Math.max(inputs.length, outputs.length));
  spread(boxes, height - top);
  const from = ends(inputs, height, boxes, (route) => route.from);
  const to = ends(outputs, height, boxes, (route) => route.to);

  const lines = boxes.flatMap(({ route, middle }) => [
    ...route.from.map((name) => curve(side + 6, from.get(name), place.left, middle, "in", name, route)),
    ...route.to.map((name) => curve(place.right, middle, width - side - 6, to.get(name), "out", name, route)),
  ]);
  return draw("svg", { viewBox: `0 0 ${width} ${height}`, width, height, role: "img", "aria-label": `The signal flow of ${title}; below it stands in words.`, class: "drawing" },
    ...lines,
    ...boxes.map((box) => boxOf(box, place.left, inside, line, size, letter)),
    ...inputs.map((name) => port(name, "in", side, from.get(name), "end", side, letter, size)),
    ...outputs.map((name) => port(name, "out", width - side, to.get(name), "start", side, letter, size)));
}

/** Boxes use the room that is left. */
function spread(boxes, left) {
  const more = Math.max(0, left) / (boxes.length + 1);
  boxes.forEach((box, index) => {
    box.top += more * (index + 1);
    box.middle += more * (index + 1);
  });
}

/** Where names stand: near what they belong to, in that order, with even room. */
function ends(names, height, boxes, of) {
  const weight = (name) => {
    const near = boxes.filter(({ route }) => of(route).includes(name)).map(({ middle }) => middle);
    return near.reduce((sum, each) => sum + each, 0) / near.length;
  };
  const sorted = names.map((name) => [name, weight(name)]).sort((one, other) => one[1] - other[1]);
  const each = height / (sorted.length || 1);
  return new Map(sorted.map(([name], index) => [name, each * (index + 0.5)]));
}

function curve(x1, y1, x2, y2, way, name, route) {
  const half = (x1 + x2) / 2;
  return draw("path", { d: `M${x1} ${y1}C${half} ${y1} ${half} ${y2} ${x2} ${y2}`, class: route.muted ? "way muted" : "way", "data-way": way, "data-port": name });
}

function boxOf({ route, lines, top, high }, left, inside, line, size, letter) {
  const title = `${route.title}${route.muted ? " (muted)" : ""}`;
  const text = (words, index, kind) => draw("text", { x: left + size / 2, y: top + size / 2 + line * (index + 0.75), class: kind, text: clipped(words, Math.floor((inside - size) / letter)) });
  return draw("g", {},
    draw("title", { text: title }),
    draw("rect", { x: left, y: top, width: inside, height: high, rx: 3, class: route.muted ? "box muted" : "box" }),
    text(title, 0, "title"),
    ...lines.map((words, index) => text(words, index + 1, "filter")));
}

function port(name, way, x, y, anchor, side, letter, size) {
  const lines = wrapped(name, Math.floor((side - 8) / letter)).slice(0, 2);
  return draw("g", { class: "port", "data-way": way, "data-port": name },
    draw("title", { text: name }),
    ...lines.map((words, index) => draw("text", { x: anchor === "end" ? x - 2 : x + 2, y: y + size * (0.35 + 1.2 * (index - (lines.length - 1) / 2)), "text-anchor": anchor, text: clipped(words, Math.floor((side - 4) / letter)) })),
    draw("text", { class: "sign", x: anchor === "end" ? x - 2 : x + 2, y: y + size * (0.9 + 0.6 * lines.length), "text-anchor": anchor, text: "♪ plays" }));
}

const clipped = (text, most) => (text.length > most ? `${text.slice(0, Math.max(1, most - 1))}…` : text);

/** Lines of at most so many letters, broken at spaces and hyphens where there are any. */
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
