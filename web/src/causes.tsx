// Find the cause: what is likely wrong, what speaks for it, and the test that would tell more.
import { signal } from "@preact/signals";
import { useEffect, useState } from "preact/hooks";
import { ask, type Cause, type Causes, type Evidence, Refused } from "./api";
import { version } from "./follow";
import { JobFrame } from "./frame";
import { percent } from "./show";
import { own } from "./units";

const found = signal<Causes | null>(null);
const refusal = signal("");
const asking = signal(false);
let asked = 0;

async function weigh(job: number) {
  const mine = ++asked;
  asking.value = true;
  try {
    const got = await ask<Causes>("GET", `/api/jobs/${job}/causes`);
    if (mine !== asked) return;
    found.value = got;
    refusal.value = "";
  } catch (error) {
    if (mine !== asked) return;
    if (error instanceof Refused && error.status >= 400 && error.status < 500) found.value = null;
    refusal.value = (error as Error).message;
  } finally {
    if (mine === asked) asking.value = false;
  }
}

export function Busy({ what }: { what: string }) {
  const [seconds, tick] = useState(0);
  useEffect(() => {
    const timer = setInterval(() => tick((s) => s + 1), 1000);
    return () => clearInterval(timer);
  }, []);
  return (
    <div class="busy" role="status">
      <label>
        {what} … {seconds > 0 && `${seconds} s`}
        <progress />
      </label>
    </div>
  );
}

const numbersIn = (text: string) => (text.replaceAll(",", "").match(/-?\d+(\.\d+)?/g) ?? []).map(Number);

// One scale for the three: a band where it would lie in a sound car, a tick if this is wrong, a dot as
// read. Numbers stand beside, so the picture is never the only word.
function EvidenceBar({ of: e }: { of: Evidence }) {
  const sound = numbersIn(own(e.sound)), read = numbersIn(own(e.read))[0], withIt = numbersIn(own(e.with))[0];
  if (read === undefined || withIt === undefined || !sound.length) return null;
  const lo = sound[0]!, hi = sound[sound.length - 1]!;
  const all = [lo, hi, read, withIt];
  const low = Math.min(...all), span = Math.max(...all) - low || 1;
  const x = (v: number) => 8 + ((v - low) / span) * 184;
  return (
    <svg class="bar" viewBox="0 0 200 22" aria-hidden="true">
      <path d="M4 11H196" stroke="var(--line)" />
      <rect class="band" x={x(lo) - 2} width={x(hi) - x(lo) + 4} y="3" height="16" />
      <path d={`M${x(withIt)} 1V21`} stroke="var(--doubt)" stroke-width="3" />
      <circle cx={x(read)} cy="11" r="5" fill="var(--accent)" />
    </svg>
  );
}

// together: no reading alone speaks for it; those shown are the ones most apart from a sound car.
function EvidenceTable({ of, together }: { of: Evidence[]; together: boolean }) {
  const alone = "No reading alone speaks for it: they do together, or how often it is met does.";
  if (!of.length) return <p class="faint">{alone}</p>;
  return (
    <>
      {together && <p class="faint">{alone} It differs most from a sound car in:</p>}
      <ul class="evidence">
        {of.map((e) => (
          <li key={e.reading}>
            <strong>{e.reading}</strong>
            <EvidenceBar of={e} />
            <span>
              ● read {own(e.read)} <span class="faint">▬ if healthy {own(e.sound)}</span> <span>┃ if this {own(e.with)}</span>
            </span>
          </li>
        ))}
      </ul>
    </>
  );
}

function CauseCard({ of: c, first }: { of: Cause; first: boolean }) {
  return (
    <li class="cause">
      <details open={first}>
        <summary>
          <span class="cause-name">{own(c.name)}</span>
          <span class="chance">{c.probability < 0.01 ? "under 1" : percent(c.probability, 0)} %</span>
          <svg class="chance-bar" viewBox="0 0 100 4" preserveAspectRatio="none" aria-hidden="true">
            <rect width="100" height="4" fill="var(--line)" />
            <rect width={(100 * c.probability).toFixed(1)} height="4" fill="var(--accent)" />
          </svg>
        </summary>
        {c.where && <p>Where: {c.where}</p>}
        {c.remedy && <p>{c.remedy}</p>}
        <EvidenceTable of={c.evidence} together={c.together} />
      </details>
    </li>
  );
}

// "play: the shaft; none: not the shaft" is a list of outcomes.
function NextTest({ of: d }: { of: Causes }) {
  const [first, ...others] = d.next_tests;
  if (!first) return <p>No further test on the list would tell these apart.</p>;
  return (
    <section class="first">
      <h2 class="what-now">Next test</h2>
      <p class="move">
        {first.test} <small class="faint">about {first.minutes} min</small>
      </p>
      <p>{first.how}</p>
      <h3>What each outcome would mean</h3>
      <ul>
        {first.outcomes.split("; ").map((o) => (
          <li key={o}>{o}</li>
        ))}
      </ul>
      {others.length > 0 && (
        <details>
          <summary>{others.length === 1 ? "1 other test" : `${others.length} other tests`}</summary>
          <ul>
            {others.map((t) => (
              <li key={t.test}>
                <strong>{t.test}</strong> ({t.minutes} min): {t.how}. {t.outcomes}
              </li>
            ))}
          </ul>
        </details>
      )}
    </section>
  );
}

// What these readings cannot tell, and the reading that would.
function NotShown({ of: d }: { of: Causes }) {
  return (
    <>
      <p>These readings would not show, and what would:</p>
      <ul>
        {d.not_shown_names.map((name, i) => (
          <li key={name}>
            {name}: {d.not_shown_by[i]}
          </li>
        ))}
      </ul>
    </>
  );
}

function Diagnosis({ of: d }: { of: Causes }) {
  const likely = d.ranked.filter((c) => c.probability >= 0.02);
  const rest = d.ranked.filter((c) => c.probability < 0.02);
  return (
    <>
      <p class="summary">{own(d.summary)}</p>
      {d.wrong_unit && <p class="trouble">✕ {d.wrong_unit}</p>}
      {d.tie && <p>≈ The readings do not tell the first causes apart.</p>}
      <NextTest of={d} />
      <section>
        <h2>Most likely first</h2>
        <ol class="causes">{likely.map((c, i) => <CauseCard key={c.name} of={c} first={i === 0} />)}</ol>
        {rest.length > 0 && (
          <details>
            <summary>{rest.length} with less than 2 %</summary>
            <ol class="causes">{rest.map((c) => <CauseCard key={c.name} of={c} first={false} />)}</ol>
          </details>
        )}
      </section>
      <section>
        <h2>What was weighed</h2>
        <p>{d.weighed.join("; ") || "no reading"}</p>
        {d.left_out.length > 0 && <p>Left out: {own(d.left_out.join("; "))}</p>}
        {d.not_shown.length > 0 && <NotShown of={d} />}
      </section>
    </>
  );
}

function Page({ job }: { job: number }) {
  const seen = version.value;
  useEffect(() => void weigh(job), [job, seen]);
  return (
    <>
      {asking.value && <Busy what={found.value ? "Weighing again" : "Trying every cause on the twin of this car"} />}
      {refusal.value && (
        <section class="first">
          <h2 class="what-now">Not yet</h2>
          <p class="move">{refusal.value}</p>
        </section>
      )}
      {found.value && <Diagnosis of={found.value} />}
    </>
  );
}

export function CausesPage({ job }: { job: number }) {
  useEffect(() => {
    found.value = null;
    refusal.value = "";
  }, [job]);
  return (
    <JobFrame job={job} at="/causes">
      {() => <Page job={job} />}
    </JobFrame>
  );
}
