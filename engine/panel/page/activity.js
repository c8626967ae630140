// How much passes at each port, slowed down: a sign that appears stays for a while, so nothing flickers.

import { held, on } from "./connection.js";

const ROUND = 400; // ms from one look to the next; a sign changes 2.5 times per second at the most
const STAYS = 1000; // ms

/** @typedef {{count: number, rate: number, at: number}} Port */

/** @type {Record<Way, Map<string, Port>>} */
const ports = { in: new Map(), out: new Map() };
/** @type {(() => void)[]} */
const heeds = [];
let looked = performance.now();

/**
 * Call this after each look.
 * @param {() => void} heed
 */
export const onLook = (heed) => heeds.push(heed);

/**
 * Messages per second at a port, 0 if it is still. Name and direction may come from the page's own elements.
 * @param {string | undefined} way
 * @param {string | undefined} name
 */
export function rate(way, name) {
  return ports[way === "in" ? "in" : "out"].get(name ?? "")?.rate ?? 0;
}

/**
 * "♪ 12/s", or "still".
 * @param {string | undefined} way
 * @param {string | undefined} name
 */
export function rateWords(way, name) {
  const found = rate(way, name);
  return found ? `♪ ${Math.max(1, Math.round(found))}/s` : "still";
}

export function start() {
  on("frame", ({ activity }) => {
    if (!activity) return;
    activity.in.forEach((count, index) => add("in", held.facts.inputs?.[index], count));
    activity.out.forEach((count, index) => add("out", held.facts.outputs?.[index], count));
  });
  setTimeout(look, ROUND);
}

/**
 * @param {Way} way
 * @param {string | undefined} name
 * @param {number} count
 */
function add(way, name, count) {
  if (!count || name === undefined) return;
  const port = ports[way].get(name) ?? { count: 0, rate: 0, at: 0 };
  port.count += count;
  ports[way].set(name, port);
}

function look() {
  setTimeout(look, ROUND); // an interval makes up for a late look by an early one, and signs would flicker
  const now = performance.now();
  const seconds = (now - looked) / 1000;
  looked = now;
  if (document.hidden) return;
  for (const port of [...ports.in.values(), ...ports.out.values()]) {
    if (port.count) {
      port.rate = port.rate ? (port.rate + port.count / seconds) / 2 : port.count / seconds;
      port.at = now;
    } else if (now - port.at > STAYS) port.rate = 0;
    port.count = 0;
  }
  for (const heed of heeds) heed();
}
