// Reads the Markdown that the handbook is written in: headings, paragraphs, flat lists, tables, fenced code, and within a
// line bold, italic, code and links. Whatever else Markdown has is left as it is written.

const HEADING = /^(#{1,4}) (.*)$/;
const FENCE = /^```(\w*)$/;
const ITEM = /^(?:-|(\d+)\.) +(.*)$/;
const INLINE = /`([^`]+)`|\*\*(.+?)\*\*|\*([^*\s][^*]*)\*|\[([^\]]+)\]\(([^)\s]+)\)/g;

/**
 * The blocks of a text, each with the number of its first line, counted from 1.
 * @param {string} text
 * @returns {(Block & {line: number})[]}
 */
export function blocks(text) {
  const lines = text.split("\n");
  const found = [];
  for (let at = 0; at < lines.length;) {
    if (!lines[at].trim()) {
      at += 1;
      continue;
    }
    const { block, end } = blockAt(lines, at);
    found.push({ ...block, line: at + 1 });
    at = end;
  }
  return found;
}

/**
 * @param {string[]} lines
 * @param {number} at
 * @returns {{block: Block, end: number}} `end`: the line after it
 */
function blockAt(lines, at) {
  const heading = HEADING.exec(lines[at]);
  if (heading) return { block: { kind: "heading", level: heading[1].length, spans: spans(heading[2]) }, end: at + 1 };
  if (FENCE.test(lines[at])) return fence(lines, at);
  if (lines[at].startsWith("|")) return table(lines, at);
  if (ITEM.test(lines[at])) return list(lines, at);
  let end = at + 1;
  while (end < lines.length && lines[end].trim() && !begins(lines[end])) end += 1;
  return { block: { kind: "paragraph", spans: spans(joined(lines.slice(at, end))) }, end };
}

/** @param {string} line */
const begins = (line) => HEADING.test(line) || FENCE.test(line) || line.startsWith("|") || ITEM.test(line);

/** @param {string[]} lines */
const joined = (lines) => lines.map((line) => line.trim()).join(" ");

/**
 * @param {string[]} lines
 * @param {number} at
 * @returns {{block: Block, end: number}}
 */
function fence(lines, at) {
  let end = at + 1;
  while (end < lines.length && lines[end] !== "```") end += 1;
  return { block: { kind: "code", language: FENCE.exec(lines[at])?.[1] ?? "", text: lines.slice(at + 1, end).join("\n") }, end: end + 1 };
}

/**
 * @param {string[]} lines
 * @param {number} at
 * @returns {{block: Block, end: number}}
 */
function table(lines, at) {
  let end = at;
  while (end < lines.length && lines[end].startsWith("|")) end += 1;
  const [head, , ...rows] = lines.slice(at, end).map(cells);
  return { block: { kind: "table", head, rows }, end };
}

/**
 * The cells of a row; "\|" is a bar within a cell.
 * @param {string} line
 */
const cells = (line) =>
  line.trim().slice(1, -1).split(/(?<!\\)\|/).map((cell) => spans(cell.trim().replaceAll("\\|", "|")));

/**
 * @param {string[]} lines
 * @param {number} at
 * @returns {{block: Block, end: number}}
 */
function list(lines, at) {
  const ordered = /^\d/.test(lines[at]);
  /** @type {string[][]} */
  const items = [];
  let end = at;
  for (; end < lines.length && lines[end].trim(); end += 1) {
    const item = ITEM.exec(lines[end]);
    if (item && (item[1] !== undefined) === ordered) items.push([item[2]]);
    else if (begins(lines[end])) break;
    else items.at(-1)?.push(lines[end]);
  }
  return { block: { kind: "list", ordered, items: items.map((item) => spans(joined(item))) }, end };
}

/**
 * What is within a line.
 * @param {string} text
 * @returns {Span[]}
 */
export function spans(text) {
  /** @type {Span[]} */
  const found = [];
  let done = 0;
  for (const match of text.matchAll(INLINE)) {
    if (match.index > done) found.push({ kind: "text", text: text.slice(done, match.index) });
    done = match.index + match[0].length;
    const [, code, bold, italic, linked, to] = match;
    if (code !== undefined) found.push({ kind: "code", text: code });
    else if (bold !== undefined) found.push({ kind: "bold", spans: spans(bold) });
    else if (italic !== undefined) found.push({ kind: "italic", spans: spans(italic) });
    else found.push({ kind: "link", spans: spans(linked), to });
  }
  if (done < text.length) found.push({ kind: "text", text: text.slice(done) });
  return found;
}

/**
 * A line without its marks, as a search shows it.
 * @param {string} line
 */
export function plain(line) {
  const marks = /^\s*(?:#+|-|\d+\.|\|)\s+/;
  return words(spans(line.replace(marks, "").replace(/\s*\|\s*$/, "").replaceAll(" | ", "; ")));
}

/**
 * @param {Span[]} found
 * @returns {string}
 */
const words = (found) => found.map((span) => ("text" in span ? span.text : words(span.spans))).join("");
