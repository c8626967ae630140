// The shapes of what the panel sends and answers, for the type checker alone. Nothing here is served or run.

type Way = "in" | "out";
type Role = "operate" | "show" | "view";

interface SceneName { number: number; name: string }

/** A scene of the show, with its label in the prompt book and its text if it has them. */
interface ShownScene extends SceneName { cue?: string; text?: string }

interface SongName { name: string; transpose: number; text?: string }

/** A filter of a route: its name, and its settings in the keys of the rig file. */
interface FilterStep { filter: string; [setting: string]: unknown }

/** Filters, and the names of chains among them. */
type Chain = (FilterStep | string)[];

interface Route { name: string | null; group: string | null; from: string[]; to: string[]; through: Chain }

/** A step of a burst, as the rig file has it. Values are unchecked: the engine judges what was typed. */
interface BurstStep {
  instrument?: string;
  sound?: string;
  output?: string;
  channel?: unknown;
  bank?: unknown[];
  program?: unknown;
}

/** What a scene sends when it comes or goes, as the rig file has it. */
interface Line { [key: string]: unknown }

/** A play line in the keys of the rig file. What the player types is sent as it is: the engine judges it. */
interface PlayLine {
  name?: string | null;
  group?: string | null;
  off?: boolean;
  from?: string[];
  on?: string;
  sound?: string | null;
  notes?: number[] | string;
  velocity?: number[] | string;
  transpose?: number | string;
  channel?: number | null;
  pedal?: boolean;
  programs?: boolean;
  through?: Chain;
}

interface Scene extends SceneName {
  cue: string | null;
  like: number | string | null;
  text: string | null;
  tempo: number | null;
  transpose: number;
  at: string | null;
  held: string;
  play: PlayLine[];
  routes: Route[];
  burst: BurstStep[];
  enter: Line[];
  leave: Line[];
}

interface Instrument {
  name: string;
  output: string;
  channel: number;
  members: number[];
  spare: number[];
  sounds: string[];
  printed: Record<string, string>;
  programs_from: number;
  drums: boolean;
  keys: Record<string, string>;
  through: Chain;
}

/** A port in the keys of the rig file. */
interface PortTable { port?: string; device?: string; keyboard?: string; stop?: string[]; wire?: string; mpe?: ZoneTable; through?: Chain }

/** An MPE zone: its first and last member, and how many semitones their bends and the manager's reach. */
interface ZoneTable { members: number[]; bend?: number; manager_bend?: number }

/** An instrument in the keys of the rig file; times in ns; each sound's place as [program], [msb, lsb, program] or []. */
interface GearTable {
  output: string;
  channel: number;
  mpe?: ZoneTable;
  pressure?: string;
  labels?: string | Record<string, number>;
  through?: Chain;
  request?: string;
  bank?: string;
  settle?: number;
  programs_from?: number;
  drums?: boolean;
  spare?: number[];
  setup?: string[];
  places: number[][];
}

/** A control in the keys of the rig file; times in ns, messages in hexadecimal. */
interface ControlTable {
  input: string;
  when: Record<string, unknown> & { press?: string };
  do: string | Line | (string | Line)[];
  scene?: number | string | null;
  scenes?: (number | string)[];
  songs?: string[];
  players?: string[];
  route?: string;
  output?: string;
  messages?: string[];
  guard?: number;
  hold?: number;
  between?: number;
  pass?: boolean;
}

/** A player with scenes of their own. */
interface PlayerTable { name: string; inputs: string[]; setlist: string }

/** A light in the keys of the rig file; its messages in hexadecimal. */
interface TallyTable {
  to: string;
  when: { scene?: number | string; route?: string; song?: string; clock?: string; player?: string };
  on: string;
  off: string;
}

/** A display in the keys of the rig file. */
interface DisplayTable { to: string; show: string; player?: string }

interface HeardMessage { at: number; message: string }

/** A port that the rig does not use. `name`: a short one; `messages`: that came so far; `last`: in words. */
interface FreePort { port: string; name: string; messages?: number; last?: string }

/** `since`: when it was opened or found missing, in seconds since 1970. */
interface PortStatus { name: string; state: string; port: string | null; since: number; last_error: string | null }

interface EngineStatus { inputs: PortStatus[]; outputs: PortStatus[] }

/** The rig as the engine outlines it, with the revision that it was asked in. */
interface Rig {
  format: number;
  name: string;
  start: string | number;
  file: string;
  revision: number;
  inputs: string[];
  outputs: { name: string; wire: string }[];
  instruments: Instrument[];
  middle_c: string;
  ports: { inputs: Record<string, PortTable>; outputs: Record<string, PortTable> };
  gear: Record<string, GearTable>;
  controls: ControlTable[];
  tallies: TallyTable[];
  displays: DisplayTable[];
  input_chains: { [input: string]: { stop: string[]; through: Chain } };
  chains: { [name: string]: Chain };
  routes: Route[];
  scenes: Scene[];
  songs: { name: string; scenes: number[] }[];
  setlists: { name: string; scenes: number[]; songs: string[] }[];
  players: PlayerTable[];
  inherited: { [scene: string]: { play: PlayLine[]; routes: Route[] } };
}

/** What has changed in a rig: whole sections; a scene that has not changed is given by its number alone. */
interface RigChanges extends Partial<Omit<Rig, "revision" | "scenes">> { scenes?: (Scene | number)[] }

interface Machine { name: string; engine: boolean; there: boolean; round_trip: { median: number } | null }

interface Network { machine: string; in_charge: string | null; machines: Machine[] }

/** Where a player with scenes of their own is, or the rest of the rig. */
interface Place {
  scene: ShownScene | null;
  next: ShownScene | null;
  song: SongName | null;
  step: number;
  setlist: { name: string | null; place: number; of: number };
  loaded: boolean;
}

/** What holds until it changes; a frame has the parts that did. */
interface Facts extends Place {
  players: { [name: string]: Place };
  revision: number;
  unsaved: boolean;
  file: string;
  draft: boolean;
  undo: string | null;
  redo: string | null;
  inputs: string[];
  outputs: string[];
  tempo: number | null;
  clock_from: string | null;
  timecode: string | null;
  timecode_runs: boolean;
  timecode_from: string | null;
  load: (number | null)[];
  peak: (number | null)[];
  health: string[];
  muted_routes: string[];
  channels: Record<string, number>;
  network: Network;
}

/** A message that passed. `at`: the engine's clock in nanoseconds; `message`: in hexadecimal. */
interface PassedMessage { at: number; way: Way; port: string; message: string; words: string }

interface Notice { at: number; who: string; text: string }

/** What the engine sends up to thirty times per second. `activity`: messages since the last frame, port by port. */
interface Frame extends Partial<Facts> {
  at: number;
  activity?: { in: number[]; out: number[] };
  events?: PassedMessage[];
  left_out?: number;
  told?: Notice[];
}

/** A line of the monitor. */
interface MonitorLine {
  at: number;
  time: Date;
  way: Way | "notice";
  port: string;
  words: string;
  message: string;
  kind: string;
  scene?: number | null;
}

/**
 * A line or route that a scene plays. `words`: what it does to messages; `line`: the play line, `on` its instrument;
 * `index`: its place among the scene's own lines or routes, null for one that is not the scene's own.
 */
interface Playing {
  from: string[];
  to: string[];
  name: string | null;
  title: string;
  words: string[];
  line: PlayLine | null;
  through: Chain;
  index: number | null;
  inherited: boolean;
  lasting: boolean;
  muted: boolean;
}

interface RouteTrace {
  route: number | "lasting";
  name: string | null;
  muted: boolean;
  steps: { filter: string; verdict: string }[];
  to: string[];
  gets: string[];
}

interface UsedPort { port: string; used_by: string | null }

/** A paired browser. `since`, `until`: seconds since 1970; `own`: whether it is this one. */
interface PairedRow { id: string; role: Role; since: number; until: number; address: string; own: boolean }

/** `squares`: the QR code of `link` by rows, "1" for a dark square. */
interface PairingCode { role: Role; code: string; link: string; squares: string[] }

interface Identity { manufacturer: string; family: number; member: number; version: string; device: string }

interface IdentifiedRow { output: string; input?: string | null; identity?: Identity | null; text: string }

/** JSON Schema, as far as the settings of filters use it (json-schema.org, draft 2020-12). */
interface Schema {
  type?: string;
  title?: string;
  description?: string;
  default?: unknown;
  enum?: unknown[];
  minimum?: number;
  maximum?: number;
  exclusiveMinimum?: number;
  exclusiveMaximum?: number;
  items?: Schema;
  prefixItems?: Schema[];
  properties?: Record<string, Schema>;
  additionalProperties?: Schema | boolean;
  required?: string[];
  anyOf?: Schema[];
  oneOf?: Schema[];
  $ref?: string;
  $defs?: Record<string, Schema>;
}

type KnownFilters = Record<string, { words: string; schema: Schema }>;

/** What an answer has beside `done` and `text`, by what was asked. */
interface Answers {
  rig: { revision: number; unsaved: boolean; since?: number; rig: RigChanges };
  filters: { filters: KnownFilters; tables: Record<string, Schema> };
  explain: { routes: RouteTrace[]; outputs: Record<string, string[]>; command?: string };
  ports: { inputs: UsedPort[]; outputs: UsedPort[] };
  status: { status: EngineStatus };
  listen: { inputs: FreePort[]; outputs: FreePort[] };
  learned: { control: ControlTable | null; presses: number; bounce_ms: number };
  identify: { rows: IdentifiedRow[] };
  differences: { differences: string[] };
  versions: { versions: RigVersion[] };
  rehearse: { findings: string[]; remarks: string[]; page: string };
  dump: { messages: string[] };
  backup: { rig: string; device: number };
  pairings: { pairings: PairedRow[]; codes: PairingCode[] };
}

interface RigVersion { number: number; time: string; bytes: number }

interface EngineRequest { do: string; [fact: string]: unknown }

/**
 * `code`: one short word of engine/answer_codes.py, to decide by; `text`: a sentence to show; `keys`: those at fault, if
 * an edit would make the rig invalid; `words`: what is wrong with each.
 */
interface Refusal { done: false; code: string; text: string; keys?: string[]; words?: string[] }

type Answer<Do extends string = string> =
  | ({ done: true; code: string; text: string } & (Do extends keyof Answers ? Answers[Do] : unknown))
  | Refusal;

/** What the panel sends over the live socket. */
type PanelMessage =
  | { id: number; answer: Answer }
  | { frame: Frame }
  | { role: Role }
  | { gone: string }
  | { back: true };

interface HandbookPage { topic: string; title: string; purpose: string; text: string }

/** Text within a block of Markdown. */
type Span =
  | { kind: "text" | "code"; text: string }
  | { kind: "bold" | "italic"; spans: Span[] }
  | { kind: "link"; spans: Span[]; to: string };

/** A block of Markdown. */
type Block =
  | { kind: "heading"; level: number; spans: Span[] }
  | { kind: "paragraph"; spans: Span[] }
  | { kind: "list"; ordered: boolean; items: Span[][] }
  | { kind: "table"; head: Span[][]; rows: Span[][][] }
  | { kind: "code"; language: string; text: string };
