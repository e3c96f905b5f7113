// The review: what was wrong, what each reading told, and the fewest moves that would have done.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { ask } from "./api";
import { passOf, type Review, type Step } from "./bay";
import { Busy } from "./causes";
import { percent } from "./show";

const review = signal<Review | null>(null);
const trouble = signal("");

async function look(number: number) {
  review.value = null;
  trouble.value = "";
  try {
    review.value = await ask<Review>("GET", `/api/practice/${number}/review`, undefined, undefined, undefined, passOf("practice", number) || passOf("class", classOf()));
  } catch (error) {
    trouble.value = (error as Error).message;
  }
}

// A trainer comes from the board: /practice/7/review#class-2
const classOf = () => Number(/^#class-([1-9][0-9]*)$/.exec(location.hash)?.[1] ?? 0);

// From what it was thought before to what it was after.
function Belief({ before, after }: { before: number; after: number }) {
  const x = (p: number) => (200 * p).toFixed(1);
  return (
    <span class="belief">
      <svg viewBox="0 0 200 10" preserveAspectRatio="none" aria-hidden="true">
        <rect width="200" height="10" fill="var(--line)" />
        <rect width={x(after)} height="10" fill="var(--accent)" />
        <rect x={x(before)} width="3" height="10" fill="var(--ink)" />
      </svg>
      <span>
        {percent(before, 0)} → {percent(after, 0)} %
      </span>
    </span>
  );
}

function Steps({ of }: { of: Step[] }) {
  if (!of.length) return <p class="faint">No reading was written down, no check made.</p>;
  return (
    <ol class="told">
      {of.map((s, i) => (
        <li key={i}>
          <strong>{s.what}</strong> <span class="faint">{s.minutes} min</span>
          <p>{s.words}</p>
          {s.before !== null && s.after !== null && <Belief before={s.before} after={s.after} />}
        </li>
      ))}
    </ol>
  );
}

function turnsSaid(r: Review): string {
  const made = r.turns_made === 0 ? "You turned no screw" : r.turns_made === 1 ? "You turned a screw once" : `You turned screws ${r.turns_made} times`;
  if (r.turns_fewest === null) return `${made}; the guide says this one cannot be set by its screws.`;
  if (r.turns_fewest === 0) return `${made}; none was needed.`;
  return `${made}; the guide would have had them turned ${r.turns_fewest === 1 ? "once" : `${r.turns_fewest} times`}.`;
}

function Said({ of: r }: { of: Review }) {
  return (
    <>
      <section class="first">
        <p class="what-now">
          <span class={`mark ${r.found ? "good" : "bad"}`}>{r.found ? "✓ Found" : "✕ Not found"}</span>
        </p>
        <p class="move">{r.fault}</p>
        <p>{r.remedy}</p>
      </section>
      <dl class="facts">
        <div>
          <dt>Your search</dt>
          <dd>
            <strong>{r.minutes_seeking} min</strong>, {r.moves_seeking === 1 ? "1 move" : `${r.moves_seeking} moves`}
            {r.wrong > 0 && `, ${r.wrong} named wrongly`}
          </dd>
        </div>
        <div>
          <dt>The causes engine’s</dt>
          <dd>
            <strong>{r.fewest_minutes} min</strong>
            {!r.fewest_finds && ", not found"}
          </dd>
        </div>
        <div>
          <dt>The idle as you left it</dt>
          <dd class={`mark ${r.within ? "good" : "bad"}`}>{r.within ? "✓ right" : "✕ not right"}</dd>
        </div>
      </dl>
      <div class="two">
        <section>
          <h2>What your readings and checks told</h2>
          <Steps of={r.steps} />
          <p>{r.would}</p>
        </section>
        <section>
          <h2>The fewest that would do</h2>
          <p class="faint">The same car by the causes engine: each time the test that tells most for its minutes.</p>
          <Steps of={r.fewest} />
          <p>{r.fewest_says}</p>
        </section>
      </div>
      <section>
        <h2>The idle</h2>
        <p>{r.set}</p>
        <p>{turnsSaid(r)}</p>
      </section>
      <p class="takeaway">
        <a class="button main" href="/practice">
          Another car
        </a>
      </p>
    </>
  );
}

export function ReviewPage({ number }: { number: number }) {
  useEffect(() => void look(number), [number]);
  return (
    <main>
      <h1>
        Review <small>practice car {number}</small>
      </h1>
      {trouble.value && <p class="trouble" role="alert">{trouble.value}</p>}
      {!review.value && !trouble.value && <Busy what="The causes engine goes over it" />}
      {review.value && <Said of={review.value} />}
    </main>
  );
}
