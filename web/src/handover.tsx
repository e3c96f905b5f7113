// Hand over: what the sheet will say, on the screen; the sheet itself as PDF.
import { signal } from "@preact/signals";
import type { Reading, Work } from "./api";
import { work } from "./follow";
import { JobFrame } from "./frame";
import { Limits } from "./job";
import { List, Mark, number, percent, ppm, rpm } from "./show";
import { shown, unitOf, units } from "./units";
import { turnsText } from "./turn";

const paper = signal("");

const rows: [string, (r: Reading) => string][] = [
  ["speed, rpm", (r) => rpm(r.speed_rad_per_s)],
  ["CO, %", (r) => percent(r.read.co_fraction)],
  ["CO2, %", (r) => percent(r.read.co2_fraction, 1)],
  ["HC, ppm", (r) => ppm(r.read.hc_fraction)],
  ["O2, %", (r) => percent(r.read.o2_fraction)],
  ["lambda", (r) => number(r.gas?.lambda.value, 3)],
];

function BeforeAfter({ of: w }: { of: Work }) {
  const at = (i: number | null) => (i === null ? undefined : w.readings[i]);
  const before = at(w.reading_as_found), after = at(w.reading_as_left);
  if (!before && !after) return <p>Nothing was read yet.</p>;
  const cell = (r: Reading | undefined, of: (r: Reading) => string) => <td>{r ? of(r) : "–"}</td>;
  const vacuum: [string, (r: Reading) => string] = [`vacuum, ${unitOf("vacuum").name}`, (r) => shown("vacuum", r.vacuum_pa)];
  return (
    <table class="narrow">
      <thead>
        <tr>
          <th scope="col">at idle</th>
          <th scope="col">as found</th>
          <th scope="col">as left</th>
        </tr>
      </thead>
      <tbody>
        {[...rows, vacuum].map(([name, of]) => (
          <tr key={name}>
            <th scope="row">{name}</th>
            {cell(before, of)}
            {cell(after, of)}
          </tr>
        ))}
      </tbody>
    </table>
  );
}

function doneText(d: Work["job"]["done"][number]): string {
  const turns = d.turns_counterclockwise;
  if (!turns) return d.what;
  return `${d.what} (${d.screw ? `${d.screw}, ` : ""}${turnsText(turns)} ${turns < 0 ? "clockwise" : "counter-clockwise"})`;
}

function TakeAway({ job }: { job: number }) {
  const size = paper.value || (units.value === "shop" ? "Letter" : "A4");
  return (
    <p class="takeaway">
      <label class="inline">
        Paper{" "}
        <select value={size} onChange={(event) => (paper.value = event.currentTarget.value)}>
          <option>A4</option>
          <option>Letter</option>
        </select>
      </label>
      <a class="button main" href={`/api/jobs/${job}/sheet.pdf?paper=${size}`} download>
        Handover sheet (PDF)
      </a>
      <a class="button" href={`/api/jobs/${job}/readings.csv`} download>
        Readings (CSV)
      </a>
      <button type="button" onClick={() => print()}>
        Print this page
      </button>
    </p>
  );
}

function Page({ job, of: w }: { job: number; of: Work }) {
  const facts: [string, string | null][] = [
    ["Date", w.job.date],
    ["Technician", w.job.technician],
    ["Shop", w.job.shop],
    ["Customer", w.job.customer],
    ["Engine", w.car.engine],
    ["Unit fitted", w.job.fitted_unit],
    ["Odometer", w.car.odometer],
    ["Fuel", w.fuel?.name ?? null],
  ];
  return (
    <>
      <TakeAway job={job} />
      <article class="sheet" aria-label="Preview of the handover sheet">
        <p class="verdict">
          <Mark of={w.verdict} />
        </p>
        <p>{w.verdict_words}</p>
        {w.job.complaint && <p>Complaint: {w.job.complaint}</p>}
        <dl class="facts">
          {facts.map(([name, value]) => value && <div key={name}><dt>{name}</dt><dd>{value}</dd></div>)}
        </dl>
        <h2>Before and after</h2>
        <BeforeAfter of={w} />
        <Limits of={w.judgements} />
        <List of={w.job.done.map(doneText)} title="What was done" />
        <List of={w.job.notes} title="Notes" />
        <section>
          <h2>Fit to adjust</h2>
          <p>
            <Mark of={w.fitness.answer}>{w.fitness.summary}</Mark>
          </p>
        </section>
        <List of={w.gaps} title="Not known" />
        <List of={w.cautions} title="Cautions" />
      </article>
    </>
  );
}

export function HandoverPage({ job }: { job: number }) {
  return (
    <JobFrame job={job} at="/handover">
      {() => <Page job={job} of={work.value!} />}
    </JobFrame>
  );
}
