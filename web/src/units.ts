// Each person's own units, kept in this browser: shop (inHg, in, degF, ft) or metric.
import { signal } from "@preact/signals";
import { kept, keep } from "./kept";

export type Units = "shop" | "metric";
export const units = signal<Units>(kept<string>("units", "shop") === "metric" ? "metric" : "shop");

export function chooseUnits(to: Units) {
  units.value = to;
  keep("units", to);
}

interface Unit {
  name: string; // as shown, and as the server reads it
  one: number; // SI in one of it
  digits: number;
}
const both = (shop: Unit, metric: Unit) => ({ shop, metric });
const dims = {
  vacuum: both({ name: "inHg", one: 3386.389, digits: 1 }, { name: "kPa", one: 1000, digits: 1 }),
  altitude: both({ name: "ft", one: 0.3048, digits: 0 }, { name: "m", one: 1, digits: 0 }),
  size: both({ name: "in", one: 0.0254, digits: 3 }, { name: "mm", one: 0.001, digits: 2 }),
};
export type Dim = keyof typeof dims;

export const unitOf = (dim: Dim) => dims[dim][units.value];

export function shown(dim: Dim, x: number | null | undefined): string {
  const unit = unitOf(dim);
  return x === null || x === undefined ? "–" : (x / unit.one).toFixed(unit.digits);
}

// The server's texts are in shop units, many with metric in brackets. Who chose metric reads those, and
// of what has none the same number turned: "17.2 inHg", "141, 139 psi", "0.0610 in".
const BOTH = /-?[\d.,]+(?: to -?[\d.,]+)? (?:inHg|psi|in|degF|ft|in3|mph) \((-?[\d.,]+(?: to -?[\d.,]+)? (?:kPa|mm|degC|m|L|cm3|km\/h))\)/g;
const ALONE = /((?:-?\d+(?:\.\d+)?(?:, | to ))*-?\d+(?:\.\d+)?) (inHg|psi|degF)\b|((?:\d+\.\d+ to )?\d+\.\d+) in\b/g;
const turned: Record<string, [(x: number) => number, number, string]> = {
  inHg: [(x) => x * 3.386389, 1, "kPa"],
  psi: [(x) => x * 6.894757, 0, "kPa"],
  degF: [(x) => (x - 32) / 1.8, 0, "degC"],
  in: [(x) => x * 25.4, 2, "mm"],
};

export function own(text: string): string;
export function own(text: string | null | undefined): string | null;
export function own(text: string | null | undefined): string | null {
  if (!text || units.value === "shop") return text ?? null;
  return text.replace(BOTH, "$1").replace(ALONE, (_, numbers: string | undefined, unit: string | undefined, inches: string | undefined) => {
    const [by, digits, name] = turned[unit ?? "in"]!;
    return `${(numbers ?? inches)!.replace(/-?\d+(?:\.\d+)?/g, (x) => by(Number(x)).toFixed(digits))} ${name}`;
  });
}
