// One input in one scene: the outputs it reaches, to be joined and parted, and its routes with their chains.

import * as filterChain from "./filter-chain.js";
import { command, mayOperate } from "./commands.js";
import { button, make } from "./dom.js";
import { held } from "./connection.js";
import { edit, stayWith } from "./edited-scene.js";
import { filterWords, routeWords } from "./labels.js";

let openRoute = null; // the index of the route whose chain is being edited

/** Close what is open. */
export function forget() {
  openRoute = null;
  filterChain.forget();
}

/** Show it; `wanted` is what the player looks for, `leave` goes back to the list. */
export function show(place, scene, input, wanted, leave) {
  const focused = place.contains(document.activeElement) ? document.activeElement.dataset.key : null;
  if (openRoute !== null && place.dataset.shown === `${scene.number} ${input}` && filterChain.isOpen()) {
    place.querySelector(".ways")?.replaceWith(outputs(scene, input, wanted));
  } else {
    place.dataset.shown = `${scene.number} ${input}`;
    place.replaceChildren(
      make("h2", { tabindex: "-1", text: `${input} in ${scene.number} ${scene.name}` }),
      make("p", { class: "only-narrow" }, button("All inputs", leave)),
      make("h3", { text: "Leads to" }),
      outputs(scene, input, wanted),
      make("h3", { text: "Routes and their filters" }),
      ...routes(place, scene, input, wanted, leave),
    );
  }
  if (focused) [...place.querySelectorAll("[data-key]")].find((each) => each.dataset.key === focused)?.focus();
}

function outputs(scene, input, wanted) {
  const always = new Set(held.rig.routes.filter((route) => route.from.includes(input)).flatMap((route) => route.to));
  const rows = held.rig.outputs.filter(({ name }) => !wanted || name.toLowerCase().includes(wanted) || !held.rig.outputs.some((each) => each.name.toLowerCase().includes(wanted)));
  return make("ul", { class: "ways" }, ...rows.map(({ name }) => {
    const leading = scene.routes.filter((route) => route.from.includes(input) && route.to.includes(name));
    const joined = leading.length > 0;
    const how = joined ? (leading.some((route) => route.through.length) ? "joined, filtered" : "joined") : "not joined";
    const row = make("button", { type: "button", class: "way", "aria-pressed": String(joined), on: { click: (event) => change(event.currentTarget, input, name, joined) } },
      make("span", { class: "name", text: name }),
      make("span", { class: "how", text: always.has(name) ? `${how}; in every scene too` : how }),
      make("span", { class: "plays", "data-way": "out", "data-port": name }));
    row.dataset.key = `way ${name}`;
    row.disabled = !mayOperate();
    return make("li", {}, row);
  }));
}

/** Ask for it, and say so at once on what was pressed. */
export async function change(row, input, output, joined) {
  const sign = row.querySelector(".how") ?? row;
  const before = sign.textContent;
  sign.textContent = sign === row ? "…" : "asked for …";
  const answer = await edit({ what: joined ? "part" : "join", from: input, to: output }, `${input} ${joined ? "no longer to" : "to"} ${output}`);
  if (!answer.done && row.isConnected) sign.textContent = before;
}

function routes(place, scene, input, wanted, leave) {
  const again = () => show(place, scene, input, wanted, leave);
  const own = scene.routes.map((route, index) => [route, index]).filter(([route]) => route.from.includes(input));
  const lasting = held.rig.routes.filter((route) => route.from.includes(input));
  const cards = [
    ...own.map(([route, index]) => card(route, `Route ${index + 1}`, openRoute === index ? editor(route, index, again) : closed(scene, route, index, again))),
    ...lasting.map((route) => card(route, "In every scene", [filterList(route), muting(route)])),
  ];
  return cards.length ? cards : [make("p", { class: "note", text: "None yet. Choose an output above, and a route is made." })];
}

function card(route, title, inside) {
  return make("article", { class: "route" }, make("h4", { text: `${title}${route.name ? `, ${route.name}` : ""}: ${routeWords(route)}` }), ...inside);
}

function filterList(route) {
  if (!route.through.length) return make("p", { class: "note", text: "Passes everything as it is." });
  return make("ol", { class: "filters" }, ...route.through.map((each) => make("li", { text: filterWords(each) })));
}

function muting(route) {
  if (!route.name || !mayOperate()) return null;
  const muted = (held.facts.muted_routes ?? []).includes(route.name);
  const what = muted ? "unmute" : "mute";
  return button(muted ? `Unmute ${route.name}` : `Mute ${route.name}`, () => command({ do: what, route: route.name }, `${what} ${route.name}`));
}

function closed(scene, route, index, again) {
  const open = button("Edit the filters", () => {
    stayWith(scene);
    openRoute = index;
    again();
  }, { "data-key": `edit ${index}`, "aria-label": `Edit the filters of route ${index + 1}` });
  open.disabled = !mayOperate();
  return [filterList(route), make("div", { class: "row" }, open, muting(route))];
}

function editor(route, index, again) {
  const close = () => {
    forget();
    again();
  };
  return [filterChain.editor(route.through, index, close)];
}
