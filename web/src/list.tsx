// The saved jobs, newest first, with search.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { ask, type JobRow } from "./api";
import { Mark } from "./show";

const jobs = signal<JobRow[] | null>(null);
const trouble = signal("");
const words = signal("");
let asked = 0;

async function look() {
  const mine = ++asked;
  try {
    const path = words.value ? `/api/jobs?search=${encodeURIComponent(words.value)}` : "/api/jobs";
    const found = (await ask<{ jobs: JobRow[] }>("GET", path)).jobs;
    if (mine !== asked) return;
    jobs.value = found;
    trouble.value = "";
  } catch (error) {
    if (mine === asked) trouble.value = (error as Error).message;
  }
}

export function JobList() {
  useEffect(() => void look(), []);
  return (
    <main>
      <h1>Jobs</h1>
      <p>
        <a class="button main" href="/new">
          New job
        </a>{" "}
        <a class="button" href="/brief">
          Brief: what changed
        </a>
      </p>
      <label class="search">
        Find
        <input
          type="search"
          value={words.value}
          placeholder="number, plate, name, complaint"
          onInput={(event) => {
            words.value = event.currentTarget.value;
            void look();
          }}
        />
      </label>
      {trouble.value && <p class="trouble" role="alert">{trouble.value}</p>}
      {jobs.value && !jobs.value.length && (
        <p>{words.value ? "No job holds all of these words." : "No job is saved yet."}</p>
      )}
      <ul class="jobs">
        {jobs.value?.map((row) => (
          <li key={row.job}>
            <a href={`/jobs/${row.job}`}>
              <span class="job-head">
                <strong>{row.id}</strong>
                <Mark of={row.verdict === "no verdict" ? null : row.verdict} />
              </span>
              <span class="job-car">{[row.car, row.plate].filter(Boolean).join(", ") || "no car given"}</span>
              <span class="job-more">
                {[row.date, row.technician, row.readings === 1 ? "1 reading" : `${row.readings} readings`].filter(Boolean).join(" · ")}
              </span>
              {row.complaint && <span class="job-more cut">{row.complaint}</span>}
            </a>
          </li>
        ))}
      </ul>
    </main>
  );
}
