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
export interface Reading {
  label: string | null;
  time: string | null;
  stage: string | null;
  condition: string | null;
  speed_rad_per_s: number | null;
  vacuum_pa: number | null;
  read: Gases;
  hc_as: string | null;
  gas: { lambda: Measure; notes: { weight: string; text: string }[] } | null;
}
export interface Judgement {
  name: string;
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
  job: { id: string; date: string | null; technician: string | null; complaint: string | null };
  car: { description: string | null; engine: string | null; plate: string | null };
  intake: { answer: string; summary: string };
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
}

export class Refused extends Error {
  constructor(
    readonly status: number,
    message: string,
  ) {
    super(message);
  }
}

// One request; a failure is a Refused with the server's words, status 0 when it was not reached.
export async function ask<T>(method: string, path: string, body?: unknown, key?: string): Promise<T> {
  const headers: Record<string, string> = {};
  if (body !== undefined) headers["Content-Type"] = "application/json";
  if (key) headers["Idempotency-Key"] = key;
  let answer: Response;
  try {
    answer = await fetch(path, { method, headers, body: body === undefined ? null : JSON.stringify(body) });
  } catch {
    throw new Refused(0, "The server is not reached.");
  }
  const data: unknown = await answer.json().catch(() => null);
  if (answer.ok) return data as T;
  const said = (data as { error?: string } | null)?.error;
  throw new Refused(answer.status, said ?? `The server answered ${answer.status}.`);
}
