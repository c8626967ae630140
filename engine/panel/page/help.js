// The view Help: the handbook. Its topics, a search over all pages, and the page that the address names ("#help/limits").

import { byId, fault, findAll, labelled, make, note } from "./dom.js";
import { blocks, plain, spans } from "./markdown.js";

const MOST_HITS = 100;
const SHORTEST = 2; // letters that are looked for

/** @type {ReturnType<typeof build> | null} */
let parts = null;
/** @type {Map<string, HandbookPage>} by topic; empty until the handbook is loaded */
let pages = new Map();
let shown = "";

export function start() {
  addEventListener("hashchange", () => {
    if (parts && !byId("view-help").hidden) showPage();
  });
}

export async function enter() {
  parts ??= build();
  if (!pages.size) await load();
  showTopics();
  showPage();
}

function build() {
  const made = {
    search: make("input", { type: "search", autocomplete: "off", spellcheck: "false", on: { input: showTopics } }),
    topics: make("div", { class: "topics", role: "navigation", "aria-label": "Topics" }),
    page: make("article", { class: "handbook" }),
    body: make("div", { class: "help" }),
  };
  made.body.append(make("div", { class: "finding" }, labelled("Search the handbook", made.search), made.topics), made.page);
  byId("view-help").append(make("h1", { id: "title-help", tabindex: "-1", text: "Help" }), made.body);
  return made;
}

async function load() {
  parts?.topics.replaceChildren(note("Loading …"));
  try {
    /** @type {HandbookPage[]} */
    const loaded = await (await fetch("/page/handbook.json")).json();
    pages = new Map(loaded.map((page) => [page.topic, page]));
  } catch {
    // said below; the next visit to this view tries again
  }
}

/** All topics, or the lines in which the searched words occur. */
function showTopics() {
  if (!parts) return;
  const query = parts.search.value.trim().toLowerCase();
  if (!pages.size) parts.topics.replaceChildren(fault("The handbook could not be loaded from the panel."));
  else if (query.length < SHORTEST) parts.topics.replaceChildren(make("ul", {}, ...[...pages.values()].map(topicRow)));
  else parts.topics.replaceChildren(...hitRows(query));
}

/** @param {HandbookPage} page */
function topicRow({ topic, title, purpose }) {
  const current = topic === shown ? "page" : null;
  return make("li", {}, make("a", { href: `#help/${topic}`, "aria-current": current, text: title }), make("span", { class: "how" }, ...spans(purpose).map(inline)));
}

/** @param {string} query */
function hitRows(query) {
  const hits = [...pages.values()].flatMap(({ topic, title, text }) =>
    text.split("\n").map((line, index) => ({ topic, title, line, number: index + 1 })).filter(({ line }) => line.toLowerCase().includes(query)));
  const rows = hits.slice(0, MOST_HITS).map(({ topic, title, line, number }) =>
    make("li", {}, make("a", { href: `#help/${topic}/${number}`, text: title }), make("span", { class: "how", text: plain(line) })));
  const count = hits.length === 1 ? "1 line" : `${hits.length} lines`;
  const more = hits.length > MOST_HITS ? `; the first ${MOST_HITS} are shown` : "";
  return [make("p", { class: "note", role: "status", text: hits.length ? `Found in ${count}${more}.` : "No match." }), make("ul", {}, ...rows)];
}

/** Show the page that the address names, at its line if it names one. */
function showPage() {
  if (!parts) return;
  const [, topic = "", line] = location.hash.split("/");
  const page = pages.get(topic);
  parts.body.classList.toggle("chosen", page !== undefined);
  if (!page) parts.page.replaceChildren(topic && pages.size ? fault(`The handbook has no page “${topic}”.`) : note("Choose a topic. New here? Start with “Getting started”."));
  else if (topic !== shown) parts.page.replaceChildren(make("p", { class: "only-narrow" }, make("a", { href: "#help", text: "All topics" })), ...blocks(page.text).map(element));
  shown = page?.topic ?? "";
  for (const link of findAll(parts.topics, "a")) {
    if (link.getAttribute("href") === `#help/${shown}`) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  if (page) goTo(parts.page, Number(line ?? 1));
}

/**
 * Bring the block with this line into sight, and give it the focus.
 * @param {HTMLElement} place
 * @param {number} line
 */
function goTo(place, line) {
  const block = findAll(place, "[data-line]").filter((each) => Number(each.dataset.line) <= line).at(-1);
  if (!block) return;
  block.tabIndex = -1;
  block.focus({ preventScroll: true });
  block.scrollIntoView({ block: line === 1 ? "end" : "center" });
  if (line === 1) byId("page").scrollTop = 0;
}

/**
 * @param {Block & {line: number}} block
 * @returns {HTMLElement}
 */
function element(block) {
  const facts = { "data-line": block.line };
  switch (block.kind) {
    case "heading":
      return make(block.level === 1 ? "h2" : block.level === 2 ? "h3" : "h4", facts, ...block.spans.map(inline));
    case "paragraph":
      return make("p", facts, ...block.spans.map(inline));
    case "list":
      return make(block.ordered ? "ol" : "ul", facts, ...block.items.map((item) => make("li", {}, ...item.map(inline))));
    case "code":
      return make("pre", facts, make("code", { text: block.text }));
    case "table":
      return table(block, facts);
  }
}

/**
 * @param {Extract<Block, {kind: "table"}>} block
 * @param {import("./dom.js").Facts} facts
 */
function table({ head, rows }, facts) {
  return make("table", facts,
    make("thead", {}, make("tr", {}, ...head.map((cell) => make("th", { scope: "col" }, ...cell.map(inline))))),
    make("tbody", {}, ...rows.map((row) => make("tr", {}, ...row.map((cell) => make("td", {}, ...cell.map(inline)))))));
}

/**
 * @param {Span} span
 * @returns {Node}
 */
function inline(span) {
  switch (span.kind) {
    case "text":
      return document.createTextNode(span.text);
    case "code":
      return make("code", { text: span.text });
    case "bold":
      return make("strong", {}, ...span.spans.map(inline));
    case "italic":
      return make("em", {}, ...span.spans.map(inline));
    case "link":
      return make("a", { href: `#help/${span.to.replace(/\.md$/, "")}` }, ...span.spans.map(inline));
  }
}
