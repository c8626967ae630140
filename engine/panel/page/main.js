// Puts the page together: one view at a time, the theme, and the connection.

import * as activity from "./activity.js";
import * as commands from "./commands.js";
import { byId, kept, say } from "./dom.js";
import * as flow from "./flow.js";
import * as gear from "./gear.js";
import * as keyboard from "./keyboard.js";
import * as connection from "./connection.js";
import * as machines from "./machines.js";
import * as monitor from "./monitor.js";
import * as panic from "./panic.js";
import * as show from "./show.js";
import * as patch from "./patch.js";

const VIEWS = { show, patch, flow, monitor, gear };

let current = null;

function turn() {
  const wanted = location.hash.slice(1);
  if (!(wanted in VIEWS) && current) return; // a place within the view
  const view = wanted in VIEWS ? wanted : "show";
  if (view === current) return;
  VIEWS[current]?.leave?.();
  const first = current === null;
  current = view;
  for (const name of Object.keys(VIEWS)) byId(`view-${name}`).hidden = name !== view;
  for (const link of document.querySelectorAll("nav a")) {
    if (link.hash === `#${view}`) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  VIEWS[view].enter?.();
  byId("page").scrollTop = 0;
  if (!first) byId(`title-${view}`).focus({ preventScroll: true });
}

/** Dark, for a stage is dark, unless light was chosen here. */
const theme = () => document.documentElement.dataset.theme ?? "dark";

function nameTheme() {
  say(byId("theme"), theme() === "dark" ? "Light theme" : "Dark theme");
}

byId("theme").addEventListener("click", () => {
  document.documentElement.dataset.theme = theme() === "dark" ? "light" : "dark";
  kept.set("bayleaf-theme", document.documentElement.dataset.theme);
  nameTheme();
});
nameTheme();

for (const part of [commands, panic, keyboard, activity, show, machines, patch, flow, monitor, gear]) part.start();
addEventListener("hashchange", turn);
turn();
connection.start();
