// The room Gear: ports and instruments, each with its details beside the list; and what is connected and not used yet.

import { onLook, rateWords } from "./activity.js";
import { mayOperate } from "./commands.js";
import { ask, held, on } from "./connection.js";
import * as controls from "./controls.js";
import * as devices from "./devices.js";
import { button, byId, find, findAll, make, note, refill, say } from "./dom.js";
import * as firstSteps from "./first-steps.js";
import * as dumps from "./gear-dumps.js";
import { addInstrument, instrumentDetails, instrumentRows } from "./gear-instruments.js";
import { freeRows, portDetails, portRows } from "./gear-ports.js";
import * as zones from "./gear-zones.js";
import * as lights from "./lights.js";
import * as pairings from "./pairings.js";
import * as rehearse from "./rehearse.js";
import * as rigFile from "./rig-file.js";
import { turn } from "./rooms.js";
import { onSearch } from "./sounds.js";
import { onVelocity, velocityField } from "./trying.js";

const ROUND = 700; // ms between two looks at the ports

/** @type {ReturnType<typeof build> | null} */
let parts = null;
/** @type {import("./gear-ports.js").Chosen | null} */
let chosen = null;
/** @type {EngineStatus | null} */
let status = null;
/** @type {{inputs: FreePort[], outputs: FreePort[]}} */
let free = { inputs: [], outputs: [] };
/** @type {Map<string, number>} when something last came at an unused port */
const fresh = new Map();
let fault = ""; // why the ports cannot be listed
let looking = false;

export function start() {
  on("rig", render);
  on("frame", (frame) => {
    if ("channels" in frame || "unsaved" in frame || "draft" in frame) render();
  });
  on("connection", render);
  onLook(showActivity);
  controls.start();
  onSearch(render);
  onVelocity(render);
  firstSteps.onChange(render);
  controls.onChange(render);
  lights.onChange(render);
  zones.onChange(render);
  setInterval(look, ROUND);
}

export function enter() {
  parts ??= build();
  render();
  look();
  pairings.look();
}

export function leave() {
  controls.leave();
  zones.forget();
}

/** @param {import("./gear-ports.js").Chosen | null} thing */
function choose(thing) {
  if (!parts) return;
  const before = find(parts.list, ".thing[aria-pressed=true]");
  chosen = thing;
  zones.forget();
  render();
  turn(parts.room, thing !== null);
  if (!thing) (before?.isConnected ? before : byId("title-gear")).focus();
}

/** What is connected, and what is played there. */
async function look() {
  if (!parts || looking || document.hidden || !held.open || byId("view-gear").hidden) return;
  looking = true;
  const [state, found] = await Promise.all([ask({ do: "status" }), mayOperate() ? ask({ do: "listen" }) : null]);
  looking = false;
  if (state.done) status = state.status;
  if (found?.done) {
    for (const each of found.inputs) {
      const before = free.inputs.find(({ port }) => port === each.port)?.messages ?? 0;
      if ((each.messages ?? 0) > before) fresh.set(each.port, performance.now());
    }
    free = found;
  }
  fault = found && !found.done ? found.text : "";
  render();
}

function build() {
  const made = {
    steps: make("div", { class: "steps" }),
    list: make("div", { class: "things" }),
    drawer: make("aside", { class: "drawer", "aria-label": "Details" }),
    room: make("div", { class: "room" }),
  };
  made.room.append(make("div", {}, made.list, devices.section(), dumps.section(), rigFile.section(), rehearse.section(), pairings.section()), made.drawer);
  byId("view-gear").append(
    make("h1", { id: "title-gear", tabindex: "-1", text: "Gear" }),
    made.steps,
    made.room,
  );
  return made;
}

function render() {
  if (!parts || !held.rig || byId("view-gear").hidden) return;
  refill(parts.steps, ...firstSteps.steps(free));
  refill(parts.list, ...portList("inputs"), ...portList("outputs"), ...instrumentList(), ...controls.list(chosen, choose), ...lights.list(chosen, choose));
  refill(parts.drawer, ...details());
  devices.show();
  dumps.show();
  rigFile.show();
  rehearse.show();
  showActivity();
}

/** @param {"inputs" | "outputs"} section */
function portList(section) {
  const rows = portRows(section, status, chosen, choose);
  const unused = free[section];
  const title = section === "inputs" ? "What plays: inputs" : "Where it sounds: outputs";
  const none = section === "inputs" ? "None yet. Play something: the port that it comes from lights up below." : "None yet. Take one of the ports below.";
  return [
    make("h2", { text: title }),
    make("ul", { class: "gear", "data-key": section }, ...(rows.length ? rows : [make("li", { class: "note", text: none })])),
    ...(unused.length ? [make("h3", { text: "Connected, not used yet" }), make("ul", { class: "gear", "data-key": `free ${section}` }, ...freeRows(section, unused, fresh))] : []),
    ...(fault && section === "inputs" ? [make("p", { class: "fault", text: fault })] : []),
  ];
}

function instrumentList() {
  const rows = instrumentRows(chosen, choose);
  return [
    make("h2", { text: "Instruments" }),
    velocityField(),
    make("ul", { class: "gear", "data-key": "instruments" }, ...(rows.length ? rows : [make("li", { class: "note", text: "None yet. An instrument is what answers on a channel of an output." })])),
    addInstrument(choose),
  ];
}

function details() {
  if (!chosen) return [note("Choose a port, an instrument, a switch or a light: what can be set of it comes here.")];
  const { section, name } = chosen;
  const inside = section === "inputs" || section === "outputs" ? portDetails(section, name, free[section], choose)
    : section === "instruments" ? instrumentDetails(name, choose)
    : section === "controls" ? controls.details(Number(name), choose)
    : lights.details(/** @type {import("./lights.js").Section} */ (section), name, choose);
  const title = section === "controls" ? controls.title(Number(name)) : section === "tallies" || section === "displays" ? lights.title(section, name) : name;
  return [
    make("h2", { tabindex: "-1", text: title, "data-key": `title ${section} ${name}` }),
    make("div", { class: "details", "data-key": `details ${section} ${name}` }, ...inside),
    button("Close", () => choose(null), { "data-key": "close" }),
  ];
}

function showActivity() {
  if (!parts || byId("view-gear").hidden) return;
  for (const sign of findAll(parts.list, ".plays")) {
    const words = rateWords(sign.dataset.way, sign.dataset.port);
    say(sign, words === "still" ? "" : words);
    sign.dataset.state = words === "still" ? "still" : "plays";
  }
}
