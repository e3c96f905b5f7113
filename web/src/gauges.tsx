// The big numbers: what is read now, the band or limit it is held to, and whether it has settled.
import type { Guidance, Judgement, LiveEntry, Reading } from "./api";
import { Hourglass } from "./show";

export interface Gauge {
  name: string;
  unit: string;
  value: number | null;
  digits: number;
  lo: number | null; // band aimed at
  hi: number | null;
  limit: number | null; // must not be passed
  state: string; // "settled", "wait 8 s", "typed"
}

function standing(g: Gauge): [string, string, string] {
  const v = g.value;
  if (v === null) return ["?", "open", "not read"];
  if (g.limit !== null && v > g.limit) return ["✕", "bad", "over the limit"];
  if (g.hi !== null && v > g.hi) return ["▲", "doubt", "above"];
  if (g.lo !== null && v < g.lo) return ["▼", "doubt", "below"];
  return g.lo === null && g.limit === null ? ["·", "open", "no limit given"] : ["✓", "good", "inside"];
}

function heldTo(g: Gauge): string {
  const parts: string[] = [];
  if (g.lo !== null && g.hi !== null) parts.push(`aim ${g.lo.toFixed(g.digits)} to ${g.hi.toFixed(g.digits)}`);
  if (g.limit !== null) parts.push(`limit ${g.limit.toFixed(g.digits)}`);
  return parts.join(", ");
}

function GaugeView({ of: g }: { of: Gauge }) {
  const [sign, kind, word] = standing(g);
  const calm = g.state === "settled" || g.state === "typed";
  return (
    <div class={`gauge ${kind}`}>
      <p class="gauge-name">
        {g.name} <small>{g.unit}</small>
      </p>
      <p class="gauge-value">{g.value === null ? "–" : g.value.toFixed(g.digits)}</p>
      <p class={`mark ${kind}`}>
        <span aria-hidden="true">{sign}</span> {word}
      </p>
      <p class="faint">{heldTo(g)}</p>
      {g.value !== null && (
        <p class={calm ? "settled" : "unsettled"}>
          {calm ? <span aria-hidden="true">■</span> : <Hourglass />} {g.state || "not known to rest"}
        </p>
      )}
    </div>
  );
}

export function Gauges({ of }: { of: Gauge[] }) {
  return <div class="gauges">{of.map((g) => <GaugeView key={g.name} of={g} />)}</div>;
}

const toRpm = (x: number) => (x * 30) / Math.PI;
const scaled = (x: number | null | undefined, by: (x: number) => number) => (x === null || x === undefined ? null : by(x));

interface Seen {
  value: number | null;
  state: string;
}
function seen(live: LiveEntry | null, name: string, typed: number | null, resting: boolean | null): Seen {
  const item = live?.items[name];
  if (!item) return { value: typed, state: resting === false ? "had not settled" : "typed" };
  const wait = item.wait_s !== null && item.wait_s > 0.5 ? `wait ${Math.ceil(item.wait_s)} s` : "wait";
  return { value: item.x, state: item.state === "wait" ? wait : item.state };
}

export function idleGauges(live: LiveEntry | null, newest: Reading | undefined, wanted: Guidance["wanted"] | null, judged: Judgement[]): Gauge[] {
  // without a guide the limits that the job is held to stay
  const most = (gas: string) => judged.find((j) => j.gas === gas && j.condition === "idle")?.limit_fraction?.hi ?? null;
  const rest = newest?.settled ?? null;
  const speed = seen(live, "speed", newest?.speed_rad_per_s ?? null, rest);
  const co = seen(live, "CO", newest?.read.co_fraction ?? null, rest);
  const hc = seen(live, "HC", newest?.read.hc_fraction ?? null, rest);
  const at = wanted?.speed_rad_s, by = wanted?.speed_within_rad_s;
  const span = at != null && by != null;
  // a limit as hexane says nothing of a reading as propane
  const basis = (live?.items.HC ? live.hc_as : newest?.hc_as) ?? "hexane";
  const asPercent = (x: number) => x * 100, asPpm = (x: number) => x * 1e6;
  return [
    { name: "Speed", unit: "rpm", value: scaled(speed.value, toRpm), digits: 0, lo: span ? toRpm(at - by) : null, hi: span ? toRpm(at + by) : null, limit: null, state: speed.state },
    { name: "CO", unit: "%", value: scaled(co.value, asPercent), digits: 2, lo: scaled(wanted?.co_least, asPercent), hi: scaled(wanted?.co_most, asPercent), limit: scaled(wanted?.co_limit ?? most("CO"), asPercent), state: co.state },
    { name: "HC", unit: `ppm ${basis}`, value: scaled(hc.value, asPpm), digits: 0, lo: null, hi: null, limit: basis === "hexane" ? scaled(wanted?.hc_limit_hexane ?? most("HC"), asPpm) : null, state: hc.state },
  ];
}
