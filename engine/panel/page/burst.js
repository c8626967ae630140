// The burst of a scene: which instrument is put on which sound.

import { mayOperate } from "./commands.js";
import { button, labelled, make, select } from "./dom.js";
import { held } from "./connection.js";
import { edit, stayWith } from "./edited-scene.js";
import { stepWords } from "./labels.js";

// what a choice of sound stands for; a sound may have any name
const SOUND = "sound ";
const PROGRAM = "program";
const NOTHING = "nothing";

let draft = null; // {scene, revision, steps}
let shownIn = null;

/** Close what is open. */
export function forget() {
  draft = null;
}

export function show(place, scene) {
  shownIn = place;
  if (draft?.scene === scene.number) return; // it is being edited
  draft = null;
  const open = button("Edit the sounds", () => {
    stayWith(scene);
    draft = { scene: scene.number, revision: held.rig.revision, steps: structuredClone(scene.burst) };
    editor();
    place.querySelector("select, button")?.focus();
  });
  open.disabled = !mayOperate();
  place.replaceChildren(
    scene.burst.length
      ? make("ol", { class: "filters" }, ...scene.burst.map((step) => make("li", { text: stepWords(step) })))
      : make("p", { class: "note", text: "None: every instrument stays on what it plays." }),
    open,
  );
}

function editor() {
  const alert = make("p", { class: "fault", role: "alert", hidden: true });
  const gear = held.rig.instruments;
  const adding = gear.length
    ? button("Add an instrument", () => {
        const { name, sounds } = gear.find((each) => !draft.steps.some((step) => step.instrument === each.name)) ?? gear[0];
        draft.steps.push(sounds.length ? { instrument: name, sound: sounds[0] } : { instrument: name });
        editor();
        [...shownIn.querySelectorAll("fieldset")].at(-1).querySelector("select").focus();
      })
    : null;
  shownIn.replaceChildren(
    ...draft.steps.map(stepForm),
    make("div", { class: "row" }, adding, button("Add a bare program", () => {
      draft.steps.push({ output: held.rig.outputs[0]?.name, channel: 1, program: 1 });
      editor();
    })),
    alert,
    make("div", { class: "row" }, button("Play these sounds", () => play(alert), { class: "accent" }), button("Leave them as they were", close)),
  );
}

function close() {
  const number = draft.scene;
  draft = null;
  show(shownIn, held.rig.scenes.find((scene) => scene.number === number));
  shownIn.querySelector("button")?.focus();
}

async function play(alert) {
  alert.hidden = true;
  const number = draft.scene;
  const answer = await edit({ scene: number, what: "burst", burst: draft.steps }, "other sounds", draft.revision);
  if (answer.done) {
    draft = null;
    shownIn.replaceChildren(make("p", { class: "note", role: "status", text: answer.text }));
    return;
  }
  alert.textContent = answer.text;
  alert.hidden = false;
}

function stepForm(step, index) {
  const title = `Step ${index + 1}`;
  const put = (to) => () => {
    draft.steps.splice(to, 0, ...draft.steps.splice(index, 1));
    editor();
  };
  const earlier = button("Earlier", put(index - 1), { "aria-label": `Earlier: ${title}` });
  const later = button("Later", put(index + 1), { "aria-label": `Later: ${title}` });
  earlier.disabled = index === 0;
  later.disabled = index === draft.steps.length - 1;
  const out = button("Take out", () => {
    draft.steps.splice(index, 1);
    editor();
  }, { "aria-label": `Take out: ${title}` });
  return make("fieldset", {}, make("legend", { text: title }),
    make("div", { class: "pair" }, ...(step.instrument === undefined ? bareFields(step) : instrumentFields(step))),
    make("div", { class: "row" }, earlier, later, out));
}

function instrumentFields(step) {
  const gear = held.rig.instruments;
  const sounds = gear.find((each) => each.name === step.instrument)?.sounds ?? [];
  const chosen = step.sound === undefined ? (step.program === undefined ? NOTHING : PROGRAM) : `${SOUND}${step.sound}`;
  const options = [...sounds.map((name) => [`${SOUND}${name}`, name]), [PROGRAM, "a program by number"], [NOTHING, "nothing; keep its place"]];
  return [
    labelled("Instrument", select(gear.map(({ name }) => [name, name]), step.instrument, (name) => {
      replace(step, { instrument: name, ...(firstSound(name) && { sound: firstSound(name) }) });
    })),
    labelled("Sound", select(options, chosen, (value) => {
      const bare = { instrument: step.instrument };
      replace(step, value === PROGRAM ? { ...bare, program: 1 } : value === NOTHING ? bare : { ...bare, sound: value.slice(SOUND.length) });
    })),
    ...(chosen === PROGRAM ? programFields(step) : []),
  ];
}

const firstSound = (name) => held.rig.instruments.find((each) => each.name === name)?.sounds[0];

function bareFields(step) {
  return [
    labelled("Output", select(held.rig.outputs.map(({ name }) => [name, name]), step.output, (name) => {
      step.output = name;
    })),
    number("Channel, 1 to 16", step.channel, (value) => {
      step.channel = value;
    }),
    ...programFields(step),
  ];
}

function programFields(step) {
  const bank = (place) => (value) => {
    const found = step.bank ?? [undefined, undefined];
    found[place] = value;
    if (found.every((each) => each === undefined)) delete step.bank;
    else step.bank = found;
  };
  return [
    number("Bank, MSB (or empty)", step.bank?.[0], bank(0)),
    number("Bank, LSB (or empty)", step.bank?.[1], bank(1)),
    number("Program", step.program, (value) => {
      step.program = value;
    }),
  ];
}

function number(title, value, changed) {
  const field = make("input", { inputmode: "numeric", autocomplete: "off" });
  field.value = value ?? "";
  field.addEventListener("input", () => {
    const text = field.value.trim();
    changed(text === "" ? undefined : /^\d+$/.test(text) ? Number(text) : text);
  });
  return labelled(title, field);
}

function replace(step, facts) {
  const index = draft.steps.indexOf(step);
  draft.steps[index] = facts;
  editor();
  shownIn.querySelectorAll("fieldset")[index].querySelector("select").focus();
}
