// How much each port plays, made calm: a sign that comes stays for a while, so nothing flickers.

import { held, on } from "./connection.js";

const ROUND = 400; // ms between two looks; a sign changes 2.5 times a second at the most
const STAYS = 1000; // ms

const ways = { in: new Map(), out: new Map() };
const heeds = [];
let looked = performance.now();

/** Call this after each look. */
export const onLook = (heed) => heeds.push(heed);

/** Messages a second of a port by name, 0 if it has been still. */
export function rate(way, name) {
  return ways[way].get(name)?.rate ?? 0;
}

/** "♪ 12 a second", or "still". */
export function rateWords(way, name) {
  const found = rate(way, name);
  return found ? `♪ ${found < 1 ? "1" : Math.round(found)}/s` : "still";
}

export function start() {
  on("frame", ({ activity }) => {
    if (!activity) return;
    for (const [way, names] of [["in", held.facts.inputs], ["out", held.facts.outputs]]) {
      (activity[way] ?? []).forEach((count, index) => count && add(way, names?.[index], count));
    }
  });
  setInterval(look, ROUND);
}

function add(way, name, count) {
  const port = ways[way].get(name) ?? { count: 0, rate: 0, at: 0 };
  port.count += count;
  ways[way].set(name, port);
}

function look() {
  const now = performance.now();
  const seconds = (now - looked) / 1000;
  looked = now;
  if (document.hidden) return;
  for (const port of [...ways.in.values(), ...ways.out.values()]) {
    if (port.count) {
      port.rate = port.rate ? (port.rate + port.count / seconds) / 2 : port.count / seconds;
      port.at = now;
    } else if (now - port.at > STAYS) port.rate = 0;
    port.count = 0;
  }
  for (const heed of heeds) heed();
}
