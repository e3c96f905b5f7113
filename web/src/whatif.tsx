// What if: jets, float level, altitude, fuel; the mixture before and after, over throttle and speed; the
// passages with what flows in them.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { ask, type MapPoint, Refused, type Trial } from "./api";
import { Busy } from "./causes";
import { work } from "./follow";
import { JobFrame } from "./frame";
import { number } from "./show";
import { shown, unitOf, units } from "./units";

// One slider: steps of what a drawer or a hand has.
interface Knob {
  name: string; // as `leanward try` calls it
  label: string;
  step: number; // SI
  most: number; // steps either way
  size?: string; // of Trial.sizes
}
const thou = 0.0254e-3;
const knobs: Knob[] = [
  { name: "main jet", label: "Main jet", step: thou, most: 10, size: "main jet" },
  { name: "secondary main jet", label: "Secondary main jet", step: thou, most: 10, size: "secondary main jet" },
  { name: "idle feed", label: "Idle feed (idle tube)", step: thou, most: 6, size: "idle feed" },
  { name: "idle bleed", label: "Idle air bleed", step: thou, most: 10, size: "idle bleed" },
  { name: "float level", label: "Fuel height in the bowl", step: 0.5e-3, most: 8 },
];
const fuels = ["gasoline", "E10", "E85"];

const steps = signal<Record<string, number>>({});
const altitude = signal<number | null>(null); // m; null: as in the job
const fuel = signal(""); // "": as in the job
const trial = signal<Trial | null>(null);
const refusal = signal("");
const asking = signal(false);
const side = signal<"changed" | "original" | "difference">("changed");
let asked = 0;

// Where the passages are drawn (throttle: share of its way from the idle stop).
const rpm = Math.PI / 30;
const points = [
  { label: "Idle", throttle: 0, speed: 700 * rpm },
  { label: "Just off idle", throttle: 0.05, speed: 1000 * rpm },
  { label: "Cruise", throttle: 0.15, speed: 2000 * rpm },
  { label: "Wide open", throttle: 1, speed: 3000 * rpm },
];
const point = signal(0);
let later = 0;

function signed(dim: "size", x: number): string {
  const unit = unitOf(dim);
  return `${x > 0 ? "+" : "−"}${Math.abs(x / unit.one).toFixed(unit.digits)} ${unit.name}`;
}

function edits(): string[] {
  const list: string[] = [];
  for (const k of knobs) {
    const n = steps.value[k.name] ?? 0;
    if (n) list.push(`${k.name}=${n > 0 ? "+" : "-"}${(Math.abs(n * k.step) * 1000).toFixed(4)} mm`);
  }
  if (altitude.value !== null) list.push(`altitude=${altitude.value.toFixed(0)} m`);
  if (fuel.value) list.push(`fuel=${fuel.value}`);
  return list;
}

async function run(job: number) {
  const mine = ++asked;
  const list = edits();
  asking.value = true;
  try {
    // a change of nothing gives the sizes and the map as they are
    const at = points[point.value]!;
    const got = await ask<Trial>("POST", `/api/jobs/${job}/try`, {
      edits: list.length ? list : ["float level=+0 mm"],
      circuit: { throttle: at.throttle, speed_rad_s: at.speed },
    });
    if (mine !== asked) return;
    trial.value = got;
    refusal.value = "";
  } catch (error) {
    if (mine !== asked) return;
    refusal.value = (error as Error).message;
    if (error instanceof Refused && error.status === 429) soon(job);
  } finally {
    if (mine === asked) asking.value = false;
  }
}

// A slider that is dragged asks when it rests.
function soon(job: number) {
  clearTimeout(later);
  later = window.setTimeout(() => void run(job), 200);
}

/* ---- sliders ---- */

function KnobView({ job, of: k, trial: t }: { job: number; of: Knob; trial: Trial | null }) {
  const n = steps.value[k.name] ?? 0;
  const size = k.size ? t?.sizes.find((s) => s.name === k.size) : undefined;
  if (k.size && t && !size) return null;
  const now = size?.original_m;
  const text = now != null ? `${shown("size", now + n * k.step)} ${unitOf("size").name}` : n ? signed("size", n * k.step) : "as it is";
  return (
    <label class="knob">
      <span>
        {k.label}: <output>{text}</output> {n !== 0 && now != null && <small class="faint">({signed("size", n * k.step)})</small>}
      </span>
      <input
        type="range"
        min={-k.most}
        max={k.most}
        step={1}
        value={n}
        aria-valuetext={text}
        onInput={(event) => {
          steps.value = { ...steps.value, [k.name]: Number(event.currentTarget.value) };
          soon(job);
        }}
      />
    </label>
  );
}

function Altitude({ job }: { job: number }) {
  const own = work.value?.weather.altitude_m ?? 0;
  const at = altitude.value ?? own;
  const text = `${shown("altitude", at)} ${unitOf("altitude").name}`;
  return (
    <label class="knob">
      <span>
        Altitude: <output>{altitude.value === null ? "as in the job" : text}</output>
      </span>
      <input
        type="range"
        min={0}
        max={3000}
        step={units.value === "shop" ? 152.4 : 100}
        value={at}
        aria-valuetext={text}
        onInput={(event) => {
          altitude.value = Number(event.currentTarget.value);
          soon(job);
        }}
      />
    </label>
  );
}

function Controls({ job }: { job: number }) {
  const reset = () => {
    steps.value = {};
    altitude.value = null;
    fuel.value = "";
    soon(job);
  };
  return (
    <section>
      <div class="knobs">
        {knobs.map((k) => (
          <KnobView key={k.name} job={job} of={k} trial={trial.value} />
        ))}
        <Altitude job={job} />
        <label class="knob">
          <span>Fuel</span>
          <select
            value={fuel.value}
            onChange={(event) => {
              fuel.value = event.currentTarget.value;
              soon(job);
            }}
          >
            <option value="">as in the job{work.value?.fuel ? `: ${work.value.fuel.name}` : ""}</option>
            {fuels.map((f) => (
              <option key={f}>{f}</option>
            ))}
          </select>
        </label>
      </div>
      <p>
        <button type="button" onClick={reset}>
          As it is
        </button>
      </p>
    </section>
  );
}

/* ---- the map ---- */

const change = (a: MapPoint, b: MapPoint) => (a.lambda && b.lambda ? 100 * (b.lambda / a.lambda - 1) : null);

// Shades say rich and lean beside the number, never alone.
function shade(lambda: number | null): string {
  if (lambda === null) return "none";
  if (lambda < 0.8) return "rich2";
  if (lambda < 0.95) return "rich1";
  if (lambda <= 1.05) return "even";
  return lambda <= 1.15 ? "lean1" : "lean2";
}

function cell(t: Trial, i: number): [string, string] {
  const a = t.original[i]!, b = t.changed[i]!;
  if (side.value === "difference") {
    const c = change(a, b);
    if (c === null) return ["–", "none"];
    const text = Math.abs(c) < 0.05 ? "0" : `${c > 0 ? "+" : "−"}${Math.abs(c).toFixed(1)}`;
    return [text, c < -5 ? "rich2" : c < -1 ? "rich1" : c <= 1 ? "even" : c <= 5 ? "lean1" : "lean2"];
  }
  const p = side.value === "original" ? a : b;
  return [number(p.afr, 1), shade(p.lambda)];
}

const titles = { original: "Before", changed: "After", difference: "Change, %" };

function MapTable({ of: t }: { of: Trial }) {
  const throttles = [...new Set(t.original.map((p) => p.throttle))];
  const speeds = [...new Set(t.original.map((p) => p.speed_rad_s))];
  return (
    <section>
      <h2>Air-fuel ratio over throttle and speed</h2>
      <div class="choice" role="group" aria-label="Which map">
        {(Object.keys(titles) as (keyof typeof titles)[]).map((key) => (
          <button key={key} type="button" aria-pressed={side.value === key} onClick={() => (side.value = key)}>
            {titles[key]}
          </button>
        ))}
      </div>
      <div class="wide" tabIndex={0} role="region" aria-label={`Air-fuel ratio: ${titles[side.value]}`}>
        <table class="map">
          <thead>
            <tr>
              <th scope="col">rpm</th>
              {throttles.map((x) => (
                <th key={x} scope="col">
                  {number((x ?? 0) * 100, 0)} %
                </th>
              ))}
            </tr>
          </thead>
          <tbody>
            {speeds.map((s, row) => (
              <tr key={s}>
                <th scope="row">{number(((s ?? 0) * 30) / Math.PI, 0)}</th>
                {throttles.map((x, column) => {
                  const [text, kind] = cell(t, row * throttles.length + column);
                  return (
                    <td key={x} class={kind}>
                      {text}
                    </td>
                  );
                })}
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      <p class="faint">Across: throttle opening. Blue is richer, amber is leaner{side.value === "difference" ? "; + leans, − richens" : ""}; –: no mixture there.</p>
    </section>
  );
}

/* ---- the passages ---- */

function Circuit({ job, of: t }: { job: number; of: Trial }) {
  const at = points[point.value]!;
  if (!t.circuit_svg) return null;
  const where = `${at.label.toLowerCase()}, ${number(at.speed / rpm, 0)} rpm, throttle ${number(at.throttle * 100, 0)} %`;
  return (
    <section>
      <h2>What flows in the passages</h2>
      <div class="choice" role="group" aria-label="Where the passages are drawn">
        {points.map((p, i) => (
          <button
            key={p.label}
            type="button"
            aria-pressed={point.value === i}
            onClick={() => {
              point.value = i;
              soon(job);
            }}
          >
            {p.label}
          </button>
        ))}
      </div>
      <div class="wide" tabIndex={0} role="region" aria-label={`Passages at ${where}`}>
        <img class="circuit" alt={`Section of the carburetor as changed, with pressures and flows: ${where}`} src={`data:image/svg+xml,${encodeURIComponent(t.circuit_svg)}`} />
      </div>
      <p class="faint">As changed, at {where}.</p>
    </section>
  );
}

function Page({ job }: { job: number }) {
  useEffect(() => void run(job), [job]);
  const t = trial.value;
  const changed = edits().length > 0;
  return (
    <>
      <p>What a change would do to this car's carburetor, before metal is cut. Nothing is saved.</p>
      <Controls job={job} />
      {asking.value && !t && <Busy what="Running the twin" />}
      {refusal.value && <p class="trouble" role="alert">{refusal.value}</p>}
      {t && (
        <>
          <section class="first" aria-live="polite">
            <h2 class="what-now">What it does</h2>
            {changed ? (
              <>
                <p class="move">{t.summary}</p>
                <ul>
                  {t.effects.map((e) => (
                    <li key={e.place}>{e.words}</li>
                  ))}
                </ul>
              </>
            ) : (
              <p>Nothing is changed yet.</p>
            )}
          </section>
          <MapTable of={t} />
          <Circuit job={job} of={t} />
        </>
      )}
    </>
  );
}

export function WhatIfPage({ job }: { job: number }) {
  useEffect(() => {
    trial.value = null;
    refusal.value = "";
    steps.value = {};
    altitude.value = null;
    fuel.value = "";
    point.value = 0;
  }, [job]);
  return (
    <JobFrame job={job} at="/what-if">
      {() => <Page job={job} />}
    </JobFrame>
  );
}
