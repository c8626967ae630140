// One input in one scene: the outputs it is connected to, and its play lines and routes with their filters.

import { command, mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, find, make, note, refill } from "./dom.js";
import { edit, revisionOf, scene, stayWith } from "./edited-scene.js";
import * as filterChain from "./filter-chain.js";
import { filterWords, routeWords, sceneWords } from "./labels.js";
import { matching } from "./patch-table.js";
import { cellOf, isMuted, playing, sentence, stateWords } from "./playing.js";

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
  const shown = `${scene.number} ${input}`;
  if (openRoute !== null && place.dataset.shown === shown && filterChain.isOpen()) {
    refill(find(place, ".ways") ?? place, ...outputs(scene, input, query));
  } else {
    place.dataset.shown = shown;
    refill(place,
      make("h2", { tabindex: "-1", text: `${input} in ${sceneWords(scene)}` }),
      make("p", {}, button("Close", leave, { "data-key": "close" })),
      make("h3", { text: "Outputs" }),
      make("ul", { class: "ways" }, ...outputs(scene, input, query)),
      make("h3", { text: "Lines, routes and filters" }),
      ...routes(scene, input, () => show(place, scene, input, query, leave)),
    );
  }
}

/**
 * @param {Scene} scene
 * @param {string} input
 * @param {string} query
 */
function outputs(scene, input, query) {
  const all = playing(scene);
  const names = held.rig?.outputs.map(({ name }) => name) ?? [];
  const found = matching(names, query);
  return (found.length ? found : names).map((name) => {
    const { how, words } = cellOf(all, input, name, scene);
    /** @type {HTMLButtonElement} */
    const row = make("button", { type: "button", class: "way", "data-key": `way ${name}`, "aria-pressed": String(how !== "none"), on: { click: ({ currentTarget }) => pressed(currentTarget, input, name) } },
      make("span", { class: "name", text: name }),
      make("span", { class: "how", text: words }),
      make("span", { class: "plays", "data-way": "out", "data-port": name }));
    row.disabled = !mayOperate();
    return make("li", { "data-key": name, class: how === "none" ? "" : "with-test" }, row, how === "none" ? null : parting(input, name));
  });
}

/**
 * A button that takes an input's connection to an output away, with its lines and filters; Undo brings them back.
 * @param {string} input
 * @param {string} output
 */
function parting(input, output) {
  const made = button("Disconnect", () => disconnect(input, output), { "data-key": `part ${output}`, "aria-label": `Disconnect ${input} from ${output}` });
  made.disabled = !mayOperate();
  return made;
}

/**
 * @param {string} input
 * @param {string} output
 */
export const disconnect = (input, output) => edit({ what: "part", from: input, to: output }, `disconnect ${input} from ${output}`);

/**
 * Shows a line in full, or all that an input plays; opens a form for a new line.
 * @typedef {{show: (each: Playing, input: string) => void, add: (scene: Scene, line: PlayLine) => void}} Opening
 */

/** @type {Opening} */
let opening = { show: () => {}, add: () => {} };

/** @param {Opening} heed */
export function onOpen(heed) {
  opening = heed;
}

/**
 * Act on a place where an input and an output meet: connect them, disconnect a plain route, or open what is there. What
 * was pressed shows at once that something was requested.
 * @param {HTMLElement} row
 * @param {string} input
 * @param {string} output
 */
export async function pressed(row, input, output) {
  const now = scene();
  if (!now) return;
  const { how, own } = cellOf(playing(now), input, output, now);
  if (how === "played" || how === "filtered") {
    opening.show(own.find(({ line }) => line) ?? own[0], input);
    return;
  }
  const gear = held.rig?.format === 1 ? [] : (held.rig?.instruments ?? []).filter((each) => each.output === output);
  if (how === "none" && gear.length > 1) {
    opening.add(now, { from: [input], on: gear[0].name });
    return;
  }
  const sign = find(row, ".how") ?? row;
  const before = sign.textContent;
  sign.textContent = sign === row ? "…" : "requested …";
  const answer = how === "none" ? await connect(now, input, output, gear[0]) : await disconnect(input, output);
  if (!answer.done && row.isConnected) sign.textContent = before;
}

/**
 * A play line to the instrument at the output, or a route where there is none, or no line is possible.
 * @param {Scene} now
 * @param {string} input
 * @param {string} output
 * @param {Instrument | undefined} gear
 */
function connect(now, input, output, gear) {
  if (!gear) return edit({ what: "join", from: input, to: output }, `connect ${input} to ${output}`);
  return edit({ what: "lines", play: [...now.play, { from: [input], on: gear.name }] }, `${input} plays ${gear.name}`);
}

/**
 * @param {Scene} scene
 * @param {string} input
 * @param {() => void} again
 */
function routes(scene, input, again) {
  const cards = playing(scene).filter(({ from }) => from.includes(input)).map((each) => {
    const state = stateWords(each, scene);
    if (each.line) return card(`${each.name ? `${each.name}: ` : ""}${sentence(each.line)}${state ? ` (${state})` : ""}`, []);
    const title = `${each.lasting ? "In every scene" : each.index === null ? `Route (${state})` : `Route ${each.index + 1}`}${each.name ? `, ${each.name}` : ""}: ${routeWords(each)}`;
    const { index } = each;
    if (index === null) return card(title, [filterList(each), muting(each)]);
    return card(title, openRoute === index ? [editor(scene, each, index, again)] : closed(scene, each, index, again));
  });
  return cards.length ? cards : [note("None yet. Choose an output above to connect it.")];
}

/**
 * @param {string} title
 * @param {(HTMLElement | null)[]} inside
 */
function card(title, inside) {
  return make("article", { class: "route" }, make("h4", { text: title }), ...inside);
}

/** @param {Playing} route */
function filterList(route) {
  if (!route.through.length) return note("No filters: everything passes unchanged.");
  return make("ol", { class: "filters" }, ...route.through.map((each) => make("li", { text: filterWords(each) })));
}

/** @param {Playing} route */
export function muting({ name }) {
  if (!name || !mayOperate()) return null;
  const muted = isMuted(name); // its group is muted by another name
  const what = muted ? "unmute" : "mute";
  return button(muted ? `Unmute ${name}` : `Mute ${name}`, () => command({ do: what, route: name }, `${what} ${name}`));
}

/**
 * @param {Scene} scene
 * @param {Playing} route
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
  return [filterList(route), make("div", { class: "row" }, open, muting(route)), ...(route.to.length > 1 ? [make("div", { class: "row" }, ...route.to.map((output) => split(scene, index, output, again)))] : [])];
}

/**
 * A button that gives one output of a route a route of its own, whose filters then open.
 * @param {Scene} scene
 * @param {number} index
 * @param {string} output
 * @param {() => void} again
 */
function split(scene, index, output, again) {
  const made = button(`Only this output: ${output}`, async () => {
    stayWith(scene);
    const answer = await edit({ what: "split", route: index, to: output }, `a route of its own to ${output}`);
    if (!answer.done) return;
    openRoute = index + 1;
    again();
  }, { "data-key": `split ${index} ${output}` });
  made.disabled = !mayOperate();
  return made;
}

/**
 * @param {Scene} scene
 * @param {Playing} route
 * @param {number} index
 * @param {() => void} again
 */
function editor(scene, route, index, again) {
  return filterChain.editor(
    route.through,
    (through, revision) => edit({ scene: scene.number, what: "chain", route: index, through }, "other filters", revisionOf(scene, "routes", revision)),
    () => {
      forget();
      again();
    },
  );
}
