// Lines over time, as the needles would draw them: axes with units, drawn as SVG, read at 360 px.

export interface PlotLine {
  name: string;
  points: [number, number][]; // s, value as shown
  changed?: boolean; // the second of two: dashed
}

export interface PlotOf {
  title: string;
  unit: string;
  digits: number;
  lines: PlotLine[];
  from: number; // s
  to: number;
  limit?: { y: number; text: string };
  mark?: { x: number; text: string };
}

const W = 340, H = 210, LEFT = 46, RIGHT = 10, TOP = 26, BOTTOM = 34;

// Steps of 1, 2 or 5 that give about so many.
function ticks(low: number, high: number, about: number): number[] {
  const rough = (high - low) / about || 1;
  const ten = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((m) => m * ten).find((s) => s >= rough) ?? 10 * ten;
  const list: number[] = [];
  const count = Math.floor((high - Math.ceil(low / step) * step) / step + 1e-9);
  for (let i = 0; i <= count; i++) list.push(Math.ceil(low / step) * step + i * step);
  return list;
}

const digitsOf = (list: number[]) => {
  const step = list.length > 1 ? list[1]! - list[0]! : 1;
  return Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
};

// As many points as can be told apart, first and last of each place, so that no peak is lost.
function thinned(points: [number, number][], places: number): [number, number][] {
  if (points.length <= 2 * places) return points;
  const out: [number, number][] = [];
  const each = points.length / places;
  for (let i = 0; i < places; i++) {
    const part = points.slice(Math.floor(i * each), Math.floor((i + 1) * each));
    const low = part.reduce((a, b) => (b[1] < a[1] ? b : a)), high = part.reduce((a, b) => (b[1] > a[1] ? b : a));
    out.push(...(low[0] < high[0] ? [low, high] : low[0] > high[0] ? [high, low] : [low]));
  }
  return out;
}

function said(of: PlotOf): string {
  const ends = of.lines.map((l) => {
    const ys = l.points.map((p) => p[1]);
    return ys.length ? `${l.name} from ${ys[0]!.toFixed(of.digits)} to ${ys[ys.length - 1]!.toFixed(of.digits)}, between ${Math.min(...ys).toFixed(of.digits)} and ${Math.max(...ys).toFixed(of.digits)}` : `${l.name}: nothing`;
  });
  return `${of.title}, ${of.unit}, over ${(of.to - of.from).toFixed(1)} s: ${ends.join("; ")}`;
}

export function Plot({ of }: { of: PlotOf }) {
  const lines = of.lines.map((l) => ({ ...l, points: l.points.filter((p) => p[0] >= of.from && p[0] <= of.to) }));
  const all = lines.flatMap((l) => l.points.map((p) => p[1])).concat(of.limit ? [of.limit.y] : []);
  if (!all.length) return null;
  const low = Math.min(...all), high = Math.max(...all);
  const room = Math.max((high - low) * 0.08, 10 ** -of.digits);
  const bottom = low >= 0 && low - room < 0 ? 0 : low - room, top = high + room;
  const x = (t: number) => LEFT + ((t - of.from) / (of.to - of.from || 1)) * (W - LEFT - RIGHT);
  const y = (v: number) => TOP + ((top - v) / (top - bottom)) * (H - TOP - BOTTOM);
  const across = ticks(of.from, of.to, 5), up = ticks(bottom, top, 4);
  const path = (points: [number, number][]) => thinned(points, 150).map((p) => `${x(p[0]).toFixed(1)},${y(p[1]).toFixed(1)}`).join(" ");
  return (
    <svg class="chart plot" viewBox={`0 0 ${W} ${H}`} role="img" aria-label={said({ ...of, lines })}>
      <text x={LEFT} y={15}>{`${of.title}, ${of.unit}`}</text>
      {up.map((v) => (
        <g key={v}>
          <path class="grid" d={`M${LEFT} ${y(v).toFixed(1)}H${W - RIGHT}`} />
          <text class="faint" x={LEFT - 5} y={y(v) + 4} text-anchor="end">{v.toFixed(digitsOf(up))}</text>
        </g>
      ))}
      {across.map((t) => (
        <g key={t}>
          <path class="grid" d={`M${x(t).toFixed(1)} ${TOP}V${H - BOTTOM}`} />
          <text class="faint" x={x(t)} y={H - BOTTOM + 15} text-anchor="middle">{t.toFixed(digitsOf(across))}</text>
        </g>
      ))}
      <text class="faint" x={W - RIGHT} y={H - 4} text-anchor="end">seconds from the move</text>
      {of.limit && (
        <g>
          <path class="limit" d={`M${LEFT} ${y(of.limit.y).toFixed(1)}H${W - RIGHT}`} />
          <text x={W - RIGHT - 3} y={y(of.limit.y) - 4} text-anchor="end">{of.limit.text}</text>
        </g>
      )}
      {of.mark && of.mark.x > of.from && of.mark.x < of.to && (
        <g>
          <path class="limit" d={`M${x(of.mark.x).toFixed(1)} ${TOP}V${H - BOTTOM}`} />
          <text x={x(of.mark.x) + 4} y={TOP + 11}>{of.mark.text}</text>
        </g>
      )}
      {lines.map((l) => (
        <polyline key={l.name} class={l.changed ? "line changed" : "line"} points={path(l.points)} />
      ))}
    </svg>
  );
}

// Which line is which, once for several plots.
export function Legend({ of }: { of: { name: string; changed?: boolean }[] }) {
  return (
    <p class="legend">
      {of.map((l) => (
        <span key={l.name}>
          <svg viewBox="0 0 40 10" aria-hidden="true">
            <path class={l.changed ? "line changed" : "line"} d="M1 5H39" />
          </svg>
          {l.name}
        </span>
      ))}
    </p>
  );
}
