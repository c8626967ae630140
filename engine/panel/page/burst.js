// The burst of a scene: the bank selects and program changes that put each instrument on its sound.

import { mayOperate } from "./commands.js";
import { held } from "./connection.js";
import { button, fault, find, findAll, labelled, make, note, refill, select } from "./dom.js";
import { edit, revisionOf, stayWith } from "./edited-scene.js";
import { soundOptions, stepWords } from "./labels.js";

// what a choice of sound means; a sound may have any name
const SOUND = "sound ";
const PROGRAM = "program";
const NOTHING = "nothing";

/** @typedef {{scene: number, seen: Scene, revision: number | undefined, steps: BurstStep[], place: HTMLElement}} Draft */

/** @type {Draft | null} */
let draft = null;

/** Close what is open. */
export function forget() {
  draft = null;
}

/**
 * Show the burst of this scene, unless it is being edited.
 * @param {HTMLElement} place
 * @param {Scene} scene
 */
export function show(place, scene) {
  if (draft?.scene === scene.number) return;
  draft = null;
  const open = button("Edit sounds", () => {
    stayWith(scene);
    draft = { scene: scene.number, seen: scene, revision: held.rig?.revision, steps: structuredClone(scene.burst), place };
    showEditor(draft);
    find(place, "select, button")?.focus();
  });
  open.disabled = !mayOperate();
  refill(place,
    scene.burst.length
      ? make("ol", { class: "filters" }, ...scene.burst.map((step) => make("li", { text: stepWords(step) })))
      : note("None here: an instrument keeps its current sound, unless a play line has one."),
    open,
  );
}

const instruments = () => held.rig?.instruments ?? [];

/** @param {string | undefined} name */
const soundsOf = (name) => instruments().find((each) => each.name === name)?.sounds ?? [];

/**
 * A step that puts this instrument on the first of its sounds, if it has any.
 * @param {string} name
 * @returns {BurstStep}
 */
function firstStep(name) {
  const [sound] = soundsOf(name);
  return sound === undefined ? { instrument: name } : { instrument: name, sound };
}

/** @param {Draft} of */
function showEditor(of) {
  const alert = fault("");
  alert.hidden = true;
  const gear = instruments();
  const adding = gear.length
    ? button("Add an instrument", () => {
        const unused = gear.find((each) => !of.steps.some((step) => step.instrument === each.name)) ?? gear[0];
        of.steps.push(firstStep(unused.name));
        showEditor(of);
        focusStep(of, of.steps.length - 1);
      })
    : null;
  of.place.replaceChildren(
    ...of.steps.map((step, index) => stepForm(of, step, index)),
    make("div", { class: "row" }, adding, button("Add a program change", () => {
      of.steps.push({ output: held.rig?.outputs[0]?.name, channel: 1, program: 1 });
      showEditor(of);
    })),
    alert,
    make("div", { class: "row" }, button("Apply sounds", () => apply(of, alert), { class: "accent" }), button("Cancel", () => close(of))),
  );
}

/**
 * @param {Draft} of
 * @param {number} index
 */
const focusStep = (of, index) => find(findAll(of.place, "fieldset")[index], "select")?.focus();

/** @param {Draft} of */
function close(of) {
  draft = null;
  const scene = held.rig?.scenes.find(({ number }) => number === of.scene);
  if (scene) show(of.place, scene);
  find(of.place, "button")?.focus();
}

/**
 * @param {Draft} of
 * @param {HTMLElement} alert
 */
async function apply(of, alert) {
  alert.hidden = true;
  const answer = await edit({ scene: of.scene, what: "burst", burst: of.steps }, "other sounds", revisionOf(of.seen, "burst", of.revision));
  if (answer.done) {
    draft = null;
    of.place.replaceChildren(make("p", { class: "note", role: "status", text: answer.text }));
    return;
  }
  alert.textContent = answer.text;
  alert.hidden = false;
}

/**
 * @param {Draft} of
 * @param {BurstStep} step
 * @param {number} index
 */
function stepForm(of, step, index) {
  const title = `Step ${index + 1}`;
  const put = (/** @type {number} */ to) => () => {
    of.steps.splice(to, 0, ...of.steps.splice(index, 1));
    showEditor(of);
  };
  const replace = (/** @type {BurstStep} */ other) => {
    of.steps[index] = other;
    showEditor(of);
    focusStep(of, index);
  };
  const up = button("Move up", put(index - 1), { "aria-label": `Move up: ${title}` });
  const down = button("Move down", put(index + 1), { "aria-label": `Move down: ${title}` });
  up.disabled = index === 0;
  down.disabled = index === of.steps.length - 1;
  const remove = button("Remove", () => {
    of.steps.splice(index, 1);
    showEditor(of);
  }, { "aria-label": `Remove: ${title}` });
  return make("fieldset", {}, make("legend", { text: title }),
    make("div", { class: "pair" }, ...(step.instrument === undefined ? bareFields(step) : instrumentFields(step, step.instrument, replace))),
    make("div", { class: "row" }, up, down, remove));
}

/**
 * @param {BurstStep} step
 * @param {string} instrument
 * @param {(other: BurstStep) => void} replace
 */
function instrumentFields(step, instrument, replace) {
  const chosen = step.sound !== undefined ? `${SOUND}${step.sound}` : step.program === undefined ? NOTHING : PROGRAM;
  /** @type {import("./dom.js").Option[]} */
  const options = [
    ...soundOptions(instruments().find((each) => each.name === instrument)).map(/** @returns {[string, string]} */ ([name, text]) => [`${SOUND}${name}`, text]),
    [PROGRAM, "a program by number"], [NOTHING, "nothing; keep the step"],
  ];
  return [
    labelled("Instrument", select(instruments().map(({ name }) => [name, name]), instrument, (name) => replace(firstStep(name)))),
    labelled("Sound", select(options, chosen, (value) => {
      if (value === PROGRAM) replace({ instrument, program: 1 });
      else replace(value === NOTHING ? { instrument } : { instrument, sound: value.slice(SOUND.length) });
    })),
    ...(chosen === PROGRAM ? programFields(step) : []),
  ];
}

/** @param {BurstStep} step */
function bareFields(step) {
  return [
    labelled("Output", select((held.rig?.outputs ?? []).map(({ name }) => [name, name]), step.output, (name) => {
      step.output = name;
    })),
    number("Channel (1 to 16)", step.channel, (value) => {
      step.channel = value;
    }),
    ...programFields(step),
  ];
}

/** @param {BurstStep} step */
function programFields(step) {
  const bank = (/** @type {number} */ place) => (/** @type {unknown} */ value) => {
    const found = step.bank ?? [undefined, undefined];
    found[place] = value;
    if (found.every((each) => each === undefined)) delete step.bank;
    else step.bank = found;
  };
  return [
    number("Bank MSB (optional)", step.bank?.[0], bank(0)),
    number("Bank LSB (optional)", step.bank?.[1], bank(1)),
    number("Program", step.program, (value) => {
      step.program = value;
    }),
  ];
}

/**
 * A field for a whole number. What is no number is passed on as it was typed: the engine says what is wrong with it.
 * @param {string} title
 * @param {unknown} value
 * @param {(value: unknown) => void} changed
 */
function number(title, value, changed) {
  const field = make("input", { inputmode: "numeric", autocomplete: "off" });
  field.value = String(value ?? "");
  field.addEventListener("input", () => {
    const text = field.value.trim();
    changed(text === "" ? undefined : /^\d+$/.test(text) ? Number(text) : text);
  });
  return labelled(title, field);
}
