// Set the idle: one move, the big numbers, when to wait.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { ask, type Guidance, type LiveEntry, type Move, Refused, type Work } from "./api";
import { draftOf, draftSent, typeInto } from "./draft";
import { live, liveWords, listening, version, work } from "./follow";
import { JobFrame } from "./frame";
import { Gauges, idleGauges } from "./gauges";
import { History } from "./history";
import { type Outline, outlineOf, readOutline } from "./outline";
import { put } from "./outbox";
import { Hourglass, percent, ppm, rpm } from "./show";
import { MoveCard, placeText } from "./turn";
import { shown, unitOf } from "./units";

const guidance = signal<Guidance | null>(null);
const refusal = signal<{ status: number; words: string } | null>(null); // why nothing may be turned
const screws = signal<string[]>([]); // names, when no reading has told them yet
const asking = signal(false);
const turned = signal(false); // the move on the screen was done
let asked = 0;

async function askGuide(job: number) {
  const mine = ++asked;
  asking.value = true;
  try {
    const got = await ask<Guidance>("GET", `/api/jobs/${job}/idle`);
    if (mine !== asked) return;
    guidance.value = got;
    refusal.value = null;
  } catch (error) {
    if (mine !== asked) return;
    if (error instanceof Refused && error.status >= 400 && error.status < 500) guidance.value = null;
    refusal.value = { status: error instanceof Refused ? error.status : 0, words: (error as Error).message };
  } finally {
    if (mine === asked) asking.value = false;
  }
  turned.value = false;
}

const headings = { move: "Turn", set: "Set: leave it", cannot: "The screws cannot do it", wait: "Read again first" };

function Expect({ of: g }: { of: Guidance }) {
  const e = g.expect;
  if (!e) return null;
  const about = (x: number | null, u: number | null, text: (x: number) => string) => {
    if (x === null) return "–";
    const lo = text(Math.max(0, x - (u ?? 0))), hi = text(x + (u ?? 0));
    return lo === hi ? lo : `${lo} to ${hi}`;
  };
  return (
    <p class="expect">
      Then expect {rpm(e.speed_rad_s)} rpm, CO {about(e.co, e.co_u, (x) => percent(x, 1))} %, HC {about(e.hc_hexane, e.hc_u, (x) => ppm(x))} ppm,
      vacuum {shown("vacuum", e.vacuum_pa)} {unitOf("vacuum").name}.
    </p>
  );
}

// Instruments start their waiting anew when they hear of it; without any the page just remembers.
function doneTurning() {
  turned.value = true;
  if (listening.value) void ask("POST", "/api/live/moved", {}).catch(() => undefined);
}

function NextMove({ of: g }: { of: Guidance }) {
  return (
    <section class="first" aria-live="polite">
      <h2 class="what-now">{turned.value ? "Wait, then read" : headings[g.state]}</h2>
      {g.moves.length > 0 && !turned.value && (
        <ul class="move-cards">
          {g.moves.map((m) => (
            <MoveCard key={m.screw} of={m} />
          ))}
        </ul>
      )}
      {g.moves.length === 0 && <p class="move">{g.words}</p>}
      <Expect of={g} />
      {g.state === "move" && !turned.value && (
        <p>
          <button type="button" class="main" onClick={doneTurning}>
            I have turned it
          </button>
        </p>
      )}
      {g.causes.length > 0 && (
        <ul>
          {g.causes.slice(0, 4).map((c) => (
            <li key={c.cause}>
              {c.cause.replaceAll("_", " ")} {percent(c.probability, 0)} %
            </li>
          ))}
        </ul>
      )}
    </section>
  );
}

/* ---- a reading ---- */

const text = (form: FormData, name: string) => String(form.get(name) ?? "").trim();

function bodyOf(form: FormData, o: Outline): Record<string, unknown> {
  const body: Record<string, unknown> = { stage: text(form, "stage"), at: "idle", time: new Date().toTimeString().slice(0, 5) };
  const add = (key: string, name: string, unit: string) => {
    const value = text(form, name).replace(",", ".");
    if (value) body[key] = `${value} ${unit}`;
  };
  add("speed", "speed", "rpm");
  body.gear = o.gear;
  Object.assign(body, { choke: "open", "air cleaner": "yes", settled: form.get("settled") ? "yes" : "no" });
  add("CO", "co", "%");
  add("CO2", "co2", "%");
  add("HC", "hc", `ppm ${o.hc_as}`);
  add("O2", "o2", "%");
  add("vacuum", "vacuum", unitOf("vacuum").name);
  const screws: Record<string, string> = {};
  for (const [name, value] of form.entries()) {
    if (name.startsWith("screw ") && String(value).trim()) screws[name.slice(6)] = `${String(value).trim()} turns`;
  }
  if (Object.keys(screws).length) body.screws = screws;
  return body;
}

// Where a screw stands now: where the last reading had it, or where the move that was done has put it.
function placeNow(name: string, last: number | null, moves: Move[]): string {
  const move = turned.value ? moves.find((m) => m.screw === name) : undefined;
  const at = move?.to ?? last;
  return at === null || at === undefined ? "" : placeText(at);
}

function Field({ name, label, value, needed }: { name: string; label: string; value?: string; needed?: boolean }) {
  return (
    <label>
      {label}
      <input name={name} inputMode="decimal" autocomplete="off" required={needed} defaultValue={value ?? ""} pattern="[0-9 .,/]*" />
    </label>
  );
}

function liveText(entry: LiveEntry | null, name: string, by: (x: number) => string): string {
  const item = entry?.items[name];
  return item?.x === null || item?.x === undefined ? "" : by(item.mean ?? item.x);
}

function ReadingForm({ job, of: o, moves, from }: { job: number; of: Outline; moves: Move[]; from: LiveEntry | null }) {
  const places = o.screws.length ? o.screws : screws.value.map((screw) => ({ screw, turns_out: null }));
  const untold = !o.screws.length;
  useEffect(() => {
    if (untold) void askScrews(job);
  }, [job, untold]);
  const basis = o.hc_as, typed = draftOf(job);
  // what an instrument says now is put over what was typed before; where it says nothing that stays
  const begun = (name: string, said: string) => said || typed[name] || "";
  const send = (event: Event) => {
    event.preventDefault();
    const form = event.currentTarget as HTMLFormElement;
    const body = bodyOf(new FormData(form), o);
    draftSent();
    form.reset();
    signalTaken.value = null;
    const words = `reading of ${o.id}: ${String(body.speed)}, CO ${String(body.CO ?? "not read")}`;
    void put(`/api/jobs/${job}/readings`, body, words).then(() => askGuide(job));
  };
  return (
    <form class="reading" onSubmit={send} onInput={(event) => typeInto(job, event)}>
      <div class="fields">
        <Field name="speed" label="Speed, rpm" needed value={begun("speed", liveText(from, "speed", (x) => rpm(x)))} />
        <Field name="co" label="CO, %" needed value={begun("co", liveText(from, "CO", (x) => percent(x)))} />
        <Field name="hc" label={`HC, ppm ${basis}`} value={begun("hc", from?.hc_as && from.hc_as !== basis ? "" : liveText(from, "HC", (x) => ppm(x)))} />
        <Field name="co2" label="CO2, %" value={begun("co2", liveText(from, "CO2", (x) => percent(x, 1)))} />
        <Field name="o2" label="O2, %" value={begun("o2", liveText(from, "O2", (x) => percent(x)))} />
        <Field name="vacuum" label={`Vacuum, ${unitOf("vacuum").name}`} value={begun("vacuum", liveText(from, "vacuum", (x) => shown("vacuum", x)))} />
        {places.map((s) => (
          <Field key={`${s.screw} ${String(turned.value)}`} name={`screw ${s.screw}`} label={`${s.screw}, turns out`} value={typed[`screw ${s.screw}`] ?? placeNow(s.screw, s.turns_out, moves)} />
        ))}
        <label>
          Stage
          <select name="stage">
            {["as found", "working", "as left"].map((stage) => (
              <option key={stage} selected={stage === (o.begun ? "working" : "as found")}>
                {stage}
              </option>
            ))}
          </select>
        </label>
      </div>
      <label class="tick">
        <input type="checkbox" name="settled" defaultChecked={from ? from.settled === true : true} /> It has settled
      </label>
      <button type="submit" class="main">
        Save the reading
      </button>
    </form>
  );
}

function TakeReading({ job, of: o, moves }: { job: number; of: Outline; moves: Move[] }) {
  const taken = signalTaken.value;
  return (
    <section>
      <h2>{listening.value ? "Take a reading" : "Type a reading"}</h2>
      {listening.value && (
        <p>
          <button type="button" onClick={() => (signalTaken.value = live.value)} disabled={!live.value}>
            Fill in what is read now
          </button>{" "}
          {live.value && !live.value.settled && <span class="unsettled"><Hourglass /> not settled yet</span>}
        </p>
      )}
      <ReadingForm key={taken?.words ?? String(taken?.items.speed?.x ?? "")} job={job} of={o} moves={moves} from={taken} />
    </section>
  );
}
const signalTaken = signal<LiveEntry | null>(null);

function Refusal({ job, of: r }: { job: number; of: { status: number; words: string } }) {
  const unfit = r.status === 409;
  return (
    <section class="first">
      <h2 class="what-now">{unfit ? "Not yet" : r.status === 422 ? "Read first" : "No answer"}</h2>
      <p class="move">{r.words}</p>
      {r.status === 422 && <p>Let the readings settle, then save one: the guide goes on from there.</p>}
      {unfit && (
        <p>
          <a class="button" href={`/jobs/${job}/fit`}>
            What is not fit
          </a>
        </p>
      )}
    </section>
  );
}

// The screws that turn on this car; the twin knows their names.
async function askScrews(job: number) {
  try {
    const got = await ask<{ curves: { screw: string }[] }>("GET", `/api/jobs/${job}/idle-curves`);
    screws.value = got.curves.filter((c) => c.screw !== "speed screw").map((c) => c.screw.replace(/ screw$/, ""));
  } catch {
    screws.value = [];
  }
}

function Idle({ job, of: w }: { job: number; of: Work }) {
  const seenVersion = version.value;
  useEffect(() => void askGuide(job), [job, seenVersion]);
  const g = guidance.value;
  const idles = w.readings.filter((r) => r.condition === "idle");
  return (
    <>
      <Gauges of={idleGauges(live.value, idles[idles.length - 1], g?.wanted ?? null, w.judgements)} />
      {live.value && live.value.settled === false && (
        <p class="wait-bar" role="status">
          <Hourglass /> Wait{live.value.wait_s ? `, about ${Math.ceil(live.value.wait_s)} s` : ""}: the readings still move.
        </p>
      )}
      {liveWords.value && <p class="trouble" role="status">{liveWords.value}</p>}
      {refusal.value && <Refusal job={job} of={refusal.value} />}
      {asking.value && !g && <p role="status">Asking the twin …</p>}
      {g && <NextMove of={g} />}
      <TakeReading job={job} of={outlineOf(job, w)} moves={g?.moves ?? []} />
      <History readings={w.readings} wanted={g?.wanted ?? null} />
      <ul class="cares">
        {w.advice.cares.map((c) => (
          <li key={c}>{c}</li>
        ))}
      </ul>
    </>
  );
}

// Nothing is known of the readings so far, but another one can be typed: it is sent when the link is back.
function WithoutLink({ job }: { job: number }) {
  return (
    <>
      <p>What was read so far is not kept in this browser. A reading can still be typed.</p>
      <TakeReading job={job} of={readOutline(job)} moves={[]} />
    </>
  );
}

export function IdlePage({ job }: { job: number }) {
  useEffect(() => {
    guidance.value = null;
    refusal.value = null;
    signalTaken.value = null;
    screws.value = [];
  }, [job]);
  return (
    <JobFrame job={job} at="/idle" without={() => <WithoutLink job={job} />}>
      {() => <Idle job={job} of={work.value!} />}
    </JobFrame>
  );
}
