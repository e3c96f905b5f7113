// Small pieces and numbers as people read them.
import type { ComponentChildren } from "preact";
import type { Card } from "./api";
import { own } from "./units";

export function number(x: number | null | undefined, digits: number): string {
  return x === null || x === undefined ? "–" : x.toFixed(digits);
}

export const rpm = (x: number | null) => number(x === null ? null : (x * 30) / Math.PI, 0);
export const percent = (x: number | null | undefined, digits = 2) =>
  number(x === null || x === undefined ? null : x * 100, digits);
export const ppm = (x: number | null | undefined) => number(x === null || x === undefined ? null : x * 1e6, 0);

// A verdict is a word and a sign, never a color alone.
const signs: Record<string, [string, string]> = {
  within: ["✓", "good"],
  outside: ["✕", "bad"],
  too_close_to_call: ["≈", "doubt"],
  "too close to call": ["≈", "doubt"],
  fit: ["✓", "good"],
  not_fit: ["✕", "bad"],
  belongs: ["✓", "good"],
  belongs_not: ["✕", "bad"],
};

export function Mark({ of, children }: { of: string | null; children?: ComponentChildren }) {
  const [sign, kind] = signs[of ?? ""] ?? ["?", "open"];
  return (
    <span class={`mark ${kind}`}>
      <span aria-hidden="true">{sign}</span> {children ?? (of ?? "no verdict").replaceAll("_", " ")}
    </span>
  );
}

export function List({ of, title }: { of: string[]; title: string }) {
  if (!of.length) return null;
  return (
    <section>
      <h2>{title}</h2>
      <ul>
        {of.map((text) => (
          <li key={text}>{own(text)}</li>
        ))}
      </ul>
    </section>
  );
}

// A sign that every font has: wait.
export function Hourglass() {
  return (
    <svg class="hourglass" viewBox="0 0 16 16" aria-hidden="true">
      <path d="M3 1H13M3 15H13M4 1C4 6 12 10 12 15M12 1C12 6 4 10 4 15" fill="none" stroke="currentColor" stroke-width="2" />
    </svg>
  );
}

// Spec cards to choose from.
export function CardOptions({ of: cards }: { of: Card[] }) {
  return (
    <>
      {cards.map((c) => (
        <option key={c.card} value={c.card}>
          {[c.unit, c.engine, c.transmission, c.emissions, c.model_year].filter(Boolean).join(", ")}
        </option>
      ))}
    </>
  );
}
