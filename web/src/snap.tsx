// A throttle opened quickly: what the displays came to, and how the engine took it, into the job.
import { signal } from "@preact/signals";
import { ask } from "./api";
import { work } from "./follow";
import { edit } from "./outbox";
import { percent, ppm, rpm } from "./show";
import type { Map } from "./tree";
import { shown, unitOf } from "./units";

export type Opening = "tip-in" | "floored" | "snap";
export const opening = signal<Opening>("tip-in");
const openings: [Opening, string][] = [
  ["tip-in", "opened to half at a held speed"],
  ["floored", "floored at a held speed"],
  ["snap", "neutral, floored for a moment and let go"],
];
const felt = ["clean", "hesitates", "pops back", "dies", "smokes"];

const inJob = signal(0); // snaps the job has
const said = signal("");
export const filled = signal<Record<string, string> | null>(null); // from the instruments

export async function countSnaps(job: number) {
  try {
    const got = await ask<{ document: { snaps?: unknown } }>("GET", `/api/jobs/${job}`);
    inJob.value = Array.isArray(got.document.snaps) ? got.document.snaps.length : 0;
  } catch {
    /* the link says so */
  }
}

interface Extreme {
  key: string; // of a job's snap
  item: string; // of an instrument
  most: boolean;
  unit: () => string;
  text: (x: number) => string;
}
const extremes: Extreme[] = [
  { key: "CO most", item: "CO", most: true, unit: () => "%", text: (x) => percent(x) },
  { key: "CO least", item: "CO", most: false, unit: () => "%", text: (x) => percent(x) },
  { key: "HC most", item: "HC", most: true, unit: () => "ppm", text: (x) => ppm(x) },
  { key: "O2 most", item: "O2", most: true, unit: () => "%", text: (x) => percent(x) },
  { key: "vacuum most", item: "vacuum", most: true, unit: () => unitOf("vacuum").name, text: (x) => shown("vacuum", x) },
  { key: "speed most", item: "speed", most: true, unit: () => "rpm", text: (x) => rpm(x) },
];
const asked = () => extremes.filter((e) => e.key !== "speed most" || opening.value === "snap");

// The most and least of what came in since the throttle was opened.
export function fill(read: Record<string, number | null>[]) {
  const out: Record<string, string> = {};
  for (const e of extremes) {
    const all = read.map((r) => r[e.item]).filter((x): x is number => x !== null && x !== undefined);
    if (all.length) out[e.key] = e.text(e.most ? Math.max(...all) : Math.min(...all));
  }
  filled.value = out;
}

function send(job: number, form: HTMLFormElement) {
  const data = new FormData(form);
  const text = (name: string) => String(data.get(name) ?? "").trim();
  const snap: Map = { time: new Date().toTimeString().slice(0, 5), kind: opening.value };
  if (text("speed") && opening.value !== "snap") snap.speed = `${text("speed")} rpm`;
  for (const e of asked()) if (text(e.key)) snap[e.key] = `${text(e.key).replace(",", ".")} ${e.unit()}${e.key === "HC most" ? ` ${hcAs()}` : ""}`;
  if (text("felt")) snap.felt = text("felt");
  if (Object.keys(snap).length < 3) return;
  form.reset();
  filled.value = null;
  inJob.value++;
  said.value = `Kept in the job: ${inJob.value === 1 ? "1 opening" : `${inJob.value} openings`} of the throttle. Find the cause weighs them.`;
  void edit(`/api/jobs/${job}`, [{ path: ["snaps", inJob.value - 1], to: snap }], `throttle opened, ${work.value!.job.id}: ${opening.value}`);
}

const hcAs = () => [...work.value!.readings].reverse().find((r) => r.hc_as)?.hc_as ?? "hexane";

export function ChooseOpening({ changed }: { changed: () => void }) {
  return (
    <label>
      What is done
      <select
        value={opening.value}
        onChange={(event) => {
          opening.value = event.currentTarget.value as Opening;
          changed();
        }}
      >
        {openings.map(([key, name]) => (
          <option key={key} value={key}>
            {name}
          </option>
        ))}
      </select>
    </label>
  );
}

export function SnapForm({ job }: { job: number }) {
  const from = filled.value;
  return (
    <form
      class="reading"
      key={JSON.stringify(from)}
      onSubmit={(event) => {
        event.preventDefault();
        send(job, event.currentTarget);
      }}
    >
      <div class="fields">
        {opening.value !== "snap" && (
          <label>
            Held speed, rpm
            <input name="speed" inputMode="decimal" autocomplete="off" pattern="[0-9 .,]*" defaultValue="1500" />
          </label>
        )}
        {asked().map((e) => (
          <label key={e.key}>
            {`${e.key}, ${e.unit()}${e.key === "HC most" ? ` ${hcAs()}` : ""}`}
            <input name={e.key} inputMode="decimal" autocomplete="off" pattern="[0-9 .,]*" defaultValue={from?.[e.key] ?? ""} />
          </label>
        ))}
        <label>
          How it took it
          <select name="felt">
            <option value="">–</option>
            {felt.map((f) => (
              <option key={f}>{f}</option>
            ))}
          </select>
        </label>
      </div>
      <button type="submit" class="main">
        Keep it in the job
      </button>
      {said.value && <p role="status">✓ {said.value}</p>}
    </form>
  );
}

export function forget() {
  said.value = "";
  filled.value = null;
}
