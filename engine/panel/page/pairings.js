// Phones and other browsers: which are paired and may do what, codes for more of them, and the end of a pairing.

import { mayOperate } from "./commands.js";
import { ask, held, on } from "./connection.js";
import { button, draw, fault, make, note, refill } from "./dom.js";

const BORDER = 2; // squares around a picture, which cameras need
const MAY = new Map([["operate", "may do everything"], ["show", "may run the show: scenes and panic"], ["view", "may look"]]);

/** @type {{list: HTMLElement, show: HTMLButtonElement, codes: HTMLElement, said: HTMLElement} | null} */
let parts = null;
let showing = false; // the codes

/** The section, which is made once. */
export function section() {
  parts = { list: make("ul", { class: "gear" }), show: button("Show codes", showCodes), codes: make("div", { class: "codes" }), said: make("div", { role: "status" }) };
  on("connection", look);
  return make("div", {},
    make("h2", { text: "Phones and other browsers" }),
    parts.list,
    parts.show,
    parts.codes,
    parts.said);
}

/** Ask again, as the view is opened. */
export function look() {
  showing = false;
  refresh();
}

function showCodes() {
  showing = !showing;
  refresh();
}

async function refresh() {
  if (!parts || !held.open || held.role === null) return;
  parts.show.disabled = !mayOperate();
  if (parts.show.disabled) {
    parts.list.replaceChildren(make("li", { class: "note", text: "Only a browser that may do everything sees them." }));
    parts.codes.replaceChildren();
    return;
  }
  const answer = await ask({ do: "pairings" });
  if (!answer.done) {
    parts.said.replaceChildren(fault(answer.text));
    return;
  }
  refill(parts.list, ...answer.pairings.map(row));
  if (!answer.pairings.length) parts.list.append(make("li", { class: "note", text: "None is paired." }));
  parts.codes.replaceChildren(...(showing ? codes(answer.codes) : []));
}

/** @param {PairedRow} pairing */
function row({ id, role, address, until, own }) {
  const last = new Date(1000 * until).toLocaleDateString();
  const from = address ? `paired from ${address}, ` : "";
  const end = button("End", () => endPairing(id), { "aria-label": `End pairing ${id}` });
  return make("li", {},
    make("span", { class: "name", text: own ? `${id} (this browser)` : id }),
    make("span", { class: "how", text: `${MAY.get(role)}, ${from}until ${last} unless it is used` }),
    end);
}

/** @param {string} id */
async function endPairing(id) {
  const answer = await ask({ do: "pairings", what: "end", id });
  parts?.said.replaceChildren(answer.done ? note(`${answer.text}.`) : fault(answer.text));
  await refresh();
  parts?.show.focus(); // the button that was pressed is gone
}

/** @param {PairingCode[]} listed */
function codes(listed) {
  if (!listed.length) return [note("This page is for this computer alone. Start Bayleaf’s panel with --lan to admit phones.")];
  return [
    note("Each code pairs one browser. Show it only to whom you trust with it."),
    ...listed.map(({ role, code, link, squares }) =>
      make("figure", {}, picture(squares, `QR code for ${link}`), make("figcaption", {}, make("strong", { text: code }), ` ${MAY.get(role)}`))),
  ];
}

/**
 * A QR code, dark on light in every theme, since cameras read no other.
 * @param {string[]} squares by rows, "1" for a dark one
 * @param {string} words
 */
function picture(squares, words) {
  const size = squares.length + 2 * BORDER;
  const path = squares.flatMap((line, y) => [...line].map((dark, x) => (dark === "1" ? `M${x + BORDER} ${y + BORDER}h1v1h-1z` : ""))).join("");
  return draw("svg", { viewBox: `0 0 ${size} ${size}`, class: "qr", role: "img", "aria-label": words },
    draw("rect", { width: size, height: size, class: "qr-light" }), draw("path", { d: path, class: "qr-dark" }));
}
