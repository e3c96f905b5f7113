// What the moves have done so far: one small chart for CO and one for speed, with the band aimed at.
import type { Guidance, Reading } from "./api";
import { percent, rpm } from "./show";
import { turnsText } from "./turn";

interface Line {
  name: string;
  unit: string;
  values: (number | null)[];
  lo: number | null;
  hi: number | null;
  text: (x: number) => string;
}

const W = 320, H = 130, LEFT = 8, RIGHT = 8, TOP = 22, BOTTOM = 18;

function Chart({ of: l }: { of: Line }) {
  const all = [...l.values, l.lo, l.hi].filter((x): x is number => x !== null);
  if (!l.values.some((x) => x !== null)) return null;
  const low = Math.min(...all), high = Math.max(...all);
  const room = (high - low || Math.abs(high) || 1) * 0.12;
  const y = (v: number) => TOP + ((high + room - v) / (high - low + 2 * room)) * (H - TOP - BOTTOM);
  const step = (W - LEFT - RIGHT - 40) / Math.max(1, l.values.length - 1);
  const x = (i: number) => LEFT + 20 + i * step;
  const points = l.values.map((v, i) => (v === null ? null : `${x(i).toFixed(1)},${y(v).toFixed(1)}`)).filter(Boolean);
  const first = l.values.find((v) => v !== null)!, last = [...l.values].reverse().find((v) => v !== null)!;
  return (
    <svg class="chart" viewBox={`0 0 ${W} ${H}`} role="img" aria-label={`${l.name} from ${l.text(first)} to ${l.text(last)} ${l.unit}`}>
      <text x={LEFT} y={13}>{`${l.name}, ${l.unit}`}</text>
      {l.lo !== null && l.hi !== null && (
        <>
          <rect class="band" x={LEFT} width={W - LEFT - RIGHT} y={y(l.hi)} height={Math.max(2, y(l.lo) - y(l.hi))} />
          <text class="faint" x={W - RIGHT} y={13} text-anchor="end">{`aim ${l.text(l.lo)} to ${l.text(l.hi)}`}</text>
        </>
      )}
      <polyline points={points.join(" ")} fill="none" stroke="currentColor" stroke-width="2" />
      {l.values.map((v, i) => {
        if (v === null) return null;
        const below = y(v) < TOP + 14;
        return (
          <g key={i}>
            <circle cx={x(i)} cy={y(v)} r="4" fill="currentColor" />
            {(i === 0 || i === l.values.length - 1) && (
              <text x={x(i)} y={y(v) + (below ? 18 : -8)} text-anchor="middle">{l.text(v)}</text>
            )}
          </g>
        );
      })}
      <text class="faint" x={LEFT} y={H - 3}>first</text>
      <text class="faint" x={W - RIGHT} y={H - 3} text-anchor="end">newest</text>
    </svg>
  );
}

// "air bleed 1/2 turn clockwise" between two readings; "" when nothing was counted.
function moved(before: Reading | undefined, now: Reading): string {
  if (!before) return "";
  const words = now.screws.map((s) => {
    const was = before.screws.find((b) => b.screw === s.screw)?.turns_out ?? null;
    if (was === null || s.turns_out === null || was === s.turns_out) return "";
    return `${s.screw} ${turnsText(s.turns_out - was)} ${s.turns_out > was ? "outward" : "inward"}`;
  });
  return words.filter(Boolean).join(", ");
}

export function History({ readings, wanted }: { readings: Reading[]; wanted: Guidance["wanted"] | null }) {
  const idles = readings.filter((r) => r.condition === "idle");
  if (!idles.length) return null;
  const toRpm = (v: number | null | undefined) => (v === null || v === undefined ? null : (v * 30) / Math.PI);
  const speed = toRpm(wanted?.speed_rad_s), within = toRpm(wanted?.speed_within_rad_s);
  const span = speed !== null && within !== null;
  return (
    <section>
      <h2>Moves so far</h2>
      <div class="charts">
        <Chart of={{ name: "CO", unit: "%", values: idles.map((r) => (r.read.co_fraction === null ? null : r.read.co_fraction * 100)), lo: wanted?.co_least != null ? wanted.co_least * 100 : null, hi: wanted?.co_most != null ? wanted.co_most * 100 : null, text: (v) => v.toFixed(2) }} />
        <Chart of={{ name: "Speed", unit: "rpm", values: idles.map((r) => toRpm(r.speed_rad_per_s)), lo: span ? speed - within : null, hi: span ? speed + within : null, text: (v) => v.toFixed(0) }} />
      </div>
      <div class="wide" tabIndex={0} role="region" aria-label="Moves so far">
        <table>
          <thead>
            <tr>
              <th scope="col">turned before it</th>
              <th scope="col">CO %</th>
              <th scope="col">rpm</th>
            </tr>
          </thead>
          <tbody>
            {idles.map((r, i) => (
              <tr key={i}>
                <th scope="row">{moved(idles[i - 1], r) || (i ? "no turn counted" : r.stage ?? "first")}</th>
                <td>{percent(r.read.co_fraction)}</td>
                <td>{rpm(r.speed_rad_per_s)}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}
