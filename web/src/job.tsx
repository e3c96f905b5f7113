// One job: verdict and next move first, then what they rest on. Changes by others come by themselves.
import type { Judgement, Range, Work } from "./api";
import { work } from "./follow";
import { JobFrame } from "./frame";
import { List, Mark, number, percent, ppm, rpm } from "./show";
import { own, shown as inUnits, unitOf } from "./units";

export function limit(range: Range | undefined, shown: (x: number) => string): string {
  if (!range) return "";
  const lo = range.lo === null ? null : shown(range.lo);
  const hi = range.hi === null ? null : shown(range.hi);
  if (lo !== null && hi !== null) return `${lo} to ${hi}`;
  return hi !== null ? `at most ${hi}` : `at least ${lo}`;
}

export function JudgementRow({ of: j }: { of: Judgement }) {
  const small = j.gas === "HC" || j.gas === "NO";
  const shown = (x: number) => (small ? `${ppm(x)} ppm` : `${percent(x)} %`);
  const value = j.value_fraction?.value ?? null;
  const lambda = j.value_lambda?.value ?? null;
  return (
    <tr>
      <th scope="row">{j.name}</th>
      <td class="word">
        <Mark of={j.verdict} />
      </td>
      <td>{j.value_lambda ? number(lambda, 3) : value === null ? "not read" : shown(value)}</td>
      <td>{j.limit_lambda ? limit(j.limit_lambda, (x) => number(x, 2)) : limit(j.limit_fraction, shown)}</td>
    </tr>
  );
}

export function Limits({ of }: { of: Judgement[] }) {
  return (
    <section>
      <h2>Against the limits</h2>
      <div class="wide" tabIndex={0} role="region" aria-label="Limits">
        <table>
          <thead>
            <tr>
              <th scope="col">what</th>
              <th scope="col" class="word">
                verdict
              </th>
              <th scope="col">read</th>
              <th scope="col">limit</th>
            </tr>
          </thead>
          <tbody>
            {of.map((j) => (
              <JudgementRow key={j.name} of={j} />
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}

export function Readings({ of: w }: { of: Work }) {
  if (!w.readings.length) return <p>Nothing was read yet.</p>;
  return (
    <div class="wide" tabIndex={0} role="region" aria-label="Readings">
      <table>
        <thead>
          <tr>
            <th scope="col">reading</th>
            <th scope="col">rpm</th>
            <th scope="col">CO %</th>
            <th scope="col">CO2 %</th>
            <th scope="col">HC ppm</th>
            <th scope="col">O2 %</th>
            <th scope="col">lambda</th>
            <th scope="col">{unitOf("vacuum").name}</th>
          </tr>
        </thead>
        <tbody>
          {w.readings.map((r, i) => (
            <tr key={i}>
              <th scope="row">
                {r.label ?? `reading ${i + 1}`}
                <small> {[r.stage, r.time].filter(Boolean).join(", ")}</small>
              </th>
              <td>{rpm(r.speed_rad_per_s)}</td>
              <td>{percent(r.read.co_fraction)}</td>
              <td>{percent(r.read.co2_fraction, 1)}</td>
              <td>{ppm(r.read.hc_fraction)}</td>
              <td>{percent(r.read.o2_fraction)}</td>
              <td>{number(r.gas?.lambda.value, 3)}</td>
              <td>{inUnits("vacuum", r.vacuum_pa)}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

function Checks({ of: w }: { of: Work }) {
  return (
    <section>
      <h2>Fit to adjust</h2>
      <p>
        <Mark of={w.fitness.answer}>{own(w.fitness.summary)}</Mark>
      </p>
      <details>
        <summary>{w.fitness.checks.length} checks</summary>
        <ul class="checks">
          {w.fitness.checks.map((c) => (
            <li key={c.check}>
              <Mark of={c.answer}>{c.check}</Mark>
              {c.found && <span>found {own(c.found)}</span>}
              {c.expected && <span>expected {own(c.expected)}</span>}
              {c.answer !== "fit" && c.next && <strong>{own(c.next)}</strong>}
            </li>
          ))}
        </ul>
      </details>
    </section>
  );
}

export function JobPage({ job }: { job: number }) {
  return (
    <JobFrame job={job} at="">
      {() => <Overview job={job} of={work.value!} />}
    </JobFrame>
  );
}

function Overview({ job, of: w }: { job: number; of: Work }) {
  const move = w.advice.move;
  return (
    <>
      {w.job.complaint && <p class="complaint">{w.job.complaint}</p>}
      <section class="first">
        <p class="verdict">
          <Mark of={w.verdict} />
        </p>
        <p>{w.verdict_words}</p>
        <h2>Next move</h2>
        <p class="move">{move.words ?? "none"}</p>
        {move.reason && <p>{move.reason}</p>}
        {w.advice.target && <p>Aim: {w.advice.target}</p>}
      </section>
      <Limits of={w.judgements} />
      <List of={w.advice.steps} title="Then" />
      <List of={w.advice.cares} title="Take care" />
      <List of={w.cautions} title="Where it can hurt" />
      <Checks of={w} />
      <section>
        <h2>Does the unit belong here?</h2>
        <p>
          <Mark of={w.intake.answer}>{w.intake.summary}</Mark>
        </p>
      </section>
      <section>
        <h2>Readings</h2>
        <Readings of={w} />
      </section>
      <List of={w.gaps} title="Not known" />
      <p class="takeaway">
        <a class="button" href={`/api/jobs/${job}/sheet.pdf`} download>
          Handover sheet (PDF)
        </a>
        <a class="button" href={`/api/jobs/${job}/readings.csv`} download>
          Readings (CSV)
        </a>
      </p>
    </>
  );
}
