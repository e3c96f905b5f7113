// A job as a tree of texts, and what several people did to it.

export interface Key {
  key: string;
  kind: "words" | "value" | "span" | "whole" | "choice" | "answer" | "hc" | "map" | "list" | "values" | "texts" | "named";
  what: string;
  required: boolean;
  unit: { shop: string; metric: string; accepts: string } | null;
  choices: string[];
  one: string;
  keys: Key[];
}
export type Tree = string | Tree[] | { [key: string]: Tree };
export type Map = { [key: string]: Tree };
export type Path = (string | number)[];

export const isMap = (x: unknown): x is Map => typeof x === "object" && x !== null && !Array.isArray(x);

export function same(a: Tree | undefined, b: Tree | undefined): boolean {
  if (Array.isArray(a) && Array.isArray(b)) return a.length === b.length && a.every((x, i) => same(x, b[i]));
  if (isMap(a) && isMap(b)) return [...new Set([...Object.keys(a), ...Object.keys(b)])].every((k) => same(a[k], b[k]));
  return a === b;
}

export const samePath = (a: Path, b: Path) => a.length === b.length && a.every((step, i) => step === b[i]);

/* ---- one shape for what can be written in several ---- */

const empty = (x: Tree | undefined) => x === undefined || x === "" || (Array.isArray(x) && !x.length) || (isMap(x) && !Object.keys(x).length);

function normalOf(key: Key, x: unknown): Tree | undefined {
  if (x === null || x === undefined) return undefined;
  if (key.kind === "map") return normal(key.keys, isMap(x) ? x : { [key.keys[0]!.key]: x });
  if (key.kind === "list") return (Array.isArray(x) ? x : []).map((item: unknown) => normal(key.keys, isMap(item) ? item : { [key.keys[0]!.key]: item })).filter((item) => !empty(item));
  if (key.kind === "texts" && !Array.isArray(x)) return [String(x)];
  return x as Tree;
}

// A short form ("fuel: E10") becomes the long one; what is empty is left out.
export function normal(keys: Key[], tree: unknown): Map {
  const out: Map = {};
  for (const [name, x] of Object.entries(isMap(tree) ? tree : {})) {
    const key = keys.find((k) => k.key === name);
    const value = key ? normalOf(key, x) : (x as Tree);
    if (!empty(value)) out[name] = value!;
  }
  return out;
}

/* ---- what one changed, put into what others saved ---- */

// One text, or one item of a list: from undefined is new, to undefined is taken away.
export interface Edit {
  path: Path;
  from?: Tree;
  to?: Tree;
}

const ofItems = (list: Tree[]) => list.some(isMap);
const last = (path: Path) => path[path.length - 1];
export const within = (inner: Path, outer: Path) => outer.every((step, i) => inner[i] === step);

function differences(base: Tree | undefined, now: Tree | undefined, path: Path): Edit[] {
  if (same(base, now)) return [];
  if (isMap(now) && (isMap(base) || (base === undefined && typeof last(path) !== "number"))) {
    return [...new Set([...Object.keys(base ?? {}), ...Object.keys(now)])].flatMap((k) => differences(base?.[k], now[k], [...path, k]));
  }
  if (Array.isArray(now) && (ofItems(now) || (Array.isArray(base) && ofItems(base)))) {
    return now.flatMap((item, i) => differences(Array.isArray(base) ? base[i] : undefined, item, [...path, i]));
  }
  return [{ path, from: base, to: now }];
}

// gone: items to be taken out, by their places in base.
export function editsOf(base: Map, now: Map, gone: Path[]): Edit[] {
  const kept = differences(base, now, []).filter((e) => !gone.some((g) => within(e.path, g)));
  return [...kept, ...gone.map((path) => ({ path, from: get(base, path) }))];
}

export interface Clash {
  path: Path;
  theirs: Tree | undefined;
}

// What is new stands behind what others added; sent a second time it is already there.
function append(tree: Map, e: Edit): Map {
  const path = e.path.slice(0, -1), list = get(tree, path);
  const items = Array.isArray(list) ? list : [];
  if (items.slice(Number(last(e.path))).some((x) => same(x, e.to))) return tree;
  return set(tree, [...path, items.length], e.to) as Map;
}

// Each edit put into theirs; where somebody else changed the same, mine stands and clashes says so.
export function applied(theirs: Map, edits: Edit[], clashes: Clash[]): Map {
  const isItem = (e: Edit) => typeof last(e.path) === "number";
  let out = theirs;
  for (const e of edits.filter((x) => !isItem(x))) {
    const now = get(theirs, e.path);
    if (!same(now, e.from) && !same(now, e.to)) clashes.push({ path: e.path, theirs: now });
    out = set(out, e.path, e.to) as Map;
  }
  for (const e of edits.filter((x) => isItem(x) && x.to !== undefined)) out = append(out, e);
  const away = edits.filter((x) => isItem(x) && x.to === undefined).sort((a, b) => Number(last(b.path)) - Number(last(a.path)));
  for (const e of away) {
    if (same(get(theirs, e.path), e.from)) out = set(out, e.path, undefined) as Map;
    else clashes.push({ path: e.path, theirs: get(theirs, e.path) });
  }
  return out;
}

// How many texts differ.
export function changes(a: Tree | undefined, b: Tree | undefined): number {
  if (same(a, b)) return 0;
  if (isMap(a) && isMap(b)) return [...new Set([...Object.keys(a), ...Object.keys(b)])].reduce((n, k) => n + changes(a[k], b[k]), 0);
  if (Array.isArray(a) && Array.isArray(b)) {
    if (![...a, ...b].some(isMap)) return 1; // values on one line
    const gone = a.flatMap((x, i) => (b.some((y) => same(x, y)) ? [] : [i])), come = b.flatMap((y, i) => (a.some((x) => same(x, y)) ? [] : [i]));
    const both = gone.filter((i) => come.includes(i));
    return both.reduce((n, i) => n + changes(a[i], b[i]), 0) + gone.length + come.length - 2 * both.length || 1;
  }
  return 1;
}

/* ---- places ---- */

export function get(tree: Tree | undefined, path: Path): Tree | undefined {
  let x: Tree | undefined = tree;
  for (const step of path) x = Array.isArray(x) ? x[step as number] : isMap(x) ? x[step] : undefined;
  return x;
}

// A copy with value at path; undefined takes the key away, or the item out of its list.
export function set(tree: Tree | undefined, path: Path, value: Tree | undefined): Tree {
  const [step, ...rest] = path;
  if (step === undefined) return value ?? {};
  if (typeof step === "number") {
    const list = Array.isArray(tree) ? [...tree] : [];
    if (!rest.length && value === undefined) list.splice(step, 1);
    else list[step] = set(list[step], rest, value);
    return list;
  }
  const map: Map = isMap(tree) ? { ...tree } : {};
  if (!rest.length && value === undefined) delete map[step];
  else map[step] = set(map[step], rest, value);
  return map;
}

// "reading 2, CO" and the words beside it, as the server names places, to a path.
export function pathOf(keys: Key[], field: string, words: string): Path {
  const missing = /^the key '(.+?)' is missing/.exec(words)?.[1];
  const steps = field.split(", ").filter(Boolean);
  if (missing) steps.push(missing);
  const path: Path = [];
  let at = keys;
  for (const step of steps) {
    const plain = at.find((k) => k.key === step);
    const item = at.find((k) => k.kind === "list" && step.startsWith(`${k.one} `) && /^\d+$/.test(step.slice(k.one.length + 1)));
    if (plain) path.push(plain.key);
    else if (item) path.push(item.key, Number(step.slice(item.one.length + 1)) - 1);
    else break;
    at = (plain ?? item)!.keys;
  }
  return path;
}
