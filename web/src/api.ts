// What the server says (docs/openapi.json, docs/json.md), and asking it.

export interface JobRow {
  job: number;
  run: number;
  saved_at: string;
  id: string;
  date: string;
  car: string;
  plate: string;
  technician: string;
  complaint: string;
  verdict: string;
  readings: number;
}

export interface Measure {
  value: number | null;
  u: number | null;
}
export interface Range {
  lo: number | null;
  at: number | null;
  hi: number | null;
}
export interface Gases {
  co_fraction: number | null;
  co2_fraction: number | null;
  hc_fraction: number | null;
  o2_fraction: number | null;
  no_fraction: number | null;
}
export interface Placed {
  screw: string;
  turns_out: number | null;
}
export interface Reading {
  label: string | null;
  time: string | null;
  stage: string | null;
  condition: string | null;
  speed_rad_per_s: number | null;
  gear: string | null;
  settled: boolean | null;
  screws: Placed[];
  vacuum_pa: number | null;
  read: Gases;
  hc_as: string | null;
  gas: { lambda: Measure; notes: { weight: string; text: string }[] } | null;
}
export interface Judgement {
  name: string;
  condition: string | null;
  reading: number | null;
  source: string | null;
  gas: string;
  limit_fraction?: Range;
  value_fraction?: Measure;
  limit_lambda?: Range;
  value_lambda?: Measure;
  verdict: string | null;
  remark: string | null;
}
export interface Check {
  check: string;
  answer: string;
  essential: boolean;
  found: string | null;
  expected: string | null;
  why: string | null;
  next: string | null;
}
export interface Work {
  job: {
    id: string;
    date: string | null;
    technician: string | null;
    shop: string | null;
    customer: string | null;
    complaint: string | null;
    fitted_unit: string | null;
    done: { what: string; screw: string | null; turns_counterclockwise: number | null }[];
    notes: string[];
  };
  car: {
    description: string | null;
    engine: string | null;
    plate: string | null;
    odometer: string | null;
    transmission: string | null;
  };
  weather: { altitude_m: number | null; pressure_pa: number | null };
  fuel: { name: string } | null;
  card: { unit: string | null; engine: string | null } | null;
  intake: { answer: string; summary: string; differences: { what: string; expected: string | null; fitted: string | null; why: string | null }[] };
  reading_as_found: number | null;
  reading_as_left: number | null;
  judgements_as_found: Judgement[];
  fitness: { answer: string; summary: string; first: string | null; checks: Check[] };
  readings: Reading[];
  judgements: Judgement[];
  verdict: string | null;
  verdict_words: string;
  advice: {
    move: { kind: string; words: string | null; reason: string | null };
    target: string | null;
    steps: string[];
    cares: string[];
  };
  cautions: string[];
  gaps: string[];
}
export interface LiveItem {
  x: number | null;
  shown: string;
  state: string;
  wait_s: number | null;
  mean: number | null;
  spread: number | null;
}
export interface LiveEntry {
  kind: string;
  settled: boolean | null;
  wait_s: number | null;
  items: Record<string, LiveItem | undefined>;
  hc_as: string | null;
  words: string;
}
export interface Live {
  listening: boolean;
  instruments: { name: string; there: boolean; words: string }[];
  newest: LiveEntry | null;
}
export interface Move {
  screw: string;
  turns_counter_clockwise: number | null;
  from: number | null;
  to: number | null;
  and_back: boolean;
  words: string;
}
export interface Guidance {
  state: "move" | "set" | "cannot" | "wait";
  words: string;
  wanted: {
    speed_rad_s: number | null;
    speed_within_rad_s: number | null;
    co: number | null;
    co_least: number | null;
    co_most: number | null;
    co_limit: number | null;
    hc_limit_hexane: number | null;
  };
  readings: number;
  moves: Move[];
  expect: {
    speed_rad_s: number | null;
    co: number | null;
    co_u: number | null;
    hc_hexane: number | null;
    hc_u: number | null;
    vacuum_pa: number | null;
  } | null;
  causes: { cause: string; probability: number | null }[];
}
export interface Status {
  leanward: string;
  lan: boolean;
  paired: boolean;
  device: number | null;
}
export interface Device {
  device: number;
  name: string;
  this: boolean;
}
export interface Token {
  token: string;
  address: string;
  seconds: number;
  qr_svg: string;
  fingerprint: string | null;
}

export class Refused extends Error {
  constructor(
    readonly status: number,
    message: string,
    readonly field = "", // of the file, as in "reading 2, CO"
  ) {
    super(message);
  }
}

// One request; a failure is a Refused with the server's words, status 0 when it was not reached.
// pass: of a practice car or a class.
export async function ask<T>(method: string, path: string, body?: unknown, key?: string, onRun?: number, pass?: string): Promise<T> {
  const headers: Record<string, string> = {};
  if (body !== undefined) headers["Content-Type"] = "application/json";
  if (key) headers["Idempotency-Key"] = key;
  if (onRun !== undefined) headers["If-Match"] = `"${onRun}"`;
  if (pass) headers["Practice-Pass"] = pass;
  let answer: Response;
  try {
    answer = await fetch(path, { method, headers, body: body === undefined ? null : JSON.stringify(body) });
  } catch {
    throw new Refused(0, "The server is not reached.");
  }
  const data: unknown = await answer.json().catch(() => null);
  if (answer.ok) return data as T;
  const said = data as { error?: string; field?: string } | null;
  throw new Refused(answer.status, said?.error ?? `The server answered ${answer.status}.`, said?.field);
}

export interface Evidence {
  reading: string;
  read: string;
  sound: string;
  with: string;
}
export interface Cause {
  name: string;
  where?: string | null;
  probability: number;
  remedy: string | null;
  evidence: Evidence[];
  together: boolean;
}
export interface Causes {
  summary: string;
  tie: boolean;
  wrong_unit: string | null;
  ranked: Cause[];
  next_tests: { test: string; how: string; minutes: number; outcomes: string }[];
  weighed: string[];
  left_out: string[];
  not_shown: string[];
  not_shown_names: string[];
  not_shown_by: string[];
}

export interface MapPoint {
  throttle: number | null;
  speed_rad_s: number | null;
  afr: number | null;
  lambda: number | null;
}
export interface Trial {
  edits: string[];
  summary: string;
  effects: { place: string; mean_change: number | null; worst_change: number | null; words: string }[];
  original: MapPoint[];
  changed: MapPoint[];
  sizes: { name: string; original_m: number | null; changed_m: number | null }[];
  circuit_svg?: string;
}

export interface Card {
  card: string;
  unit: string;
  engine: string | null;
  emissions: string | null;
  model_year: number | null;
  transmission: string | null;
}
