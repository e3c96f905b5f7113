// The frame of a job's pages: its name, the steps of the job, and the state of the link.
import type { ComponentChildren } from "preact";
import { linked, trouble, unreached, useJob, work, workOf } from "./follow";
import { keptId } from "./outline";

const steps: [string, string][] = [
  ["", "Overview"],
  ["/fit", "Fit to adjust"],
  ["/idle", "Set the idle"],
  ["/off-idle", "Off idle"],
  ["/causes", "Find the cause"],
  ["/what-if", "What if"],
  ["/handover", "Hand over"],
  ["/edit", "Whole job"],
];

export function Steps({ job, at }: { job: number; at: string }) {
  return (
    <nav class="steps" aria-label="Steps of the job">
      {steps.map(([path, name]) => (
        <a key={path} href={`/jobs/${job}${path}`} aria-current={path === at ? "page" : undefined}>
          {name}
        </a>
      ))}
    </nav>
  );
}

// without: what can be done though the job could not be read, with the link down.
export function JobFrame({ job, at, children, without }: { job: number; at: string; children: () => ComponentChildren; without?: () => ComponentChildren }) {
  useJob(job);
  const w = workOf.value === job ? work.value : null;
  return (
    <main>
      <h1>
        {w?.job.id ?? keptId(job) ?? `Job ${job}`} <small>{w && [w.car.description ?? w.car.engine, w.car.plate].filter(Boolean).join(", ")}</small>
      </h1>
      <Steps job={job} at={at} />
      {!linked.value && (
        <p class="trouble" role="status">
          ✕ The link is down{w ? "; this may be old" : ""}. It is tried again by itself.
        </p>
      )}
      {!w && trouble.value && (linked.value || !unreached.value) && <p class="trouble" role="alert">{trouble.value}</p>}
      {!w && !trouble.value && linked.value && <p>One moment …</p>}
      {w && children()}
      {!w && !linked.value && without?.()}
    </main>
  );
}
