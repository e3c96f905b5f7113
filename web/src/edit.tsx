// The whole job as a form: every key that a job file may hold.
import { signal } from "@preact/signals";
import { useEffect, useLayoutEffect } from "preact/hooks";
import { ask, type Card, Refused } from "./api";
import { Busy } from "./causes";
import { version, work } from "./follow";
import { Keys, Known } from "./form";
import { JobFrame } from "./frame";
import { kept, keep } from "./kept";
import { edit, passing, putEdits } from "./outbox";
import { applied, changes, type Clash, type Edit, editsOf, get, type Key, type Map, normal, type Path, pathOf, same, samePath, set, type Tree } from "./tree";

const keys = signal<Key[]>(kept<Key[]>("job keys", []));
const base = signal<Map | null>(null); // as the server had it
const now = signal<Map | null>(null);
const gone = signal<Path[]>([]); // items to be taken out
const known = signal<Record<string, string[]>>({}); // cards and units of the folder of cards
const wrong = signal<{ path: Path; words: string } | null>(null);
const said = signal("");
const trouble = signal("");
const saving = signal(false);
let shown = 0;

// Of a job not saved yet only what was changed is kept here, not the job with its customer.
const draftName = (job: number) => `edit ${job}`;
const isChanged = () => base.value !== null && now.value !== null && (gone.value.length > 0 || !same(base.value, now.value));
const edits = () => editsOf(base.value ?? {}, normal(keys.value, now.value), gone.value);

function keepDraft(job: number) {
  keep(draftName(job), isChanged() ? edits() : null);
}

// The job as others have it by now, with what was changed here in it.
function show(theirs: Map, mine: Edit[]): Clash[] {
  const clashes: Clash[] = [];
  const away = mine.filter((e) => e.to === undefined && typeof e.path[e.path.length - 1] === "number");
  base.value = theirs;
  now.value = applied(theirs, mine.filter((e) => !away.includes(e)), clashes);
  gone.value = away.filter((e) => same(get(theirs, e.path), e.from)).map((e) => e.path);
  return clashes;
}

// What the job is to become: later items go first, so that the places of the others stay.
function wanted(): Map {
  const last = (path: Path) => Number(path[path.length - 1]);
  const order = [...gone.value].sort((a, b) => last(b) - last(a));
  const out = order.reduce<Tree>((tree, path) => set(tree, path, undefined), now.value ?? {});
  return normal(keys.value, out);
}

// What was typed and not saved is there again; what others save comes by itself.
async function load(job: number) {
  try {
    keys.value = (await ask<{ keys: Key[] }>("GET", "/api/job-keys")).keys;
    keep("job keys", keys.value);
    const got = await ask<{ document: unknown }>("GET", `/api/jobs/${job}`);
    if (shown !== job || saving.value) return;
    const mine = isChanged() ? edits() : kept<Edit[] | null>(draftName(job), null) ?? [];
    const [clash] = show(normal(keys.value, got.document), mine);
    if (clash) tellClash(clash);
    trouble.value = "";
    if (!known.value.card) await loadKnown();
  } catch (error) {
    trouble.value = (error as Error).message;
  }
}

async function loadKnown() {
  const { cards } = await ask<{ cards: Card[] }>("GET", "/api/cards");
  const names = cards.map((c) => c.card);
  known.value = { card: names, "fitted card": names, "fitted unit": cards.map((c) => c.unit) };
}

function begin(job: number) {
  shown = job;
  base.value = null;
  now.value = null;
  gone.value = [];
  wrong.value = null;
  said.value = kept<Edit[] | null>(draftName(job), null) ? "What you typed here before is still here; it is not saved." : "";
}

function change(job: number, path: Path, value: Tree | undefined) {
  now.value = set(now.value ?? {}, path, value) as Map;
  wrong.value = null;
  said.value = "";
  keepDraft(job);
}

function takeOut(job: number, path: Path) {
  if (get(base.value ?? {}, path) === undefined) change(job, path, undefined);
  else gone.value = [...gone.value, path];
  wrong.value = null;
  keepDraft(job);
}

function putBack(job: number, path: Path) {
  gone.value = gone.value.filter((g) => !samePath(g, path));
  keepDraft(job);
}

// What was sent has no items that were taken out: its places are earlier than those in the form.
function inForm(path: Path): Path {
  const [list, at, ...rest] = path;
  if (typeof at !== "number") return path;
  const out = gone.value.filter((g) => g[0] === list).map((g) => Number(g[1])).sort((a, b) => a - b);
  return [list!, out.reduce((i, g) => (g <= i ? i + 1 : i), at), ...rest];
}

function showWrong(path: Path, words: string) {
  wrong.value = { path, words };
  // as soon as it is drawn
  setTimeout(() => document.querySelector(".wrong-words, .wrong-at-top")?.scrollIntoView({ block: "center" }), 50);
}

function tellClash(clash: Clash) {
  const is = typeof clash.theirs === "string" ? ` to '${clash.theirs}'` : "";
  showWrong(clash.path, `somebody else changed this meanwhile${is}; saving puts yours`);
}

async function save(job: number) {
  if (!base.value || !now.value || saving.value) return;
  const mine = edits(), to = wanted();
  saving.value = true;
  try {
    const done = await putEdits(`/api/jobs/${job}`, keys.value, mine);
    if (done.clash) {
      show(done.theirs, mine);
      tellClash(done.clash);
    } else {
      show(done.document, []);
      said.value = "✓ Saved.";
    }
  } catch (error) {
    if (error instanceof Refused && !passing(error.status)) {
      showWrong(inForm(pathOf(keys.value, error.field, error.message)), error.message);
    } else {
      void edit(`/api/jobs/${job}`, mine, `changes to ${work.value?.job.id ?? `job ${job}`}`);
      show(to, []);
      said.value = "The link is down: kept in this browser, and sent when it is back.";
    }
  } finally {
    saving.value = false;
  }
  keepDraft(job);
}

function throwAway(job: number) {
  now.value = base.value;
  gone.value = [];
  wrong.value = null;
  said.value = "";
  keepDraft(job);
}

function Bar({ job }: { job: number }) {
  const n = base.value && now.value ? changes(base.value, wanted()) : 0;
  const atTop = wrong.value && !wrong.value.path.length ? wrong.value.words : "";
  if (!n && !said.value && !wrong.value) return null;
  return (
    <div class="save-bar">
      {atTop && <p class="trouble wrong-at-top" role="alert">✕ {atTop}</p>}
      {wrong.value && !atTop && <p role="status">✕ Not saved: {wrong.value.path.map((s) => (typeof s === "number" ? s + 1 : s)).join(", ")}</p>}
      <p>
        {n > 0 && (
          <button type="button" class="main" disabled={saving.value} onClick={() => void save(job)}>
            {n === 1 ? "Save 1 change" : `Save ${n} changes`}
          </button>
        )}{" "}
        {n > 0 && (
          <button type="button" onClick={() => throwAway(job)}>
            Throw them away
          </button>
        )}{" "}
        <span role="status">{said.value}</span>
      </p>
    </div>
  );
}

function Page({ job }: { job: number }) {
  const seen = version.value;
  useEffect(() => void load(job), [job, seen]);
  if (!now.value || !base.value || !keys.value.length) {
    return trouble.value ? <p class="trouble" role="alert">{trouble.value}</p> : <Busy what="Reading the job" />;
  }
  return (
    <>
      <p>Every line of the job, as it is written. A number needs its unit; one typed without gets it when you go on.</p>
      <form class="reading whole" onSubmit={(event) => { event.preventDefault(); void save(job); }}>
        <Keys form={{ base: base.value, now: now.value, wrong: wrong.value, gone: gone.value, change: (path, value) => change(job, path, value), takeOut: (path) => takeOut(job, path), putBack: (path) => putBack(job, path), known: known.value }} path={[]} of={keys.value} />
      </form>
      <Known of={known.value} />
      <Bar job={job} />
    </>
  );
}

export function EditPage({ job }: { job: number }) {
  useLayoutEffect(() => begin(job), [job]); // before its page asks the server
  return (
    <JobFrame job={job} at="/edit">
      {() => <Page job={job} />}
    </JobFrame>
  );
}
