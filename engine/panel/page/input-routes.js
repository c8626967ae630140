// One input in one scene: the outputs it is connected to, and its routes with their filters.

import { command, mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, findAll, find, focused, make, note } from "./dom.js";
import { edit, stayWith } from "./edited-scene.js";
import * as filterChain from "./filter-chain.js";
import { filterWords, routeWords, sceneWords } from "./labels.js";
import { matching } from "./patch-table.js";

/** @type {number | null} the index of the route whose filters are being edited */
let openRoute = null;

/** Close what is open. */
export function forget() {
  openRoute = null;
  filterChain.forget();
}

/**
 * Show it; `query` is what the player searches for, `leave` goes back to the list.
 * @param {HTMLElement} place
 * @param {Scene} scene
 * @param {string} input
 * @param {string} query
 * @param {() => void} leave
 */
export function show(place, scene, input, query, leave) {
  const key = place.contains(document.activeElement) ? focused()?.dataset.key : undefined;
  const shown = `${scene.number} ${input}`;
  if (openRoute !== null && place.dataset.shown === shown && filterChain.isOpen()) {
    find(place, ".ways")?.replaceWith(outputs(scene, input, query));
  } else {
    place.dataset.shown = shown;
    place.replaceChildren(
      make("h2", { tabindex: "-1", text: `${input} in ${sceneWords(scene)}` }),
      make("p", { class: "only-narrow" }, button("Back to all inputs", leave)),
      make("h3", { text: "Outputs" }),
      outputs(scene, input, query),
      make("h3", { text: "Routes and filters" }),
      ...routes(scene, input, () => show(place, scene, input, query, leave)),
    );
  }
  if (key) findAll(place, "[data-key]").find((each) => each.dataset.key === key)?.focus();
}

/**
 * @param {Scene} scene
 * @param {string} input
 * @param {string} query
 */
function outputs(scene, input, query) {
  const always = new Set((held.rig?.routes ?? []).filter((route) => route.from.includes(input)).flatMap((route) => route.to));
  return make("ul", { class: "ways" }, ...matching(held.rig?.outputs.map(({ name }) => name) ?? [], query).map((name) => {
    const own = scene.routes.filter((route) => route.from.includes(input) && route.to.includes(name));
    const connected = own.length > 0;
    const how = !connected ? "not connected" : own.some((route) => route.through.length) ? "connected through filters" : "connected";
    /** @type {HTMLButtonElement} */
    const row = make("button", { type: "button", class: "way", "data-key": `way ${name}`, "aria-pressed": String(connected), on: { click: () => change(row, input, name, connected) } },
      make("span", { class: "name", text: name }),
      make("span", { class: "how", text: always.has(name) ? `${how}; in every scene too` : how }),
      make("span", { class: "plays", "data-way": "out", "data-port": name }));
    row.disabled = !mayOperate();
    return make("li", {}, row);
  }));
}

/**
 * Connect or disconnect, and show at once on what was pressed that it was requested.
 * @param {HTMLElement} row
 * @param {string} input
 * @param {string} output
 * @param {boolean} connected
 */
export async function change(row, input, output, connected) {
  const sign = find(row, ".how") ?? row;
  const before = sign.textContent;
  sign.textContent = sign === row ? "…" : "requested …";
  const words = connected ? `disconnect ${input} from ${output}` : `connect ${input} to ${output}`;
  const answer = await edit({ what: connected ? "part" : "join", from: input, to: output }, words);
  if (!answer.done && row.isConnected) sign.textContent = before;
}

/**
 * @param {Scene} scene
 * @param {string} input
 * @param {() => void} again
 */
function routes(scene, input, again) {
  const own = scene.routes
    .map((route, index) => ({ route, index }))
    .filter(({ route }) => route.from.includes(input))
    .map(({ route, index }) => card(route, `Route ${index + 1}`, openRoute === index ? [editor(route, index, again)] : closed(scene, route, index, again)));
  const lasting = (held.rig?.routes ?? [])
    .filter((route) => route.from.includes(input))
    .map((route) => card(route, "In every scene", [filterList(route), muting(route)]));
  const cards = [...own, ...lasting];
  return cards.length ? cards : [note("None yet. Choose an output above to make a route.")];
}

/**
 * @param {Route} route
 * @param {string} title
 * @param {(HTMLElement | null)[]} inside
 */
function card(route, title, inside) {
  return make("article", { class: "route" }, make("h4", { text: `${title}${route.name ? `, ${route.name}` : ""}: ${routeWords(route)}` }), ...inside);
}

/** @param {Route} route */
function filterList(route) {
  if (!route.through.length) return note("No filters: everything passes unchanged.");
  return make("ol", { class: "filters" }, ...route.through.map((each) => make("li", { text: filterWords(each) })));
}

/** @param {Route} route */
function muting({ name }) {
  if (!name || !mayOperate()) return null;
  const muted = (held.facts.muted_routes ?? []).includes(name);
  const what = muted ? "unmute" : "mute";
  return button(muted ? `Unmute ${name}` : `Mute ${name}`, () => command({ do: what, route: name }, `${what} ${name}`));
}

/**
 * @param {Scene} scene
 * @param {Route} route
 * @param {number} index
 * @param {() => void} again
 */
function closed(scene, route, index, again) {
  const open = button("Edit filters", () => {
    stayWith(scene);
    openRoute = index;
    again();
  }, { "data-key": `edit ${index}`, "aria-label": `Edit filters of route ${index + 1}` });
  open.disabled = !mayOperate();
  return [filterList(route), make("div", { class: "row" }, open, muting(route))];
}

/**
 * @param {Route} route
 * @param {number} index
 * @param {() => void} again
 */
function editor(route, index, again) {
  return filterChain.editor(route.through, index, () => {
    forget();
    again();
  });
}
