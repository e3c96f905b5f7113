// One screw, one direction: a turning arrow as seen from the screwdriver's handle.
import type { Move } from "./api";

// 1.375 in 16ths to "1 3/8".
function inParts(x: number, grain: number): string {
  const all = Math.round(Math.abs(x) * grain);
  let part = all % grain, of = grain;
  while (part && part % 2 === 0) {
    part /= 2;
    of /= 2;
  }
  return [Math.floor(all / grain) || "", part ? `${part}/${of}` : ""].filter(Boolean).join(" ") || "0";
}

// Small turns to a 32nd, others to a 16th, as near as a hand comes.
export function turnsText(x: number): string {
  return `${inParts(x, Math.abs(x) < 0.1 ? 32 : 16)} ${Math.abs(x) > 1.03 ? "turns" : "turn"}`;
}

// Where a screw stands.
export const placeText = (x: number) => inParts(x, 32);

const point = (degrees: number, r: number) => {
  const a = (degrees * Math.PI) / 180;
  return `${(50 + r * Math.sin(a)).toFixed(1)} ${(50 - r * Math.cos(a)).toFixed(1)}`;
};

// Drawn clockwise and mirrored for the other way. The sweep grows with the turn, up to nearly all round.
export function TurnArrow({ turns }: { turns: number }) {
  const sweep = Math.min(320, Math.max(50, Math.abs(turns) * 360));
  const large = sweep > 180 ? 1 : 0;
  const side = `translate(${turns < 0 ? 4 : 104} 0) scale(${turns < 0 ? 1 : -1} 1)`;
  return (
    <svg class="turn" viewBox="0 0 108 100" aria-hidden="true">
      <circle cx="54" cy="50" r="20" fill="none" stroke="currentColor" stroke-width="3" />
      <path d="M40 50H68" stroke="currentColor" stroke-width="7" />
      <g transform={side}>
        <path d={`M${point(0, 38)}A38 38 0 ${large} 1 ${point(sweep, 38)}`} fill="none" stroke="currentColor" stroke-width="8" />
        <path d="M-15 -2 L15 -2 L0 16 Z" fill="currentColor" transform={`translate(${point(sweep, 38)}) rotate(${sweep - 90})`} />
      </g>
    </svg>
  );
}

function inOrOut(m: Move): string {
  if (m.from === null || m.to === null || m.from === m.to) return "";
  return m.to > m.from ? "outward" : "inward";
}

export function MoveCard({ of: m }: { of: Move }) {
  const turns = m.turns_counter_clockwise ?? 0;
  if (turnsText(turns) === "0 turn") return <li>{m.words}</li>;
  const way = turns < 0 ? "clockwise" : "counter-clockwise";
  const places = m.from !== null && m.to !== null ? `from ${placeText(m.from)} to ${placeText(m.to)} turns out` : "";
  return (
    <li class="move-card">
      <TurnArrow turns={turns} />
      <div>
        <p class="screw">{/screw/.test(m.screw) ? m.screw : `${m.screw} screw`}</p>
        <p class="amount">{turnsText(turns)}</p>
        <p class="way">
          {way}
          {inOrOut(m) && `, ${inOrOut(m)}`}
        </p>
        {m.and_back && <p>Go 1/8 turn further, then come back by it: finish lean.</p>}
        {places && <p class="faint">{places}</p>}
      </div>
    </li>
  );
}
