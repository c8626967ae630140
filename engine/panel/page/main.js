// Puts the page together: one view at a time, the theme, and the connection.

import * as activity from "./activity.js";
import * as commands from "./commands.js";
import * as connection from "./connection.js";
import { held } from "./connection.js";
import { byId, kept, say } from "./dom.js";
import * as flow from "./flow.js";
import * as gear from "./gear.js";
import * as help from "./help.js";
import * as inTurn from "./in-turn.js";
import * as keyboard from "./keyboard.js";
import * as machines from "./machines.js";
import * as monitor from "./monitor.js";
import * as panic from "./panic.js";
import * as patch from "./patch.js";
import * as scenes from "./scenes.js";
import * as show from "./show.js";

/** @typedef {{start: () => void, enter: () => void, leave?: () => void}} View `start` once; the others at each turn */

/** @type {Map<string, View>} */
const VIEWS = new Map(Object.entries({ show, scenes, patch, flow, monitor, gear, help }));

/** @type {string | null} */
let current = null;

/** Show the view that the address names: "#help", or "#help/limits" for a place within it. */
function turn() {
  const [name] = location.hash.slice(1).split("/");
  const found = VIEWS.get(name);
  if (!found && current) return; // a place within the view
  const view = found ? name : "show";
  if (view === current) return;
  if (current) VIEWS.get(current)?.leave?.();
  const first = current === null;
  current = view;
  for (const name of VIEWS.keys()) byId(`view-${name}`).hidden = name !== view;
  for (const link of /** @type {NodeListOf<HTMLAnchorElement>} */ (document.querySelectorAll("nav a"))) {
    if (link.hash === `#${view === "flow" ? "patch" : view}`) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  VIEWS.get(view)?.enter();
  byId("page").scrollTop = 0;
  if (!first && led) byId(`title-${view}`).focus({ preventScroll: true });
}

/** What was chosen here, or else what the system prefers; dark if it prefers nothing. */
const theme = () => document.documentElement.dataset.theme ?? "dark";

function nameTheme() {
  say(byId("theme"), theme() === "dark" ? "Light theme" : "Dark theme");
}

let led = false; // whether somebody with an empty rig was led to the room where one is made

function leadOn() {
  const empty = held.rig?.inputs.length === 0 && held.rig.outputs.length === 0;
  if (!led && empty && !location.hash) location.hash = "gear";
  setTimeout(() => {
    led = true;
  });
}

byId("theme").addEventListener("click", () => {
  document.documentElement.dataset.theme = theme() === "dark" ? "light" : "dark";
  kept.set("bayleaf-theme", theme());
  nameTheme();
});
nameTheme();

for (const part of [commands, inTurn, panic, keyboard, activity, machines, ...VIEWS.values()]) part.start();
addEventListener("hashchange", turn);
connection.on("rig", leadOn);
connection.on("rig", () => {
  byId("unknown").hidden = true;
});
connection.on("connection", () => {
  byId("unknown").hidden = held.rig !== null || !held.gone;
});
turn();
connection.start();
