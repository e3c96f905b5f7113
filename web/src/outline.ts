// What the form of a reading needs to know of a job. Kept in this browser for the jobs opened last, so
// that a reading can be typed when the page is opened with the link down: the job's name for itself,
// gear, the gas HC is counted in and the names of the screws; no readings, no car, no customer.
import type { Placed, Work } from "./api";
import { kept, keep } from "./kept";

export interface Outline {
  id: string;
  gear: string;
  hc_as: string;
  begun: boolean; // it has been read at idle
  screws: Placed[];
}
type Kept = { job: number; outline: Outline }[];
const most = 20;

const said = new Map<number, string>();

function keepOutline(job: number, o: Outline) {
  const bare = { ...o, screws: o.screws.map((s) => ({ screw: s.screw, turns_out: null })) };
  const text = JSON.stringify(bare);
  if (said.get(job) === text) return;
  said.set(job, text);
  const others = kept<Kept>("outlines", []).filter((k) => k.job !== job);
  keep("outlines", [{ job, outline: bare }, ...others].slice(0, most));
}

export function outlineOf(job: number, w: Work): Outline {
  const idles = w.readings.filter((r) => r.condition === "idle");
  const last = idles[idles.length - 1];
  const o = {
    id: w.job.id,
    gear: last?.gear ?? "neutral",
    hc_as: last?.hc_as ?? "hexane",
    begun: idles.length > 0,
    screws: [...idles].reverse().find((r) => r.screws.length)?.screws ?? [],
  };
  keepOutline(job, o);
  return o;
}

const find = (job: number) => kept<Kept>("outlines", []).find((k) => k.job === job)?.outline;
export const keptId = (job: number) => find(job)?.id;

export const forgetOutlines = () => keep("outlines", []);

export function readOutline(job: number): Outline {
  return find(job) ?? { id: `job ${job}`, gear: "neutral", hc_as: "hexane", begun: false, screws: [] };
}
