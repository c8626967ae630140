// Texts that several views show alike.

/** "12 Finale", or a dash. */
export const sceneWords = (scene) => (scene ? `${scene.number} ${scene.name}` : "–");

/** A value of a filter's setting, short. */
function valueWords(value) {
  if (Array.isArray(value)) return value.map(valueWords).join(" to ");
  if (value !== null && typeof value === "object") {
    return Object.entries(value).map(([key, each]) => `${key}: ${valueWords(each)}`).join(", ");
  }
  return String(value);
}

function settingWords(name, value) {
  if (value === true) return name;
  if (Array.isArray(value) && (value.length !== 2 || name === "keep" || name === "drop" || name === "kinds")) {
    return `${name} ${value.join(", ")}`;
  }
  if (value !== null && typeof value === "object" && !Array.isArray(value)) {
    const pairs = Object.entries(value).map(([key, each]) => `${key} → ${valueWords(each)}`);
    return `${name} ${pairs.join(", ")}`;
  }
  return `${name} ${valueWords(value)}`;
}

/** "transpose: semitones -12". */
export function filterWords({ filter, ...settings }) {
  const told = Object.entries(settings).map(([name, value]) => settingWords(name, value));
  return told.length ? `${filter}: ${told.join("; ")}` : filter;
}

export const chainWords = (through) => through.map((each) => each.filter).join(", ");

/** What a burst step says. */
export function stepWords(step) {
  const bank = step.bank ? `bank ${step.bank.join("/")}, ` : "";
  const what = step.sound ?? (step.program === undefined || step.program === null ? "nothing (its place is kept)" : `${bank}program ${step.program}`);
  return step.instrument ? `${step.instrument}: ${what}` : `${step.output}, channel ${step.channel}: ${what}`;
}

export const routeWords = (route) => `${route.from.join(", ")} → ${route.to.join(", ")}`;

export const clockTime = (date) => date.toLocaleTimeString([], { hour12: false });

export const percent = (share) => `${Math.round(100 * share)} %`;

const KINDS = [
  ["note", "notes"],
  ["controller", "controllers"],
  ["program", "programs"],
  ["bend", "pitch bend"],
  ["pressure", "pressure"],
  ["sysex", "SysEx"],
  ["clock", "clock"],
  ["system", "other system messages"],
];

export const kinds = () => KINDS;

/** Of which of these kinds a message in hexadecimal is (MIDI 1.0 Detailed Specification 4.2.1, Tables I to VI). */
export function kindOf(message) {
  const status = parseInt(message.slice(0, 2), 16);
  if (status === 0xf0) return "sysex";
  if (status === 0xf8) return "clock";
  if (status > 0xf0) return "system";
  return { 0x80: "note", 0x90: "note", 0xa0: "pressure", 0xb0: "controller", 0xc0: "program", 0xd0: "pressure", 0xe0: "bend" }[status & 0xf0] ?? "system";
}
