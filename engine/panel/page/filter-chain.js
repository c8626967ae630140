// The filters of a route as a draft: put in order, set by forms, and in force once the player applies them.

import { filters, held } from "./connection.js";
import { button, fault, find, fresh, make, note, select } from "./dom.js";
import { edit } from "./edited-scene.js";
import { settingsForm } from "./schema-forms.js";

/** @typedef {{name: string, words: string, form: ReturnType<typeof settingsForm>}} Step */
/** @typedef {{revision: number | undefined, steps: Step[], known: KnownFilters}} Draft */

/** @type {Draft | null} */
let draft = null;

export const isOpen = () => draft !== null;

export function forget() {
  draft = null;
}

/**
 * A form for these filters of the route of this index; `close` is called when it is done with.
 * @param {FilterStep[]} through
 * @param {number} index
 * @param {() => void} close
 */
export function editor(through, index, close) {
  const place = make("form", { class: "chain" }, note("Loading filters …"));
  open(through).then(
    (opened) => {
      draft = opened;
      const alert = fault("");
      alert.hidden = true;
      const steps = make("div", {});
      place.addEventListener("submit", (event) => {
        event.preventDefault();
        apply(opened, index, alert, steps, close);
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
 * @param {FilterStep[]} through
 * @returns {Promise<Draft>}
 */
async function open(through) {
  const known = await filters();
  return { revision: held.rig?.revision, known, steps: through.map((settings) => stepOf(known, settings)) };
}

/**
 * @param {KnownFilters} known
 * @param {FilterStep} settings
 * @returns {Step}
 */
function stepOf(known, settings) {
  const found = known[settings.filter];
  return { name: settings.filter, words: found?.words ?? "", form: settingsForm(found?.schema ?? { type: "object" }, settings) };
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
      step.form.element,
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
  const id = fresh("add");
  const choice = select(names, names[0]?.[0], () => {}, { id });
  const press = button("Add", () => {
    const added = stepOf(of.known, { filter: choice.value });
    of.steps.push(added);
    list(of, steps);
    find(added.form.element, "input, select, textarea")?.focus();
  }, { "aria-label": "Add the filter" });
  return make("div", { class: "adding" }, make("p", { class: "field" }, make("label", { for: id, text: "Another filter" }), choice), press);
}

/**
 * @param {Draft} of
 * @param {number} index
 * @param {HTMLElement} alert
 * @param {HTMLElement} place
 * @param {() => void} close
 */
async function apply(of, index, alert, place, close) {
  alert.hidden = true;
  const through = of.steps.map(({ name, form }) => ({ filter: name, ...form.value() }));
  const answer = await edit({ what: "chain", route: index, through }, "other filters", of.revision);
  if (answer.done) {
    close();
    return;
  }
  alert.textContent = answer.text;
  alert.hidden = false;
  for (const step of of.steps) step.form.mark(null);
  for (const key of answer.keys ?? []) {
    const [number, name = ""] = key.split(".through.")[1]?.split(".") ?? []; // the engine counts filters from 1
    of.steps[Number(number) - 1]?.form.mark(name);
  }
  (find(place, "[aria-invalid]") ?? alert).scrollIntoView({ block: "nearest" });
}
