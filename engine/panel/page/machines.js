// The machines of a rig that is spread over several: which are there, how far away, and who is in charge.

import * as commands from "./commands.js";
import { byId, make, say } from "./dom.js";
import { held, on } from "./connection.js";

export function start() {
  on("frame", (frame) => {
    if ("network" in frame) showMachines(held.facts.network);
  });
  on("connection", () => showMachines(held.facts.network));
  byId("handover").addEventListener("click", handOver);
}

function handOver() {
  const other = standby(held.facts.network);
  commands.command({ do: "handover" }, `${other.name} is to be in charge`);
}

/** The engine that is not in charge, if it is there. */
const standby = (network) =>
  network.machines.find((each) => each.engine && each.there && each.name !== network.in_charge);

function showMachines(network) {
  byId("network").hidden = !network;
  if (!network) return;
  say(byId("in-charge"), network.in_charge ? `${network.in_charge} is in charge` : "nobody is in charge yet");
  byId("machines").replaceChildren(...network.machines.map((each) => make("li", { text: words(each, network) })));
  const other = standby(network);
  byId("handover").hidden = !other || !network.in_charge || !commands.mayOperate();
  if (other) say(byId("handover"), `Let ${other.name} be in charge`);
}

function words(machine, network) {
  const what = machine.name === network.in_charge ? "in charge" : machine.engine ? "follows" : "lends";
  const here = machine.name === network.machine ? ", this one" : "";
  if (!machine.there) return `${machine.name}${here}: not there`;
  const trip = machine.round_trip ? `, ${machine.round_trip.median.toFixed(1)} ms there and back` : "";
  return `${machine.name}${here}: ${what}${trip}`;
}
