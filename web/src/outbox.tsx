// What was typed is kept in this browser first, then sent, one after the other, until the server has
// answered. Each entry has a key of its own, so that one sent twice is saved once.
import { signal } from "@preact/signals";
import { ask, Refused } from "./api";
import { kept, keep } from "./kept";
import { Hourglass } from "./show";
import { applied, type Clash, type Edit, type Key, type Map as TreeMap, normal, same } from "./tree";

export interface Entry {
  key: string;
  path: string;
  body: unknown;
  words: string; // "reading of job 3: 650 rpm, CO 1.20 %"
  at: string; // when it was typed
  merges?: boolean; // body is put into the job's document, beside what stands there
  edits?: Edit[]; // what was changed of the job, put into what is there when it is sent
  refused?: string; // the server's words; it stays until somebody discards it
}

export const waiting = signal<Entry[]>(kept<Entry[]>("outbox", []));
export const keeps = signal(true); // false: storage is shut off or full
let sending = false;
let again = 0;

function change(list: Entry[]) {
  waiting.value = list;
  keeps.value = keep("outbox", list);
}

// crypto.randomUUID is there on secure pages only; --lan has none.
export function newKey(): string {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
}

const without = (key: string) => waiting.value.filter((e) => e.key !== key);

// Whether a later try may end otherwise: no link, a busy or failing server, no longer paired.
export const passing = (status: number) => status === 0 || status === 401 || status === 429 || status >= 500;

type Tree = Record<string, unknown>;
const isTree = (x: unknown): x is Tree => typeof x === "object" && x !== null && !Array.isArray(x);

// What was empty comes as null and must not be sent back.
function merged(old: unknown, more: Tree): Tree {
  const out: Tree = {};
  if (isTree(old)) for (const [key, value] of Object.entries(old)) if (value !== null) out[key] = isTree(value) ? merged(value, {}) : value;
  for (const [key, value] of Object.entries(more)) out[key] = isTree(value) ? merged(out[key], value) : value;
  return out;
}

// Sent twice it gives the same document, so each try may have a key of its own; when somebody else was
// faster it is put into what they saved.
async function mergeOne(entry: Entry) {
  for (let tries = 0; ; tries++) {
    const now = await ask<{ run: number; document: unknown }>("GET", entry.path);
    const document = merged(now.document, entry.body as Tree);
    try {
      await ask("PUT", entry.path, document, newKey(), now.run);
      return;
    } catch (error) {
      if (!(error instanceof Refused) || error.status !== 412 || tries > 4) throw error;
    }
  }
}

export interface Edited {
  document: TreeMap; // as it is saved, or with a clash as it would be
  theirs: TreeMap;
  clash: Clash | null; // nothing was saved: somebody else changed the same
}

// Changes put into what is there now. Sent twice it is the same.
export async function putEdits(path: string, keys: Key[], edits: Edit[]): Promise<Edited> {
  for (let tries = 0; ; tries++) {
    const got = await ask<{ run: number; document: unknown }>("GET", path);
    const theirs = normal(keys, got.document), clashes: Clash[] = [];
    const document = normal(keys, applied(theirs, edits, clashes));
    if (clashes[0] || same(document, theirs)) return { document, theirs, clash: clashes[0] ?? null };
    try {
      await ask("PUT", path, document, newKey(), got.run);
      return { document, theirs, clash: null };
    } catch (error) {
      if (!(error instanceof Refused) || error.status !== 412 || tries > 4) throw error;
    }
  }
}

async function editOne(entry: Entry, edits: Edit[]) {
  const done = await putEdits(entry.path, kept<Key[]>("job keys", []), edits);
  if (!done.clash) return;
  const place = done.clash.path.map((s) => (typeof s === "number" ? s + 1 : s)).join(", ");
  throw new Refused(409, `Somebody else changed ${place} meanwhile.`);
}

async function sendOne(entry: Entry): Promise<boolean> {
  try {
    if (entry.edits) await editOne(entry, entry.edits);
    else if (entry.merges) await mergeOne(entry);
    else await ask("POST", entry.path, entry.body, entry.key);
    change(without(entry.key));
  } catch (error) {
    if (!(error instanceof Refused) || passing(error.status)) return false;
    const words = error.message;
    change(waiting.value.map((e) => (e.key === entry.key ? { ...e, refused: words } : e)));
  }
  return true;
}

async function sendAll() {
  const next = () => waiting.value.find((e) => !e.refused);
  for (let entry = next(); entry; entry = next()) {
    if (!(await sendOne(entry))) {
      again = window.setTimeout(() => void send(), 5000);
      return;
    }
  }
}

// Two pages of one browser share the store: only one of them sends at a time where locks are there;
// else the keys keep a double from being saved.
export async function send() {
  if (sending) return;
  sending = true;
  clearTimeout(again);
  try {
    await sendAll();
  } finally {
    sending = false;
  }
}

export const put = (path: string, body: unknown, words: string) => hold({ path, body, words });
export const merge = (path: string, body: Tree, words: string) => hold({ path, body, words, merges: true });

export const edit = (path: string, edits: Edit[], words: string) => hold({ path, body: null, words, edits });

async function hold(what: Pick<Entry, "path" | "body" | "words" | "merges" | "edits">) {
  const entry = { ...what, key: newKey(), at: new Date().toISOString() };
  change([...kept<Entry[]>("outbox", waiting.value), entry]);
  await send();
}

// Changes to a whole job that were refused go back into its form, to be mended there.
function reopen(entry: Entry) {
  const job = entry.path.replace("/api/jobs/", "");
  keep(`edit ${job}`, entry.edits);
  change(without(entry.key));
  location.assign(`/jobs/${job}/edit`);
}

addEventListener("online", () => void send());
addEventListener("storage", () => (waiting.value = kept<Entry[]>("outbox", [])));

export function Outbox() {
  if (!waiting.value.length) return null;
  const stuck = waiting.value.filter((e) => e.refused);
  const held = waiting.value.length - stuck.length;
  return (
    <div class="outbox" aria-label="Not saved yet" role="status">
      {held > 0 && (
        <p>
          <Hourglass /> {held === 1 ? "1 entry is" : `${held} entries are`} kept in this browser and sent when the link is back.
          {!keeps.value && " This browser keeps nothing when the page is closed: leave it open."}
        </p>
      )}
      {stuck.map((e) => (
        <p key={e.key} class="trouble">
          ✕ Not saved: {e.words}. {e.refused}{" "}
          {e.edits && (
            <button type="button" onClick={() => reopen(e)}>
              Open it again
            </button>
          )}{" "}
          <button type="button" onClick={() => change(without(e.key))}>
            Discard
          </button>
        </p>
      ))}
    </div>
  );
}
