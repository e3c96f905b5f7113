// A practice car as the server has it: its exercise, its needles, the passes this browser holds, and
// moves that are sent until they are answered.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { ask, Refused } from "./api";
import { kept, keep } from "./kept";
import { newKey } from "./outbox";

export interface Needles {
  time_s: number;
  running: boolean;
  cranking: boolean;
  why: string;
  speed_rad_s: number;
  vacuum_pa: number;
  co: number;
  co2: number;
  hc_hexane: number;
  o2: number;
  no: number;
  pedal: number;
  unsettled_s: number;
}
export interface Screw {
  screw: string;
  kind: string;
  speed_screw: boolean;
  turns: number;
  least: number;
  most: number;
}
export interface Wanted {
  speed_rad_s: number;
  speed_within_rad_s: number;
  co_least: number;
  co_most: number;
  co_limit: number | null;
  hc_limit_hexane: number | null;
  in_drive: boolean;
}
export interface Practice {
  practice: number;
  name: string;
  class: number | null;
  state: "seeking" | "found" | "over";
  unit: string | null;
  engine: string | null;
  transmission: string | null;
  complaint: string;
  automatic: boolean;
  in_drive: boolean;
  wanted: Wanted;
  minutes: number;
  wrong: number;
  unsettled_s: number;
  screws: Screw[];
  hoses: { hose: string; plugged: boolean }[];
  checks: { check: string; how: string; minutes: number; answer: string | null }[];
  moves: { move: string; words: string; minutes: number; at_minutes: number }[];
  pass?: string;
}
export interface Step {
  what: string;
  minutes: number;
  words: string;
  before: number | null;
  after: number | null;
}
export interface Review {
  fault: string;
  remedy: string;
  found: boolean;
  wrong: number;
  minutes: number;
  minutes_seeking: number;
  moves_seeking: number;
  steps: Step[];
  would: string;
  fewest: Step[];
  fewest_minutes: number;
  fewest_finds: boolean;
  fewest_says: string;
  within: boolean;
  set: string;
  turns_made: number;
  turns_fewest: number | null;
}
export interface Learner {
  practice: number;
  name: string;
  state: "seeking" | "found" | "done" | "gave up";
  found: boolean;
  minutes: number;
  moves: number;
  wrong: number;
  idle_s: number;
}
export interface Class {
  class: number;
  title: string;
  open: boolean;
  card: string;
  unit: string;
  complaint: string;
  found: number;
  learners: Learner[];
  fault: string | null;
  pass?: string;
}

/* ---- passes ---- */

// Of cars and classes of this server; a number may come again after the server was started anew.
const passName = (what: "practice" | "class", number: number) => `pass ${what} ${number}`;
export const passOf = (what: "practice" | "class", number: number) => kept<string>(passName(what, number), "");
export const keepPass = (what: "practice" | "class", number: number, pass: string) => keep(passName(what, number), pass);

/* ---- asked until it is answered ---- */

export const trouble = signal(""); // why the last move was not made
export const sending = signal("");

const pause = (ms: number) => new Promise((done) => setTimeout(done, ms));

// A refusal is thrown; without a link it is sent again with the same key, so that it is made once.
export async function sure<T>(method: string, path: string, body: unknown, pass?: string): Promise<T> {
  const key = newKey();
  for (let tries = 0; ; tries++) {
    try {
      const got = await ask<T>(method, path, body, key, undefined, pass);
      sending.value = "";
      return got;
    } catch (error) {
      // no link, too fast, a failing server: it may end otherwise later
      const again = error instanceof Refused && (error.status === 0 || error.status === 429 || error.status === 500);
      if (!again || tries > 60) {
        sending.value = "";
        throw error;
      }
      sending.value = "The server is not reached; this is sent again by itself.";
      await pause(1000);
    }
  }
}

/* ---- one exercise ---- */

export const exercise = signal<Practice | null>(null);
export const needles = signal<Needles | null>(null);
export const linked = signal(true);
export const busy = signal(false);

export async function load(number: number) {
  try {
    exercise.value = await ask<Practice>("GET", `/api/practice/${number}`, undefined, undefined, undefined, passOf("practice", number));
    trouble.value = "";
  } catch (error) {
    exercise.value = null;
    trouble.value = (error as Error).message;
  }
}

async function change(number: number, end: string, body: unknown) {
  if (busy.value) return;
  busy.value = true;
  try {
    exercise.value = await sure<Practice>("POST", `/api/practice/${number}${end}`, body, passOf("practice", number));
    trouble.value = "";
  } catch (error) {
    trouble.value = (error as Error).message;
  } finally {
    busy.value = false;
  }
}

export const move = (number: number, body: Record<string, unknown>) => change(number, "/moves", body);
export const end = (number: number) => change(number, "/end", {});

let stream: EventSource | null = null;
let anew = 0;

function listen(number: number) {
  stream = new EventSource(`/api/practice/${number}/events`);
  stream.addEventListener("needles", (event) => (needles.value = JSON.parse((event as MessageEvent<string>).data) as Needles));
  stream.onopen = () => (linked.value = true);
  stream.onerror = () => {
    if (exercise.value?.state === "over") return stop();
    linked.value = false;
    if (stream?.readyState === EventSource.CLOSED) anew = window.setTimeout(() => listen(number), 3000);
  };
}

function stop() {
  clearTimeout(anew);
  stream?.close();
  stream = null;
  linked.value = true;
}

export function useBay(number: number) {
  useEffect(() => {
    exercise.value = null;
    needles.value = null;
    trouble.value = "";
    void load(number).then(() => exercise.value && exercise.value.state !== "over" && listen(number));
    return stop;
  }, [number]);
}
