// One job as the server has it, and its live readings, shared by all pages of the job.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { ask, type Live, type LiveEntry, Refused, type Work } from "./api";
import { lookForNewer } from "./offline";
import { send } from "./outbox";

export const work = signal<Work | null>(null);
export const workOf = signal(0); // the job that work is of
export const trouble = signal("");
export const unreached = signal(false); // trouble is that the server is not reached
export const linked = signal(true);
export const version = signal(0); // counts what was saved: who shows more than work asks again
export const live = signal<LiveEntry | null>(null);
export const listening = signal(false);
export const liveWords = signal(""); // an instrument that is lost, in words

let loaded = ""; // work as it came
async function load(job: number) {
  try {
    const got = await ask<Work>("GET", `/api/jobs/${job}/work`);
    if (followed !== job) return;
    trouble.value = "";
    const text = JSON.stringify(got);
    if (workOf.value === job && work.value && text === loaded) return; // as it was
    loaded = text;
    workOf.value = job;
    work.value = got;
    version.value++;
  } catch (error) {
    if (followed !== job) return;
    unreached.value = error instanceof Refused && error.status === 0;
    trouble.value = (error as Error).message;
  }
}

async function loadLive() {
  try {
    const got = await ask<Live>("GET", "/api/live");
    listening.value = got.listening;
    live.value = got.newest;
    liveWords.value = got.instruments.filter((i) => !i.there).map((i) => `${i.name}: ${i.words || "not there"}`).join("; ");
  } catch {
    /* the link says so */
  }
}

function take(entry: LiveEntry) {
  if (entry.kind === "reading") live.value = entry;
  if (entry.kind === "lost" || entry.kind === "end") liveWords.value = entry.words;
  if (entry.kind === "back") liveWords.value = "";
  if (entry.kind === "lost" || entry.kind === "end") live.value = null;
}

let followed = 0;
let stream: EventSource | null = null;

function begin(job: number) {
  followed = job;
  // from one page of a job to the next it stays on the screen until it is read again
  if (workOf.value !== job) work.value = null;
  stream = new EventSource(`/api/jobs/${job}/events`);
  const again = () => void load(job);
  again(); // without waiting for the stream; what changes until that begins is read again then
  stream.addEventListener("begin", () => {
    again();
    void loadLive();
    void send();
    lookForNewer();
  });
  stream.addEventListener("saved", again);
  stream.addEventListener("live", (event) => take(JSON.parse((event as MessageEvent<string>).data) as LiveEntry));
  stream.onopen = () => (linked.value = true);
  stream.onerror = () => {
    linked.value = false;
    if (stream?.readyState === EventSource.CLOSED) anew = window.setTimeout(() => begin(job), 5000);
  };
}
let anew = 0; // a browser tries again by itself, but not after a refusal

function end() {
  clearTimeout(anew);
  stream?.close();
  stream = null;
  followed = 0;
  live.value = null;
  linked.value = true;
}

export function useJob(job: number) {
  useEffect(() => {
    begin(job);
    return end;
  }, [job]);
}
