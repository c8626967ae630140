// A route's chain of filters as a draft: put in order, set by forms, and played when the player says so.

import { button, fresh, make, select } from "./dom.js";
import { settingsForm } from "./schema-forms.js";
import { filters, held } from "./connection.js";
import { edit } from "./edited-scene.js";

let draft = null; // {steps: [{settings, form}], revision}

export const isOpen = () => draft !== null;

export function forget() {
  draft = null;
}

/** A form for these filters of the route of this index; `close` is called when it is done with. */
export function editor(through, index, close) {
  const place = make("form", { class: "chain" });
  const alert = make("p", { class: "fault", role: "alert", hidden: true });
  const steps = make("div", {});
  place.addEventListener("submit", (event) => {
    event.preventDefault();
    play(index, alert, steps, close);
  });
  place.append(make("p", { class: "note", text: "Getting the filters …" }));
  open(through).then(
    () => {
      place.replaceChildren(
        steps,
        adding(() => list(steps)),
        alert,
        make("div", { class: "row" }, make("button", { text: "Play this chain", class: "accent" }), button("Leave it as it was", close)),
      );
      list(steps);
    },
    (fault) => place.replaceChildren(make("p", { class: "fault", role: "alert", text: fault.message }), button("Close", close)),
  );
  return place;
}

async function open(through) {
  const known = await filters();
  draft = { revision: held.rig.revision, steps: [], known };
  for (const settings of through) add(settings);
}

function add(settings) {
  const known = draft.known[settings.filter];
  const form = settingsForm(known?.schema ?? { type: "object" }, settings);
  draft.steps.push({ name: settings.filter, words: known?.words ?? "", form });
}

/** The steps as they are in order now; what was typed stays. */
function list(place) {
  const count = draft.steps.length;
  place.replaceChildren(...draft.steps.map((step, index) => {
    const title = `${index + 1}. ${step.name}`;
    const put = (to) => () => {
      draft.steps.splice(to, 0, ...draft.steps.splice(index, 1));
      list(place);
    };
    const earlier = button("Earlier", put(index - 1), { "aria-label": `Earlier: ${title}` });
    const later = button("Later", put(index + 1), { "aria-label": `Later: ${title}` });
    earlier.disabled = index === 0;
    later.disabled = index === count - 1;
    const out = button("Take out", () => {
      draft.steps.splice(index, 1);
      list(place);
    }, { "aria-label": `Take out: ${title}` });
    return make("fieldset", {},
      make("legend", { text: title }),
      step.words ? make("p", { class: "note", text: step.words }) : null,
      step.form.element,
      make("div", { class: "row" }, earlier, later, out));
  }));
  if (!count) place.append(make("p", { class: "note", text: "No filter: everything passes as it is." }));
}

function adding(again) {
  const names = Object.entries(draft.known).map(([name, { words }]) => [name, `${name}: ${words}`]);
  const id = fresh("add");
  const choice = select(names, names[0]?.[0], () => {}, { id });
  const press = button("Add", () => {
    add({ filter: choice.value });
    again();
    draft.steps.at(-1).form.element.querySelector("input, select, textarea")?.focus();
  }, { "aria-label": "Add the filter" });
  return make("div", { class: "adding" }, make("p", { class: "field" }, make("label", { for: id, text: "Another filter" }), choice), press);
}

async function play(index, alert, place, close) {
  alert.hidden = true;
  const through = draft.steps.map(({ name, form }) => ({ filter: name, ...form.value() }));
  const answer = await edit({ what: "chain", route: index, through }, "another chain", draft.revision);
  if (answer.done) return close();
  alert.textContent = answer.text;
  alert.hidden = false;
  for (const step of draft.steps) step.form.mark(null);
  // the place that the engine names counts filters from 1
  for (const [, number, name] of answer.text.matchAll(/through\.(\d+)(?:\.(\w+))?/g)) draft.steps[number - 1]?.form.mark(name ?? "");
  (place.querySelector("[aria-invalid]") ?? alert).scrollIntoView({ block: "nearest" });
}
