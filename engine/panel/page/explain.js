// The way of one message through the scene it was played in.

import { make } from "./dom.js";
import { ask } from "./connection.js";

let latest = 0;

/** Explain the line that was chosen. `sources`: what came in that it may have been made of, the likeliest first. */
export async function show(place, line, sources) {
  const mine = ++latest;
  const title = make("h2", { text: `${line.words}, ${line.way === "in" ? "from" : "out to"} ${line.port}` });
  const put = (...inside) => {
    if (mine === latest) place.replaceChildren(title, ...inside);
  };
  put(make("p", { class: "note", text: "Asking …" }));
  const found = await origin(line, sources);
  if (found === null) {
    put(make("p", { class: "note", text: "Nothing that came in shortly before leads to this; a burst, the clock or a command may have sent it." }));
  } else if (!found.answer.done) put(make("p", { class: "fault", text: found.answer.text }));
  else put(...way(found.answer, found.source, line));
}

async function origin(line, sources) {
  for (const source of sources) {
    if (source.message.endsWith("…")) return { answer: { done: false, text: "This message is too long to be followed here." } };
    const answer = await ask({ do: "explain", scene: source.scene, input: source.port, message: source.message });
    if (line.way === "in") return { answer, source };
    if (answer.done && answer.outputs[line.port]?.some((each) => each.startsWith(line.message))) return { answer, source };
  }
  return null;
}

function way(answer, source, line) {
  const outputs = Object.entries(answer.outputs);
  return [
    make("p", { text: line.way === "out" ? `It is made of this: ${answer.text}.` : `${answer.text}.` }),
    make("p", {}, make("code", { text: source.message })),
    ...(answer.command ? [make("p", { text: `${answer.command}.` })] : []),
    ...(answer.routes.length || answer.command ? answer.routes.map(route) : [make("p", { class: "note", text: "No route of this scene takes anything from this input." })]),
    make("h3", { text: "What each output gets" }),
    outputs.length
      ? make("ul", {}, ...outputs.map(([name, messages]) => make("li", {}, `${name}: `, make("code", { text: messages.join(", ") }))))
      : make("p", { class: "note", text: "Nothing." }),
  ];
}

function route(told) {
  const which = told.route === "lasting" ? "In every scene" : `Route ${told.route + 1}`;
  const title = `${which}${told.name ? `, ${told.name}` : ""}: to ${told.to.join(", ")}${told.muted ? " (muted)" : ""}`;
  return make("section", {},
    make("h3", { text: title }),
    make("ol", { class: "filters" }, ...told.steps.map(({ filter, verdict }) => make("li", {}, `${filter}: `, make("span", { text: verdict })))),
    make("p", { text: told.gets.length ? `Passes as ${told.gets.join(", ")}.` : "Stops here." }));
}
