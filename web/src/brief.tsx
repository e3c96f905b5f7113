// Brief: what changed from one unit to another, or from one model year to the next.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { ask, type Card } from "./api";
import { Busy } from "./causes";
import { kept, keep } from "./kept";
import { CardOptions, List, Mark, number } from "./show";
import { placeText } from "./turn";
import { own, units } from "./units";

interface Figure {
  text: string | null;
  line: number | null;
}
interface Difference {
  group: string;
  what: string;
  before: Figure;
  after: Figure;
  do: string | null;
  why: string | null;
  twin: string | null;
  keeps_from_interchanging: boolean;
  common: boolean;
}
interface Reach {
  run: boolean;
  why?: string | null;
  travel_turns?: [number, number] | null;
  co_fraction_span?: [number, number] | null;
  speed_rad_s_span?: [number, number] | null;
  dies?: boolean;
  turns?: number | null;
  co_fraction_per_turn?: number | null;
  target_met_turns?: [number, number] | null;
  limits_met_turns?: [number, number] | null;
}
interface Swap {
  words: string | null;
}
interface Snap {
  stalled: boolean;
  fall_time_s: number | null;
  distributor_fall_s: number | null;
  hc_most_hexane_fraction: number | null;
}
interface BriefCard {
  unit: string;
  file: string | null;
  year: number | null;
  engine: string | null;
  transmission: string | null;
  emission_package: string | null;
}
interface Pair {
  title: string;
  before: BriefCard;
  after: BriefCard;
  interchanges: boolean;
  verdict: string;
  evidence: string[];
  differences: Difference[];
  reach: [Reach, Reach];
  wrong_unit: [Swap | null, Swap | null];
  snap_shut: [Snap | null, Snap | null];
  road: { place: string; words: string }[] | null;
  not_said: string[];
  other_transmission?: Swap | null;
}
interface Shared {
  group: string;
  what: string;
  before: string | null;
  after: string | null;
  do: string | null;
  units: string[];
}
interface Year {
  before: number | null;
  after: number | null;
  dropped: BriefCard[];
  added: BriefCard[];
  common: Shared[];
  units: Pair[];
  procedures: Shared[];
}
interface Folder {
  folder: string;
  cards: Card[];
}
interface Cards {
  cards: Card[];
  folders: Folder[];
}

const folders = signal<Folder[]>([]);
const was = signal("");
const now = signal("");
const pair = signal<Pair | null>(null);
const year = signal<Year | null>(null);
const of = signal(""); // the query of what is shown
const asking = signal(false);
const refusal = signal("");
let asked = 0;

/* ---- which two ---- */

async function load() {
  try {
    const got = await ask<Cards>("GET", "/api/cards");
    keep("brief cards", got);
    take(got);
  } catch (error) {
    take(kept<Cards>("brief cards", { cards: [], folders: [] }));
    refusal.value = (error as Error).message;
  }
}

function take(got: Cards) {
  folders.value = [{ folder: "./", cards: got.cards }, ...got.folders].filter((f) => f.cards.length > 0);
}

const query = () => new URLSearchParams({ was: was.value, now: now.value }).toString();

async function compare() {
  const mine = ++asked, asks = query(), years = was.value.endsWith("/");
  asking.value = true;
  refusal.value = "";
  pair.value = null;
  year.value = null;
  try {
    const got = await ask<Pair | Year>("GET", `/api/brief?${asks}`);
    if (mine !== asked) return;
    if (years) year.value = got as Year;
    else pair.value = got as Pair;
    of.value = asks;
    history.replaceState(null, "", `/brief?${asks}`);
  } catch (error) {
    if (mine === asked) refusal.value = (error as Error).message;
  } finally {
    if (mine === asked) asking.value = false;
  }
}

function yearsOf(f: Folder): string {
  const all = [...new Set(f.cards.map((c) => c.model_year).filter(Boolean))];
  const name = f.folder === "./" ? "the cards here" : `folder ${f.folder.slice(0, -1)}`;
  return `${name}: ${all.length === 1 ? `model year ${String(all[0])}, ` : ""}${f.cards.length === 1 ? "1 card" : `${f.cards.length} cards`}`;
}

function Choice({ name, value, choose }: { name: string; value: string; choose: (to: string) => void }) {
  return (
    <label>
      {name}
      <select required value={value} onChange={(event) => choose(event.currentTarget.value)}>
        <option value="">choose</option>
        {folders.value.length > 1 && (
          <optgroup label="A whole model year">
            {folders.value.map((f) => (
              <option key={f.folder} value={f.folder}>
                {yearsOf(f)}
              </option>
            ))}
          </optgroup>
        )}
        {folders.value.map((f) => (
          <optgroup key={f.folder} label={f.folder === "./" ? "Cards" : `Cards of ${f.folder.slice(0, -1)}`}>
            <CardOptions of={f.cards} />
          </optgroup>
        ))}
      </select>
    </label>
  );
}

// The same unit a year later, when the other is not chosen yet.
function chooseWas(to: string) {
  was.value = to;
  if (now.value && now.value.endsWith("/") === to.endsWith("/")) return;
  const other = folders.value.find((f) => f.folder !== "./");
  const same = other?.cards.find((c) => c.card.endsWith(`/${to}`));
  now.value = to.endsWith("/") ? other?.folder ?? "" : same?.card ?? "";
}

function Ask() {
  const mixed = was.value !== "" && now.value !== "" && was.value.endsWith("/") !== now.value.endsWith("/");
  const send = (event: Event) => {
    event.preventDefault();
    if (!mixed) void compare();
  };
  return (
    <form class="reading" onSubmit={send}>
      <div class="beside">
        <Choice name="Was" value={was.value} choose={chooseWas} />
        <Choice name="Now" value={now.value} choose={(to) => (now.value = to)} />
      </div>
      {mixed && <p class="trouble" role="alert">Choose two cards or two model years, not one of each.</p>}
      <button type="submit" class="main" disabled={mixed}>
        Show what changed
      </button>
    </form>
  );
}

/* ---- two units ---- */

function DifferenceItem({ of: d }: { of: Difference | Shared }) {
  const text = (x: Figure | string | null) => own((typeof x === "string" ? x : x?.text) ?? "not given");
  const line = (x: Figure | string | null) => (x !== null && typeof x === "object" && x.line ? ` (line ${x.line})` : "");
  return (
    <li class="difference">
      <h4>
        {d.what}
        {"units" in d && <small> {d.units.join(", ")}</small>}
        {"keeps_from_interchanging" in d && d.keeps_from_interchanging && <small> ✕ does not interchange</small>}
      </h4>
      <p class="was-now">
        <span>
          <small>was</small> {text(d.before)}
          <small>{line(d.before)}</small>
        </span>
        <span>
          <small>now</small> <strong>{text(d.after)}</strong>
          <small>{line(d.after)}</small>
        </span>
      </p>
      {d.do && <p class="do">{own(d.do)}</p>}
      {"why" in d && d.why && <p>{own(d.why)}</p>}
      {"twin" in d && d.twin && <p class="faint">Twin: {own(d.twin)}</p>}
    </li>
  );
}

// In the order the server has: what matters most for the person adjusting comes first.
function Groups({ of: list }: { of: (Difference | Shared)[] }) {
  const names = [...new Set(list.map((d) => d.group))];
  return (
    <>
      {names.map((name) => (
        <section key={name}>
          <h3>{name}</h3>
          <ul class="differences">
            {list.filter((d) => d.group === name).map((d, i) => (
              <DifferenceItem key={`${d.what} ${i}`} of={d} />
            ))}
          </ul>
        </section>
      ))}
    </>
  );
}

const turns = placeText; // in sixteenths
const span = (x: [number, number] | null | undefined, text: (x: number) => string, unit: string) => (x ? `${text(x[0])} to ${text(x[1])} ${unit}` : "never");
const tens = (x: number) => (Math.round((x * 3) / Math.PI) * 10).toFixed(0);

function reachRows(a: Reach, b: Reach): [string, string, string][] {
  const both = (text: (r: Reach) => string): [string, string] => [a.run ? text(a) : "not run", b.run ? text(b) : "not run"];
  return [
    ["travel", ...both((r) => span(r.travel_turns, turns, "turns"))],
    ["CO from stop to stop, speed kept", ...both((r) => span(r.co_fraction_span, (x) => number(x * 100, 1), "%"))],
    ["speed, speed screw left alone", ...both((r) => span(r.speed_rad_s_span, tens, "rpm") + (r.dies ? "; leaner, it dies" : ""))],
    ["CO for a turn", ...both((r) => (r.co_fraction_per_turn == null ? "–" : `${number(r.co_fraction_per_turn * 100, 1)} %`))],
    ["target met at", ...both((r) => span(r.target_met_turns, turns, "turns out"))],
    ["limits met at", ...both((r) => span(r.limits_met_turns, turns, "turns out"))],
  ];
}

function snapRows(a: Snap, b: Snap): [string, string, string][] {
  const s = (x: number | null) => (x === null ? "never" : `${number(x, 1)} s`);
  return [
    ["back at idle speed after", s(a.fall_time_s), s(b.fall_time_s)],
    ["distributor vacuum down after", s(a.distributor_fall_s), s(b.distributor_fall_s)],
    ["stalls", a.stalled ? "yes" : "no", b.stalled ? "yes" : "no"],
  ];
}

function Rows({ title, rows }: { title: string; rows: [string, string, string][] }) {
  return (
    <section>
      <h3>{title}</h3>
      <div class="wide" tabIndex={0} role="region" aria-label={title}>
        <table class="was-now-table">
          <thead>
            <tr>
              <th scope="col">on the twin</th>
              <th scope="col">was</th>
              <th scope="col">now</th>
            </tr>
          </thead>
          <tbody>
            {rows.map(([name, a, b]) => (
              <tr key={name}>
                <th scope="row">{name}</th>
                <td>{a}</td>
                <td>{b}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}

function PairView({ of: p, common }: { of: Pair; common: boolean }) {
  const [a, b] = p.snap_shut;
  const told = p.differences.filter((d) => common || !d.common);
  const swaps = [...p.wrong_unit, p.other_transmission].map((s) => s?.words).filter((w): w is string => Boolean(w));
  return (
    <>
      <p class="move">
        <Mark of={p.interchanges ? "within" : "outside"}>{p.verdict}</Mark>
      </p>
      {told.length < p.differences.length && <p class="faint">What applies to all units is told above and not again.</p>}
      <Groups of={told} />
      {p.reach[0].run && p.reach[1].run && told.length > 0 && <Rows title="What the screws reach" rows={reachRows(...p.reach)} />}
      {a && b && <Rows title="Foot off at 2,500 rpm" rows={snapRows(a, b)} />}
      {p.road && p.road.length > 0 && <Sub title="The mixture on the road" list={p.road.map((r) => r.words)} />}
      <Sub title="The wrong unit" list={swaps} />
      {!p.interchanges && <Sub title="Why it does not interchange" list={p.evidence.filter((e) => !swaps.some((s) => e.includes(s)))} />}
      <Sub title="Not said" list={p.not_said} />
    </>
  );
}

function Sub({ title, list }: { title: string; list: string[] }) {
  if (!list.length) return null;
  return (
    <section>
      <h3>{title}</h3>
      <ul>
        {list.map((text) => (
          <li key={text}>{own(text)}</li>
        ))}
      </ul>
    </section>
  );
}

/* ---- a model year ---- */

const cardLine = (c: BriefCard) => `${c.unit}: ${[c.engine, c.transmission, c.emission_package].filter(Boolean).join(", ")}`;

function YearView({ of: y }: { of: Year }) {
  // a printed page shows what is folded on the screen
  useEffect(() => {
    const open = () => document.querySelectorAll("details.unit").forEach((d) => ((d as HTMLDetailsElement).open = true));
    addEventListener("beforeprint", open);
    return () => removeEventListener("beforeprint", open);
  }, []);
  return (
    <>
      <List of={y.dropped.map(cardLine)} title="Dropped" />
      <List of={y.added.map(cardLine)} title="Added" />
      <section>
        <h2>What applies to all</h2>
        {y.common.length ? <Groups of={y.common} /> : <p>Nothing: each unit changed in its own way.</p>}
      </section>
      <section>
        <h2>Unit by unit</h2>
        {y.units.map((p) => (
          <details key={p.title} class="unit">
            <summary>
              <span>
                {p.title} {!p.interchanges && <Mark of="outside">does not interchange</Mark>}
              </span>
            </summary>
            <PairView of={p} common={false} />
          </details>
        ))}
      </section>
      <section>
        <h2>Procedures that changed</h2>
        {y.procedures.length ? (
          <ul>
            {y.procedures.map((p) => (
              <li key={`${p.what} ${p.units.join()}`}>
                {own(p.do)} <small class="faint">{p.units.join(", ")}</small>
              </li>
            ))}
          </ul>
        ) : (
          <p>None.</p>
        )}
      </section>
    </>
  );
}

/* ---- the page ---- */

function Away() {
  const slow = of.value.includes("%2F&") || of.value.endsWith("%2F");
  const paper = units.value === "shop" ? "Letter" : "A4";
  return (
    <p class="takeaway">
      <button type="button" onClick={() => print()}>
        Print this page
      </button>
      <a class="button" href={`/api/brief.pdf?${of.value}&paper=${paper}`} download>
        As a sheet (PDF)
      </a>
      <a class="button" href={`/api/brief.html?${of.value}`} download>
        As a page to hand on
      </a>
      {slow && <span class="faint">Made when you ask for it: it takes as long as this page did.</span>}
    </p>
  );
}

function title(): string {
  if (pair.value) return pair.value.title;
  const y = year.value;
  if (y) return y.before && y.after ? `Model year ${y.after} against ${y.before}` : "What changed, unit by unit";
  return "Brief: what changed";
}

export function BriefPage() {
  useEffect(() => {
    const given = new URLSearchParams(location.search);
    was.value = given.get("was") ?? was.value;
    now.value = given.get("now") ?? now.value;
    pair.value = null;
    year.value = null;
    refusal.value = "";
    void load().then(() => (given.get("was") && given.get("now") ? compare() : undefined));
  }, []);
  return (
    <main>
      <h1>{title()}</h1>
      <Ask />
      {asking.value && <Busy what={was.value.endsWith("/") ? "Running every unit on its twin, a second each" : "Running both on their twins"} />}
      {refusal.value && <p class="trouble" role="alert">{refusal.value}</p>}
      {pair.value && (
        <section class="brief">
          <h2>What differs</h2>
          <PairView of={pair.value} common />
          <Away />
        </section>
      )}
      {year.value && (
        <section class="brief">
          <YearView of={year.value} />
          <Away />
        </section>
      )}
      {(pair.value ?? year.value) && <p class="faint">Was and now are the cards' figures; Twin is computed; what to do is common practice. The manual and the emission label come first.</p>}
    </main>
  );
}
