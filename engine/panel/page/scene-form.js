// The chosen scene in sentences: who plays what, line by line, and its cue, text, tempo and transposition; all can be edited.

import { mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, fault, find, focused, make, note, refill } from "./dom.js";
import { edit, stayWith } from "./edited-scene.js";
import * as filterChain from "./filter-chain.js";
import { muting } from "./input-routes.js";
import { sceneWords } from "./labels.js";
import { factsForm, lineForm } from "./line-form.js";
import { baseOf, playing, sentence, stateWords } from "./playing.js";

/** @type {{scene: number, place: HTMLElement, key: string} | null} what is being edited; `key`: where the focus goes afterwards */
let draft = null;

/** @type {(number: number) => void} shows another scene in its place */
let showScene = () => {};

/** @param {(number: number) => void} heed */
export function onScene(heed) {
  showScene = heed;
}

/** Close what is open. */
export function forget() {
  draft = null;
}

/**
 * Show it, unless it is being edited.
 * @param {HTMLElement} place
 * @param {Scene} scene
 */
export function show(place, scene) {
  if (draft?.scene === scene.number) return;
  draft = null;
  const lines = playing(scene).filter(({ line }) => line);
  refill(place,
    note(factWords(scene)),
    ...(held.rig?.format === 1 ? [] : [action("Edit cue, text, tempo", "facts", () => openFacts(place, scene))]),
    make("ul", { class: "lines" }, ...lines.map((each, index) => make("li", { class: "route" },
      make("p", { text: lineText(each, scene) }),
      make("div", { class: "row" }, ...actions(place, scene, each, index))))),
    ...(lines.length ? [] : [note("No play lines yet. Add one, or press an empty cell of the table.")]),
    ...(held.rig?.format === 1 || !held.rig?.instruments.length ? [] : [action("Add a play line", "add", () => openNew(place, scene, {}))]),
  );
}

/**
 * @param {string} text
 * @param {string} key by which the focus finds it again
 * @param {() => unknown} press
 * @param {string} [label]
 */
function action(text, key, press, label = text) {
  const made = button(text, press, { "data-key": key, "aria-label": label });
  made.disabled = !mayOperate();
  return made;
}

/** @param {Scene} scene */
function factWords({ cue, tempo, transpose, text, like }) {
  const base = like === null ? "" : `like ${like}`;
  const found = [cue && `cue ${cue}`, base, tempo && `tempo ${tempo}`, transpose && `transposed ${transpose}`, text && `text: ${text}`];
  return found.filter(Boolean).join(" · ") || "No cue, text, tempo or transposition of its own.";
}

/**
 * @param {Playing} each
 * @param {Scene} scene
 */
function lineText(each, scene) {
  const state = stateWords(each, scene);
  return `${each.name ? `${each.name}: ` : ""}${each.line ? sentence(each.line) : ""}${state ? ` (${state})` : ""}`;
}

/**
 * @param {HTMLElement} place
 * @param {Scene} scene
 * @param {Playing} each
 * @param {number} row
 */
function actions(place, scene, each, row) {
  const label = (/** @type {string} */ what) => `${what}: ${lineText(each, scene)}`;
  const base = baseOf(scene);
  const stuck = each.inherited && each.name === null;
  return [
    action("Edit", `edit ${row}`, () => openLine(place, scene, each), label("Edit")),
    action("Edit filters", `filters ${row}`, () => openFilters(place, scene, each), label("Edit filters")),
    stuck
      ? action(`Open ${sceneWords(base)}`, `remove ${row}`, () => base && showScene(base.number), `Open ${sceneWords(base)}, where this line is: without a name it can only be removed there`)
      : action("Remove", `remove ${row}`, () => put(scene, each, null), label("Remove")),
    muting(each),
  ];
}

/**
 * Ask for the scene's own lines with this one replaced, added (of an inherited line) or, with null, removed.
 * @param {Scene} scene
 * @param {Playing | null} each
 * @param {PlayLine | null} line
 * @param {number} [revision] that the lines are of
 */
function put(scene, each, line, revision = held.rig?.revision) {
  const index = each?.index ?? scene.play.length;
  const off = each?.inherited ? { name: each.name, off: true } : null;
  const now = line ?? off;
  const play = [...scene.play.slice(0, index), ...(now ? [now] : []), ...scene.play.slice(index + 1)];
  return edit({ scene: scene.number, what: "lines", play }, line ? "another play line" : "remove the play line", revision);
}

/**
 * What an edit of an inherited line does.
 * @param {Playing} each
 * @param {Scene} scene
 */
const inheritedWords = (each, scene) =>
  each.inherited ? [note(`Inherited from ${sceneWords(baseOf(scene))}. Apply gives scene ${scene.number} a line of its own instead; scene ${baseOf(scene)?.number} stays as it is.`)] : [];

/**
 * @param {HTMLElement} place
 * @param {Scene} scene
 * @param {Playing} each
 */
export function openLine(place, scene, each) {
  const line = each.line ?? {};
  // an inherited line is replaced by the one of its name or, without one, of the same inputs and instrument
  const locked = !each.inherited ? [] : each.name === null ? ["from", "on", "name"] : ["name"];
  const form = lineForm(line, locked);
  const revision = held.rig?.revision;
  const through = line.through ? { through: line.through } : {};
  open(place, scene, sentence(line), form, inheritedWords(each, scene), () => put(scene, each, { ...form.value(), ...through }, revision));
}

/**
 * @param {HTMLElement} place
 * @param {Scene} scene
 * @param {PlayLine} line what is known of it
 */
export function openNew(place, scene, line) {
  const form = lineForm({ from: held.rig?.inputs.slice(0, 1), on: held.rig?.instruments[0]?.name, ...line }, []);
  const revision = held.rig?.revision;
  open(place, scene, "A new play line", form, [], () => put(scene, null, form.value(), revision));
}

/**
 * @param {HTMLElement} place
 * @param {Scene} scene
 */
function openFacts(place, scene) {
  const form = factsForm(scene);
  const revision = held.rig?.revision;
  open(place, scene, `Scene ${sceneWords(scene)}`, form, [], () => edit({ scene: scene.number, what: "facts", facts: form.value() }, "cue, text, tempo", revision));
}

/**
 * @param {HTMLElement} place
 * @param {Scene} scene
 * @param {Playing} each
 */
function openFilters(place, scene, each) {
  stayWith(scene);
  draft = { scene: scene.number, place, key: focused()?.dataset.key ?? "add" };
  const chain = filterChain.editor(each.through, (through, revision) => put(scene, each, { ...each.line, through }, revision), () => close());
  place.replaceChildren(make("h3", { tabindex: "-1", text: lineText(each, scene) }), ...inheritedWords(each, scene), chain);
  find(place, "h3")?.focus();
}

/**
 * A form in place of the sentences; `send` asks for what is typed.
 * @param {HTMLElement} place
 * @param {Scene} scene
 * @param {string} title
 * @param {import("./line-form.js").KeyForm} form
 * @param {HTMLElement[]} notes
 * @param {() => Promise<Answer>} send
 */
function open(place, scene, title, form, notes, send) {
  stayWith(scene);
  draft = { scene: scene.number, place, key: focused()?.dataset.key ?? "add" };
  const alert = fault("");
  alert.hidden = true;
  place.replaceChildren(
    make("form", { class: "settings", on: { submit: (event) => {
      event.preventDefault();
      apply(form, alert, send);
    } } },
      make("h3", { tabindex: "-1", text: title }), ...notes, form.element, alert,
      make("div", { class: "row" }, make("button", { text: "Apply", class: "accent" }), button("Cancel", close))));
  find(place, "h3")?.focus();
  place.scrollIntoView({ block: "nearest" });
}

/**
 * @param {import("./line-form.js").KeyForm} form
 * @param {HTMLElement} alert
 * @param {() => Promise<Answer>} send
 */
async function apply(form, alert, send) {
  alert.hidden = true;
  form.mark(null);
  const answer = await send();
  if (answer.done) {
    close();
    return;
  }
  const places = (answer.keys ?? []).map((key) => form.mark(key.replace(/^scenes[.][0-9]+[.](play[.][0-9]+[.])?/, "").split(".")[0], answer.words?.[answer.keys?.indexOf(key) ?? 0]));
  alert.textContent = answer.text;
  alert.hidden = places.length > 0 && places.every(Boolean);
}

function close() {
  if (!draft) return;
  const { scene: number, place, key } = draft;
  draft = null;
  filterChain.forget();
  const scene = held.rig?.scenes.find((each) => each.number === number);
  if (scene) show(place, scene);
  (find(place, `[data-key="${key}"]`) ?? find(place, "[data-key=add]"))?.focus();
}
