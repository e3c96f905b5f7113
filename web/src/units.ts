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
