// Off idle and devices: what is timed at the engine, and what this car's twin does beside it.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { ask, type LiveEntry } from "./api";
import { Busy } from "./causes";
import { live, listening, version, work } from "./follow";
import { JobFrame } from "./frame";
import { kept, keep } from "./kept";
import { merge } from "./outbox";
import { Legend, Plot, type PlotLine } from "./plot";
import { Mark, number } from "./show";
import { ChooseOpening, countSnaps, fill, forget, opening, SnapForm } from "./snap";
import { begun, clear, running, Timer } from "./timer";
import { shown, unitOf, units } from "./units";

interface Both {
  shop: string;
  metric: string;
}
interface Devices {
  control_valve: boolean;
  set_vacuum_pa: number | null;
  fall_time_s: number | null;
  dashpot: boolean | null;
  dashpot_time_s: number | null;
  dashpot_gap: Both | null;
  pump_duration_s: number | null;
  pump_stroke: Both | null;
}
interface OffIdle {
  devices: Devices | null;
  faults: { run: string; name: string; edit: string }[];
  no_twin: string | null;
}
interface TracePoint {
  time_s: number;
  speed_rad_s: number;
  vacuum_pa: number;
  distributor_vacuum_pa: number;
  throttle: number;
  lambda: number | null;
  hc_hexane: number;
  pumped_kg_s: number;
}
interface Watch {
  moved_s: number;
  figures: Record<string, number | boolean | null>;
  events: { time_s: number; words: string }[];
  trace: TracePoint[];
}

type Kind = "fall" | "dashpot" | "pump" | "tip-in";
const kinds: [Kind, string][] = [
  ["fall", "Vacuum fall"],
  ["dashpot", "Dashpot"],
  ["pump", "Pump shot"],
  ["tip-in", "Tip-in"],
];
const runOf = (): string => ({ fall: "snap-shut", dashpot: "snap-shut", pump: "pump-shot", "tip-in": opening.value === "snap" ? "blip" : "tip-in" })[kind.value];

const kind = signal<Kind>("fall");
const facts = signal<OffIdle | null>(null);
const sound = signal<Watch | null>(null);
const faulty = signal<Watch | null>(null);
const fault = signal(""); // the edit that is put in
const asking = signal(false);
const refusal = signal("");
const keptAnswer = signal("");
const trace = signal<{ t: number; read: Record<string, number | null> }[]>([]);
let asked = 0;

/* ---- what the card and the twin say ---- */

async function loadFacts(job: number) {
  try {
    facts.value = await ask<OffIdle>("GET", `/api/jobs/${job}/off-idle`);
  } catch (error) {
    refusal.value = (error as Error).message;
  }
}

function address(job: number, edit: string): string {
  const query = new URLSearchParams({ run: runOf() });
  if (edit) query.append("edit", edit);
  if (kind.value === "tip-in" && opening.value === "floored") query.append("to", "100 %");
  return `/api/jobs/${job}/watch?${query.toString()}`;
}

async function runTwin(job: number) {
  const mine = ++asked;
  asking.value = true;
  try {
    const a = await ask<Watch>("GET", address(job, ""));
    const b = fault.value ? await ask<Watch>("GET", address(job, fault.value)) : null;
    if (mine !== asked) return;
    sound.value = a;
    faulty.value = b;
    refusal.value = "";
  } catch (error) {
    if (mine === asked) refusal.value = (error as Error).message;
  } finally {
    if (mine === asked) asking.value = false;
  }
}

function choose(job: number, to: Kind) {
  clear();
  kind.value = to;
  fault.value = "";
  sound.value = null;
  faulty.value = null;
  trace.value = [];
  keptAnswer.value = "";
  forget();
  void runTwin(job);
}

function openOtherwise(job: number) {
  fault.value = "";
  faulty.value = null;
  forget();
  void runTwin(job);
}

/* ---- tries, kept in this browser until they are saved or thrown away ---- */

const triesName = (job: number) => `tries ${job}`;
const tries = signal<Partial<Record<Kind, number[]>>>({});

function took(job: number, which: Kind, s: number) {
  keptAnswer.value = "";
  tries.value = { ...tries.value, [which]: [...(tries.value[which] ?? []), Math.round(s * 10) / 10].slice(-8) };
  keep(triesName(job), tries.value);
}

function Tries({ job, which }: { job: number; which: Kind }) {
  const list = tries.value[which] ?? [];
  if (!list.length) return null;
  const forget = () => {
    tries.value = { ...tries.value, [which]: [] };
    keep(triesName(job), tries.value);
    clear();
  };
  return (
    <p>
      Timed here: {list.map((s) => `${s.toFixed(1)} s`).join(", ")}{" "}
      <button type="button" onClick={forget}>
        Forget these
      </button>
    </p>
  );
}

/* ---- the answer in words ---- */

const HAND = 0.2; // s between the needle and the finger; common practice, no source

function Verdict({ s, limit, within, outside }: { s: number; limit: number; within: string; outside: string }) {
  const close = Math.abs(s - limit) <= HAND;
  return (
    <p class="move" role="status">
      {close ? (
        <Mark of="too close to call">
          {s.toFixed(1)} s is too close to {number(limit, 1)} s to call by hand. Time it again.
        </Mark>
      ) : (
        <Mark of={s < limit ? "within" : "outside"}>{s < limit ? within : outside}</Mark>
      )}
    </p>
  );
}

const newest = (which: Kind) => {
  const list = tries.value[which] ?? [];
  return running.value ? null : list[list.length - 1] ?? null;
};

/* ---- vacuum fall ---- */

const fallLimit = () => facts.value?.devices?.fall_time_s ?? 3; // three seconds: common practice, no source

function keepFall(job: number, s: number) {
  void merge(`/api/jobs/${job}`, { checks: { "vacuum fall time": `${s.toFixed(1)} s` } }, `vacuum fall time of ${work.value!.job.id}: ${s.toFixed(1)} s`);
  keptAnswer.value = `${s.toFixed(1)} s is kept in the job's checks.`;
}

function Fall({ job }: { job: number }) {
  const d = facts.value?.devices, limit = fallLimit(), s = newest("fall");
  const set = d?.set_vacuum_pa ?? null;
  const check = work.value!.fitness.checks.find((c) => c.check === "advance vacuum fall");
  const goal = set === null ? "where it stands at idle" : `${shown("vacuum", set)} ${unitOf("vacuum").name}`;
  const crossed = crossing(set);
  return (
    <>
      <Timer which="fall" start="as you let go" stop={`when it is down to ${goal}`} limit={limit} limitText={d?.fall_time_s != null ? `At most ${number(limit, 1)} s: the card` : `At most ${number(limit, 0)} s: what is usual; the card gives no time`} stopped={(t) => took(job, "fall", t)} started={startTrace} />
      {s !== null && (
        <>
          <Verdict s={s} limit={limit} within={`Down in ${s.toFixed(1)} s: in time.`} outside={`Down in ${s.toFixed(1)} s: it stays up. Spark stays early and the idle stays fast; a dashpot that holds the throttle does the same. Read the timing: early, it is the valve; normal, look at the dashpot.`} />
          <KeepTime s={s} keepIt={() => keepFall(job, s)} />
        </>
      )}
      {crossed !== null && (
        <p>
          The gauge passed {goal} after {crossed.toFixed(1)} s.{" "}
          <button type="button" onClick={() => took(job, "fall", crossed)}>
            Take that time
          </button>
        </p>
      )}
      <Tries job={job} which="fall" />
      <h2>How</h2>
      <ol class="how">
        <li>Neutral, warm, gauge in the hose at the distributor.</li>
        <li>Open the throttle for a moment. Let go and start together.</li>
        <li>Stop when the needle is down to {goal}.</li>
      </ol>
      {d && !d.control_valve && <p class="faint">The card names no advance control valve; the test still tells whether the vacuum hangs.</p>}
      {check?.found && <p>In the job: {check.found}, <Mark of={check.answer} /></p>}
    </>
  );
}

function KeepTime({ s, keepIt }: { s: number; keepIt: () => void }) {
  return (
    <p>
      <button type="button" class="main" onClick={keepIt}>
        Keep {s.toFixed(1)} s in the job
      </button>{" "}
      {keptAnswer.value && <span role="status">✓ {keptAnswer.value}</span>}
    </p>
  );
}

/* ---- dashpot ---- */

function keepClear(job: number, answer: "yes" | "no") {
  void merge(`/api/jobs/${job}`, { checks: { "dashpot clear": answer } }, `dashpot of ${work.value!.job.id}: ${answer === "yes" ? "clear" : "holds the throttle"}`);
  keptAnswer.value = answer === "yes" ? "Clear of the throttle: kept." : "It holds the throttle: kept.";
}

function Dashpot({ job }: { job: number }) {
  const d = facts.value?.devices, s = newest("dashpot");
  const limit = d?.dashpot_time_s ?? null;
  const gap = d?.dashpot_gap?.[units.value];
  return (
    <>
      {d?.dashpot === false && <p class="trouble" role="status">The card says there is no dashpot on this unit.</p>}
      <Timer which="dashpot" start="as you let go" stop="when the lever rests" limit={limit} limitText={limit !== null ? `${number(limit, 1)} s: the card` : "The card gives no time; about two seconds is usual"} stopped={(t) => took(job, "dashpot", t)} started={startTrace} />
      {s !== null && (
        <p class="move">
          {limit === null ? `${s.toFixed(1)} s. ` : `${s.toFixed(1)} s; the card has ${number(limit, 1)} s. `}
          {s > 1.5 * (limit ?? 2) ? "Slow: it sticks, or is set too far out." : s < 0.5 * (limit ?? 2) ? "Quick: it hardly holds; look for a leaking diaphragm or a wrong gap." : "As is usual."}
        </p>
      )}
      {gap && <p>Gap, plunger in and throttle shut: {gap}</p>}
      <Tries job={job} which="dashpot" />
      <h2>How</h2>
      <ol class="how">
        <li>Neutral, warm. Open the throttle past the dashpot, about 2,500 rpm.</li>
        <li>Let go and start together.</li>
        <li>Stop when the lever rests on the speed screw.</li>
      </ol>
      <p class="faint">The time itself is not kept in the job: a job has no key for it. Whether it then is clear of the throttle is.</p>
      <p>Does the throttle now rest on the speed screw alone?</p>
      <p class="takeaway">
        <button type="button" onClick={() => keepClear(job, "yes")}>
          Yes, it is clear
        </button>
        <button type="button" onClick={() => keepClear(job, "no")}>
          No, it still holds
        </button>{" "}
        {keptAnswer.value && <span role="status">✓ {keptAnswer.value}</span>}
      </p>
    </>
  );
}

/* ---- pump shot ---- */

function keepShot(job: number, how: string) {
  void merge(`/api/jobs/${job}`, { checks: { "pump shot": how } }, `pump shot of ${work.value!.job.id}: ${how}`);
  keptAnswer.value = `Pump shot ${how}: kept.`;
}

function Pump({ job }: { job: number }) {
  const d = facts.value?.devices, s = newest("pump");
  const limit = d?.pump_duration_s ?? null;
  const twin = sound.value?.figures.pump_time_s;
  return (
    <>
      <p class="trouble">Fuel vapor: engine standing, nothing hot, no flame, no face over the air horn.</p>
      <Timer which="pump" start="as you open it" stop="when the stream ends" limit={limit} limitText={limit !== null ? `${number(limit, 1)} s: the card` : "The card gives no time"} stopped={(t) => took(job, "pump", t)} />
      {s !== null && (
        <p class="move">
          {s.toFixed(1)} s{limit !== null ? `; the card has ${number(limit, 1)} s` : typeof twin === "number" ? `; on this car's twin nine tenths are in after ${number(twin, 1)} s` : ""}.
        </p>
      )}
      {d?.pump_stroke && <p>Stroke: {d.pump_stroke[units.value]}</p>}
      <Tries job={job} which="pump" />
      <h2>How</h2>
      <ol class="how">
        <li>Engine standing, air cleaner off, choke open.</li>
        <li>Open the throttle at once, all the way, and start together.</li>
        <li>Stop when the stream ends. It must begin at once, from every nozzle.</li>
      </ol>
      <p class="faint">The time is not kept in the job: a job has no key for it. How the shot looked is:</p>
      <p class="takeaway">
        {["strong", "weak", "none"].map((how) => (
          <button key={how} type="button" onClick={() => keepShot(job, how)}>
            {how === "none" ? "None" : how === "weak" ? "Weak" : "Strong"}
          </button>
        ))}{" "}
        {keptAnswer.value && <span role="status">✓ {keptAnswer.value}</span>}
      </p>
    </>
  );
}

/* ---- tip-in ---- */

function TipIn({ job }: { job: number }) {
  const read = trace.value;
  return (
    <>
      <ChooseOpening changed={() => openOtherwise(job)} />
      {listening.value && (
        <Timer which="tip-in" start="just before you open it" stop="when the displays have come back" limit={null} limitText="What the instruments read is drawn below" stopped={() => undefined} started={startTrace} />
      )}
      {listening.value && !running.value && read.length > 1 && (
        <p>
          <button type="button" onClick={() => fill(read.map((p) => p.read))}>
            Fill in what was read
          </button>
        </p>
      )}
      <h2>What the displays came to</h2>
      <SnapForm job={job} />
      <h2>How</h2>
      <ol class="how">
        {opening.value === "snap" ? (
          <li>Neutral, warm, idling: floored for a moment, and let go.</li>
        ) : (
          <>
            <li>Only on a chassis dynamometer, or with a second person who drives.</li>
            <li>Hold the speed in a high gear at light throttle, then open it at once.</li>
          </>
        )}
        <li>An analyzer lags by ten seconds or so: wait for its most and its least.</li>
      </ol>
      {!listening.value && <p class="faint">With an instrument (leanward serve --listen) they are caught by themselves.</p>}
    </>
  );
}

/* ---- what the instruments read during it ---- */

function startTrace() {
  trace.value = [];
  keptAnswer.value = "";
}

function follow(entry: LiveEntry | null) {
  if (!running.value || !entry || entry.kind !== "reading") return;
  const t = (performance.now() - begun.value) / 1000;
  const read = Object.fromEntries(Object.entries(entry.items).map(([name, item]) => [name, item?.x ?? null]));
  trace.value = [...trace.value, { t, read }].slice(-2000);
}

// When the gauge came down to what is set, counted from the start; null: it did not, or nothing is set.
function crossing(set: number | null): number | null {
  if (set === null || running.value) return null;
  const list = trace.value.flatMap((p) => (p.read.vacuum == null ? [] : [{ t: p.t, x: p.read.vacuum }]));
  const i = list.findIndex((p, k) => k > 0 && p.x <= set && list[k - 1]!.x > set);
  if (i < 1) return null;
  const a = list[i - 1]!, b = list[i]!;
  return a.t + ((a.x - set) / (a.x - b.x)) * (b.t - a.t);
}

function LiveTrace() {
  const list = trace.value;
  if (list.length < 2) return null;
  const unit = unitOf("vacuum"), set = facts.value?.devices?.set_vacuum_pa ?? null;
  const line = (item: string, by: (x: number) => number): PlotLine[] => {
    const points = list.flatMap((p) => (p.read[item] == null ? [] : [[p.t, by(p.read[item]!)] as [number, number]]));
    return points.length > 1 ? [{ name: "read", points }] : [];
  };
  const to = Math.max(list[list.length - 1]!.t, 1);
  return (
    <section>
      <h2>What the instruments read</h2>
      <div class="charts">
        <Plot of={{ title: "Speed", unit: "rpm", digits: 0, from: 0, to, lines: line("speed", (x) => (x * 30) / Math.PI) }} />
        <Plot of={{ title: "Vacuum", unit: unit.name, digits: unit.digits, from: 0, to, limit: set === null || kind.value !== "fall" ? undefined : { y: set / unit.one, text: "set" }, lines: line("vacuum", (x) => x / unit.one) }} />
        {kind.value === "tip-in" && <Plot of={{ title: "CO", unit: "%", digits: 2, from: 0, to, lines: line("CO", (x) => x * 100) }} />}
      </div>
    </section>
  );
}

/* ---- the twin ---- */

type Of = (p: TracePoint) => number | null;

// The trace is thin before the move: what stood there stands until it, and does not lean towards it.
function steps(w: Watch, of: Of): [number, number][] {
  const points = w.trace.flatMap((p) => (of(p) === null ? [] : [[p.time_s - w.moved_s, of(p)!] as [number, number]]));
  const i = points.findIndex((p) => p[0] > -1e-6);
  if (i < 1) return points;
  return [...points.slice(0, i), [-1e-6, points[i - 1]![1]], ...points.slice(i)];
}
interface Drawn {
  title: string;
  unit: string;
  digits: number;
  of: Of;
}

function drawn(): Drawn[] {
  const v = unitOf("vacuum");
  const all: Record<string, Drawn> = {
    lambda: { title: "Lambda in the cylinders", unit: "1 is just enough air", digits: 2, of: (p) => (p.lambda === null || p.lambda > 2 ? null : p.lambda) },
    speed: { title: "Speed", unit: "rpm", digits: 0, of: (p) => (p.speed_rad_s * 30) / Math.PI },
    vacuum: { title: "Manifold vacuum", unit: v.name, digits: v.digits, of: (p) => p.vacuum_pa / v.one },
    distributor: { title: "Vacuum at the distributor", unit: v.name, digits: v.digits, of: (p) => p.distributor_vacuum_pa / v.one },
    throttle: { title: "Throttle", unit: "% open", digits: 0, of: (p) => p.throttle * 100 },
    pump: { title: "From the pump", unit: "g/s", digits: 1, of: (p) => p.pumped_kg_s * 1e3 },
    hc: { title: "HC at the port", unit: "ppm hexane", digits: 0, of: (p) => p.hc_hexane * 1e6 },
  };
  const which: Record<Kind, string[]> = { fall: ["distributor", "speed", "vacuum"], dashpot: ["speed", "throttle", "hc"], pump: ["pump", "throttle"], "tip-in": ["lambda", "vacuum", "pump"] };
  return which[kind.value].map((name) => all[name]!);
}

const span: Record<Kind, [number, number]> = { fall: [-0.5, 8], dashpot: [-0.5, 10], pump: [-0.2, 2.5], "tip-in": [-0.5, 4] };

const figures: Record<Kind, [string, string, (x: number) => string][]> = {
  fall: [
    ["distributor_fall_s", "vacuum at the distributor down after", (x) => `${x.toFixed(1)} s`],
    ["fall_time_s", "back at idle speed after", (x) => `${x.toFixed(1)} s`],
  ],
  dashpot: [
    ["fall_time_s", "back at idle speed after", (x) => `${x.toFixed(1)} s`],
    ["vacuum_most_pa", "vacuum most", (x) => `${shown("vacuum", x)} ${unitOf("vacuum").name}`],
    ["hc_most", "HC most", (x) => `${(Math.round(x * 1e5) * 10).toFixed(0)} ppm`],
  ],
  pump: [
    ["pump_mass_kg", "pump delivers", (x) => `${(x * 1e3).toFixed(2)} g`],
    ["pump_time_s", "nine tenths of it in", (x) => `${x.toFixed(1)} s`],
  ],
  "tip-in": [
    ["leanest", "leanest lambda", (x) => x.toFixed(2)],
    ["lean_time_s", "flat spot: leaner by 0.05 for", (x) => `${x.toFixed(2)} s`],
    ["vacuum_least_pa", "vacuum least", (x) => `${shown("vacuum", x)} ${unitOf("vacuum").name}`],
  ],
};

function Figures({ name }: { name: string }) {
  const a = sound.value!, b = faulty.value;
  const cell = (w: Watch, key: string, text: (x: number) => string) => {
    const x = w.figures[key];
    return typeof x === "number" ? text(x) : "never";
  };
  return (
    <div class="wide" tabIndex={0} role="region" aria-label="Key figures">
      <table class="narrow figures">
        <thead>
          <tr>
            <th scope="col">on the twin</th>
            <th scope="col">sound</th>
            {b && <th scope="col">{name}</th>}
          </tr>
        </thead>
        <tbody>
          {figures[kind.value].map(([key, label, text]) => (
            <tr key={key}>
              <th scope="row">{label}</th>
              <td>{cell(a, key, text)}</td>
              {b && <td>{cell(b, key, text)}</td>}
            </tr>
          ))}
          {(a.figures.stalled || b?.figures.stalled) && (
            <tr>
              <th scope="row">stalls</th>
              <td>{a.figures.stalled ? "yes" : "no"}</td>
              {b && <td>{b.figures.stalled ? "yes" : "no"}</td>}
            </tr>
          )}
        </tbody>
      </table>
    </div>
  );
}

function TwinPlots({ job }: { job: number }) {
  const list = facts.value?.faults.filter((f) => f.run === runOf()) ?? [];
  const name = list.find((f) => f.edit === fault.value)?.name ?? "changed";
  const [from, to] = span[kind.value];
  const a = sound.value, b = faulty.value;
  const line = (w: Watch, of: Of, title: string, changed: boolean): PlotLine => ({
    name: title,
    changed,
    points: steps(w, of),
  });
  if (facts.value?.no_twin) return <p>{facts.value.no_twin}</p>;
  return (
    <section>
      <h2>This car's twin</h2>
      <div class="beside">
        <label>
          Beside the sound car
          <select
            value={fault.value}
            onChange={(event) => {
              fault.value = event.currentTarget.value;
              void runTwin(job);
            }}
          >
            <option value="">nothing</option>
            {list.map((f) => (
              <option key={f.edit} value={f.edit}>
                {f.name}
              </option>
            ))}
          </select>
        </label>
      </div>
      {asking.value && !a && <Busy what="Running the twin" />}
      {a && (
        <>
          {b && <Legend of={[{ name: "sound" }, { name, changed: true }]} />}
          <div class="charts">
            {drawn().map((d) => (
              <Plot key={d.title} of={{ title: d.title, unit: d.unit, digits: d.digits, from, to, limit: d.title.includes("distributor") && facts.value?.devices?.set_vacuum_pa != null ? { y: facts.value.devices.set_vacuum_pa / unitOf("vacuum").one, text: "set" } : undefined, mark: kind.value === "fall" && d.title.includes("distributor") ? { x: fallLimit(), text: `${number(fallLimit(), 0)} s` } : undefined, lines: [line(a, d.of, "sound", false), ...(b ? [line(b, d.of, name, true)] : [])] }} />
            ))}
          </div>
          <Figures name={name} />
          <p class="faint">Computed, not measured: read differences between two lines as surer than the height of either.</p>
        </>
      )}
    </section>
  );
}

/* ---- the page ---- */

// Who touched a button goes on with the space bar: it is the timer's again.
function backToTimer(event: MouseEvent) {
  const touched = event.detail > 0 && (event.target as Element).closest("button:not(.timer-button)");
  if (touched) setTimeout(() => document.querySelector<HTMLElement>(".timer-button")?.focus({ preventScroll: true }), 0);
}

function Page({ job }: { job: number }) {
  const entry = live.value;
  useEffect(() => follow(entry), [entry]);
  const seen = version.value;
  useEffect(() => void countSnaps(job), [job, seen]);
  return (
    <div onClick={backToTimer}>
      <div class="choice" role="group" aria-label="What is timed">
        {kinds.map(([key, label]) => (
          <button key={key} type="button" aria-pressed={kind.value === key} onClick={() => choose(job, key)}>
            {label}
          </button>
        ))}
      </div>
      {refusal.value && <p class="trouble" role="alert">{refusal.value}</p>}
      <section class="first">
        {kind.value === "fall" && <Fall job={job} />}
        {kind.value === "dashpot" && <Dashpot job={job} />}
        {kind.value === "pump" && <Pump job={job} />}
        {kind.value === "tip-in" && <TipIn job={job} />}
      </section>
      <LiveTrace />
      <TwinPlots job={job} />
      <section>
        <h2>Where it can hurt</h2>
        <p>Wheels chocked, brake on, nobody in front of the car, exhaust led outdoors. Hands and hoses clear of fan and belts.</p>
      </section>
    </div>
  );
}

export function OffIdlePage({ job }: { job: number }) {
  useEffect(() => {
    facts.value = null;
    refusal.value = "";
    tries.value = kept(triesName(job), {});
    void loadFacts(job);
    choose(job, "fall");
    return clear;
  }, [job]);
  return (
    <JobFrame job={job} at="/off-idle">
      {() => <Page job={job} />}
    </JobFrame>
  );
}
