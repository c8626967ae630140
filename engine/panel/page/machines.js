// The machines of a rig that is spread over several: which can be reached, how far away, and which is in charge.

import * as commands from "./commands.js";
import { held, on } from "./connection.js";
import { byId, make, refill, say } from "./dom.js";

export function start() {
  on("frame", (frame) => {
    if ("network" in frame) showMachines(held.facts.network);
  });
  on("connection", () => showMachines(held.facts.network));
  byId("handover").addEventListener("click", handOver);
}

function handOver() {
  const other = standby(held.facts.network);
  if (other) commands.command({ do: "handover" }, `hand over to ${other.name}`);
}

/**
 * The engine that is not in charge, if it can be reached.
 * @param {Network | undefined} network
 */
const standby = (network) =>
  network?.machines.find((each) => each.engine && each.there && each.name !== network.in_charge);

/** @param {Network | undefined} network */
function showMachines(network) {
  byId("network").hidden = !network;
  if (!network) return;
  say(byId("in-charge"), network.in_charge ? `${network.in_charge} is in charge` : "No machine is in charge yet");
  refill(byId("machines"), ...network.machines.map((each) => make("li", { text: words(each, network) })));
  const other = standby(network);
  byId("handover").hidden = !other || !network.in_charge || !commands.mayOperate();
  if (other) say(byId("handover"), `Hand over to ${other.name}`);
}

/**
 * @param {Machine} machine
 * @param {Network} network
 */
function words(machine, network) {
  const what = machine.name === network.in_charge ? "in charge" : machine.engine ? "standby" : "lends its ports";
  const here = machine.name === network.machine ? " (this machine)" : "";
  if (!machine.there) return `${machine.name}${here}: cannot be reached`;
  const trip = machine.round_trip ? `, round trip ${machine.round_trip.median.toFixed(1)} ms` : "";
  return `${machine.name}${here}: ${what}${trip}`;
}
