// The filters of a route or a play line as a draft: put in order, set by forms, and in force once the player applies them.

import { filters, held } from "./connection.js";
import { button, fault, find, fresh, make, note, select } from "./dom.js";
import { settingsForm } from "./schema-forms.js";

/** @typedef {{name: string, words: string, link: FilterStep | string, form: ReturnType<typeof settingsForm> | null}} Step `link` is a named chain as a text */
/** @typedef {(through: Chain, revision: number | undefined) => Promise<Answer>} Send */
/** @typedef {{revision: number | undefined, steps: Step[], known: KnownFilters}} Draft */

const CHAIN = "chain "; // begins the choice of a named chain; no filter's name has a space

/** @type {Draft | null} */
let draft = null;

export const isOpen = () => draft !== null;

export function forget() {
  draft = null;
}

/**
 * A form for these filters; `send` asks for others, made for a rig of this revision; `close` is called when it is done.
 * @param {Chain} through
 * @param {Send} send
 * @param {() => void} close
 */
export function editor(through, send, close) {
  const place = make("form", { class: "chain", "data-own": "" }, note("Loading filters …"));
  open(through).then(
    (opened) => {
      draft = opened;
      const alert = fault("");
      alert.hidden = true;
      const steps = make("div", {});
      place.addEventListener("submit", (event) => {
        event.preventDefault();
        apply(opened, send, alert, steps, close);
      });
      place.replaceChildren(
        steps,
        adding(opened, steps),
        alert,
        make("div", { class: "row" }, make("button", { text: "Apply filters", class: "accent" }), button("Cancel", close)),
      );
      list(opened, steps);
    },
    (refused) => place.replaceChildren(fault(refused.message), button("Close", close)),
  );
  return place;
}

/**
 * @param {Chain} through
 * @returns {Promise<Draft>}
 */
async function open(through) {
  const known = await filters();
  return { revision: held.rig?.revision, known, steps: through.map((settings) => stepOf(known, settings)) };
}

/**
 * @param {KnownFilters} known
 * @param {FilterStep | string} settings
 * @returns {Step}
 */
function stepOf(known, settings) {
  if (typeof settings === "string") return { name: `chain ${settings}`, words: "A chain of the rig, by its name.", link: settings, form: null };
  const found = known[settings.filter];
  return { name: settings.filter, words: found?.words ?? "", link: settings, form: settingsForm(found?.schema ?? { type: "object" }, settings) };
}

/**
 * Show the steps in their present order; what was typed stays.
 * @param {Draft} of
 * @param {HTMLElement} place
 */
function list(of, place) {
  const count = of.steps.length;
  place.replaceChildren(...of.steps.map((step, index) => {
    const title = `${index + 1}. ${step.name}`;
    const put = (/** @type {number} */ to) => () => {
      of.steps.splice(to, 0, ...of.steps.splice(index, 1));
      list(of, place);
    };
    const up = button("Move up", put(index - 1), { "aria-label": `Move up: ${title}` });
    const down = button("Move down", put(index + 1), { "aria-label": `Move down: ${title}` });
    up.disabled = index === 0;
    down.disabled = index === count - 1;
    const remove = button("Remove", () => {
      of.steps.splice(index, 1);
      list(of, place);
    }, { "aria-label": `Remove: ${title}` });
    return make("fieldset", {},
      make("legend", { text: title }),
      step.words ? note(step.words) : null,
      step.form?.element,
      make("div", { class: "row" }, up, down, remove));
  }));
  if (!count) place.append(note("No filters: everything passes unchanged."));
}

/**
 * @param {Draft} of
 * @param {HTMLElement} steps
 */
function adding(of, steps) {
  const names = Object.entries(of.known).map(/** @returns {[string, string]} */ ([name, { words }]) => [name, `${name}: ${words}`]);
  const chains = Object.keys(held.rig?.chains ?? {}).map(/** @returns {[string, string]} */ (name) => [`${CHAIN}${name}`, `chain ${name}`]);
  const id = fresh("add");
  const choice = select([...names, ...chains], names[0]?.[0], () => {}, { id });
  const press = button("Add", () => {
    const added = stepOf(of.known, choice.value.startsWith(CHAIN) ? choice.value.slice(CHAIN.length) : { filter: choice.value });
    of.steps.push(added);
    list(of, steps);
    if (added.form) find(added.form.element, "input, select, textarea")?.focus();
  }, { "aria-label": "Add the filter" });
  return make("div", { class: "adding" }, make("p", { class: "field" }, make("label", { for: id, text: "Another filter" }), choice), press);
}

/**
 * @param {Draft} of
 * @param {Send} send
 * @param {HTMLElement} alert
 * @param {HTMLElement} place
 * @param {() => void} close
 */
async function apply(of, send, alert, place, close) {
  alert.hidden = true;
  const through = of.steps.map(({ name, link, form }) => (form ? { filter: name, ...form.value() } : link));
  const answer = await send(through, of.revision);
  if (answer.done) {
    close();
    return;
  }
  alert.textContent = answer.text;
  alert.hidden = false;
  for (const step of of.steps) step.form?.mark(null);
  for (const key of answer.keys ?? []) {
    const [number, name = ""] = key.split(".through.")[1]?.split(".") ?? []; // the engine counts filters from 1
    of.steps[Number(number) - 1]?.form?.mark(name);
  }
  (find(place, "[aria-invalid]") ?? alert).scrollIntoView({ block: "nearest" });
}
