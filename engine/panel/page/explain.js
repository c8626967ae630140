// The way of one message through the scene it was played in.

import { ask } from "./connection.js";
import { make, note } from "./dom.js";

/** @typedef {Extract<Answer<"explain">, {done: true}>} Trace */

let latest = 0;

/**
 * Trace the line that was chosen. `sources`: the input messages that it may have been made from, the likeliest first.
 * @param {HTMLElement} place
 * @param {MonitorLine} line
 * @param {MonitorLine[]} sources
 */
export async function show(place, line, sources) {
  const mine = ++latest;
  const title = make("h2", { text: `${line.words}, ${line.way === "in" ? "from" : "to"} ${line.port}` });
  /** @param {...HTMLElement} inside */
  const put = (...inside) => {
    if (mine === latest) place.replaceChildren(title, ...inside);
  };
  put(note("Tracing …"));
  const found = await origin(line, sources);
  if (found === null) put(note("No recent input explains this message. A burst, the clock or a command may have sent it."));
  else if (!found.answer.done) put(make("p", { class: "fault", text: found.answer.text }));
  else put(...way(found.answer, found.source, line));
}

/**
 * @param {MonitorLine} line
 * @param {MonitorLine[]} sources
 * @returns {Promise<{answer: Answer<"explain">, source: MonitorLine} | null>}
 */
async function origin(line, sources) {
  for (const source of sources) {
    if (source.message.endsWith("…")) return { answer: { done: false, code: "not-possible", text: "This message is too long to trace here." }, source };
    const answer = await ask({ do: "explain", scene: source.scene, input: source.port, message: source.message });
    if (line.way === "in") return { answer, source };
    if (answer.done && answer.outputs[line.port]?.some((each) => each.startsWith(line.message))) return { answer, source };
  }
  return null;
}

/**
 * @param {Trace} answer
 * @param {MonitorLine} source
 * @param {MonitorLine} line
 */
function way(answer, source, line) {
  const outputs = Object.entries(answer.outputs);
  return [
    make("p", { text: line.way === "out" ? `Made from: ${answer.text}.` : `${answer.text}.` }),
    make("p", {}, make("code", { text: source.message })),
    ...(answer.command ? [make("p", { text: `${answer.command}.` })] : []),
    ...(answer.routes.length || answer.command ? answer.routes.map(route) : [note("No route in this scene uses this input.")]),
    make("h3", { text: "Sent to the outputs" }),
    outputs.length
      ? make("ul", {}, ...outputs.map(([name, messages]) => make("li", {}, `${name}: `, make("code", { text: messages.join(", ") }))))
      : note("Nothing."),
  ];
}

/** @param {RouteTrace} trace */
function route(trace) {
  const which = trace.route === "lasting" ? "In every scene" : `Route ${trace.route + 1}`;
  const title = `${which}${trace.name ? `, ${trace.name}` : ""}: to ${trace.to.join(", ")}${trace.muted ? " (muted)" : ""}`;
  return make("section", {},
    make("h3", { text: title }),
    make("ol", { class: "filters" }, ...trace.steps.map(({ filter, verdict }) => make("li", {}, `${filter}: `, make("span", { text: verdict })))),
    make("p", { text: trace.gets.length ? `Passes as ${trace.gets.join(", ")}.` : "Blocked." }));
}
