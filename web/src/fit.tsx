// Fit to adjust: does the unit belong here, is the engine fit, and what is missing to decide.
import type { Check, Work } from "./api";
import { work } from "./follow";
import { JobFrame } from "./frame";
import { merge } from "./outbox";
import { List, Mark } from "./show";
import { own, unitOf, units } from "./units";

function CheckItem({ of: c }: { of: Check }) {
  return (
    <li>
      <Mark of={c.answer}>
        {c.check}: {c.answer.replace("_", " ")}
      </Mark>
      {c.found && <span>found {own(c.found)}</span>}
      {c.expected && <span>expected {own(c.expected)}</span>}
      {c.why && <span>{own(c.why)}</span>}
      {c.answer !== "fit" && c.next && <strong>{own(c.next)}</strong>}
    </li>
  );
}

function Group({ of, title, open }: { of: Check[]; title: string; open: boolean }) {
  if (!of.length) return null;
  return (
    <details open={open}>
      <summary>
        {title} ({of.length})
      </summary>
      <ul class="checks">
        {of.map((c) => (
          <CheckItem key={c.check} of={c} />
        ))}
      </ul>
    </details>
  );
}

function Intake({ of: w }: { of: Work }) {
  return (
    <section>
      <h2>Does the unit belong here?</h2>
      <p class="move">
        <Mark of={w.intake.answer}>{w.intake.summary}</Mark>
      </p>
      {w.intake.differences.length > 0 && (
        <details>
          <summary>
            {w.intake.differences.length === 1 ? "1 difference" : `${w.intake.differences.length} differences`}
          </summary>
          <ul class="checks">
            {w.intake.differences.map((d) => (
              <li key={d.what}>
                <strong>{d.what}</strong>
                <span>fitted: {own(d.fitted) ?? "–"}</span>
                <span>this car needs: {own(d.expected) ?? "–"}</span>
                {d.why && <span>{d.why}</span>}
              </li>
            ))}
          </ul>
        </details>
      )}
    </section>
  );
}

/* ---- entering what was found ---- */

const yesNo: [string, string][] = [
  ["warm", "Engine warm"],
  ["choke open", "Choke fully open"],
  ["air cleaner", "Air cleaner on"],
  ["accessories off", "Accessories off"],
  ["dashpot clear", "Dashpot clear of the lever"],
];

function checksOf(form: FormData): Record<string, unknown> {
  const checks: Record<string, unknown> = {};
  const text = (name: string) => String(form.get(name) ?? "").trim();
  for (const [key] of yesNo) if (text(key)) checks[key] = text(key);
  const add = (key: string, unit: string) => {
    if (text(key)) checks[key] = `${text(key).replace(",", ".")} ${unit}`;
  };
  add("timing", "deg BTDC");
  add("dwell", "deg");
  add("coolant", units.value === "shop" ? "degF" : "degC");
  add("fuel level", unitOf("size").name);
  if (text("leak test")) checks["leak test"] = text("leak test");
  const pressures = text("compression").split(/[\s,;]+/).filter(Boolean);
  if (pressures.length) checks.compression = pressures.map((p) => `${p} ${units.value === "shop" ? "psi" : "kPa"}`);
  return checks;
}

function Enter({ job, of: w }: { job: number; of: Work }) {
  const send = (event: Event) => {
    event.preventDefault();
    const form = event.currentTarget as HTMLFormElement;
    const checks = checksOf(new FormData(form));
    if (!Object.keys(checks).length) return;
    form.reset();
    void merge(`/api/jobs/${job}`, { checks }, `checks of ${w.job.id}: ${Object.keys(checks).join(", ")}`);
  };
  const field = (key: string, label: string) => (
    <label key={key}>
      {label}
      <input name={key} autocomplete="off" />
    </label>
  );
  return (
    <section>
      <h2>Enter what you found</h2>
      <form class="reading" onSubmit={send}>
        <div class="fields">
          {yesNo.map(([key, label]) => (
            <label key={key}>
              {label}
              <select name={key}>
                <option value="">–</option>
                <option value="yes">yes</option>
                <option value="no">no</option>
              </select>
            </label>
          ))}
          {field("timing", "Timing, deg BTDC")}
          {field("dwell", "Dwell, deg")}
          {field("coolant", `Coolant, ${units.value === "shop" ? "degF" : "degC"}`)}
          {field("fuel level", `Fuel level, ${unitOf("size").name}`)}
          {field("leak test", "Air leak: where, or 'none found'")}
          {field("compression", `Compression of each cylinder, ${units.value === "shop" ? "psi" : "kPa"}`)}
        </div>
        <button type="submit" class="main">
          Save the checks
        </button>
      </form>
    </section>
  );
}

// Another car's unit is not adjusted, however fit the engine is.
function Answer({ of: w }: { of: Work }) {
  const words: Record<string, string> = { fit: "Fit to adjust", not_fit: "Not fit" };
  const wrong = w.intake.answer === "belongs_not";
  return (
    <>
      <p class="verdict">
        {wrong ? <Mark of="belongs_not">Wrong unit</Mark> : <Mark of={w.fitness.answer}>{words[w.fitness.answer] ?? "Not decided yet"}</Mark>}
      </p>
      {wrong && <p class="move">First: fit the unit that belongs here.</p>}
      <p>{own(wrong ? `The engine: ${w.fitness.summary}` : w.fitness.summary)}</p>
      {w.fitness.first && <p class="move">First: {own(w.fitness.first)}</p>}
    </>
  );
}

function Page({ job, of: w }: { job: number; of: Work }) {
  const by = (answer: string) => w.fitness.checks.filter((c) => c.answer === answer);
  const missing = by("unknown");
  const wrong = w.intake.answer === "belongs_not";
  const needed = missing.filter((c) => c.essential);
  return (
    <>
      <section class="first">
        <Answer of={w} />
        {needed.length > 0 && <p>Missing to decide: {needed.map((c) => c.check).join(", ")}</p>}
      </section>
      {wrong && <Intake of={w} />}
      <section>
        <h2>The checks</h2>
        <Group of={by("not_fit")} title="Not fit" open />
        <Group of={needed} title="Missing to decide" open />
        <Group of={missing.filter((c) => !c.essential)} title="Not checked, not needed" open={false} />
        <Group of={by("fit")} title="Fit" open={false} />
      </section>
      {!wrong && <Intake of={w} />}
      <Enter job={job} of={w} />
      <List of={w.gaps} title="Not known" />
    </>
  );
}

export function FitPage({ job }: { job: number }) {
  return (
    <JobFrame job={job} at="/fit">
      {() => <Page job={job} of={work.value!} />}
    </JobFrame>
  );
}
