// One exercise: the needles, and hands on the car.
import { signal } from "@preact/signals";
import { useState } from "preact/hooks";
import { ask } from "./api";
import { busy, end, exercise, linked, move, needles, type Needles, type Practice, type Screw, sending, trouble, useBay } from "./bay";
import { type Gauge, Gauges } from "./gauges";
import { Hourglass, percent, rpm } from "./show";
import { placeText } from "./turn";
import { shown, unitOf } from "./units";
import { goTo } from "./yard";

const toRpm = (x: number) => (x * 30) / Math.PI;

/* ---- needles ---- */

function gaugesOf(n: Needles | null, p: Practice): Gauge[] {
  const w = p.wanted;
  const state = !n || n.unsettled_s <= 0 ? "settled" : `wait ${Math.ceil(n.unsettled_s)} s`;
  const band = p.in_drive === w.in_drive;
  const by = w.speed_within_rad_s;
  return [
    { name: "Speed", unit: "rpm", value: n ? toRpm(n.speed_rad_s) : null, digits: 0, lo: band ? toRpm(w.speed_rad_s - by) : null, hi: band ? toRpm(w.speed_rad_s + by) : null, limit: null, state },
    { name: "CO", unit: "%", value: n ? n.co * 100 : null, digits: 2, lo: w.co_least * 100, hi: w.co_most * 100, limit: w.co_limit === null ? null : w.co_limit * 100, state },
    { name: "HC", unit: "ppm hexane", value: n ? n.hc_hexane * 1e6 : null, digits: 0, lo: null, hi: null, limit: w.hc_limit_hexane === null ? null : w.hc_limit_hexane * 1e6, state },
  ];
}

const at = (share: number, r: number) => {
  const a = ((-120 + 240 * Math.min(1, Math.max(0, share))) * Math.PI) / 180;
  return `${(60 + r * Math.sin(a)).toFixed(1)} ${(60 - r * Math.cos(a)).toFixed(1)}`;
};

// A dial as an eye knows it; the number stands beside it.
function Dial({ name, value, most, text }: { name: string; value: number; most: number; text: string }) {
  return (
    <div class="dial">
      <svg viewBox="0 0 120 92" aria-hidden="true">
        <path d={`M${at(0, 50)}A50 50 0 1 1 ${at(1, 50)}`} fill="none" stroke="var(--line)" stroke-width="6" />
        {[0, 0.25, 0.5, 0.75, 1].map((s) => (
          <path key={s} d={`M${at(s, 44)}L${at(s, 53)}`} stroke="var(--faint)" stroke-width="2" />
        ))}
        <path d={`M60 60L${at(value / most, 46)}`} stroke="var(--accent)" stroke-width="4" stroke-linecap="round" />
        <circle cx="60" cy="60" r="6" fill="var(--accent)" />
      </svg>
      <p>
        {name} <strong>{text}</strong>
      </p>
    </div>
  );
}

function Others({ of: n }: { of: Needles }) {
  const inHg = n.vacuum_pa / 3386.389;
  return (
    <div class="dials">
      <Dial name="Speed" value={toRpm(n.speed_rad_s)} most={4000} text={`${rpm(n.speed_rad_s)} rpm`} />
      <Dial name="Vacuum" value={inHg} most={30} text={`${shown("vacuum", n.vacuum_pa)} ${unitOf("vacuum").name}`} />
      <dl class="facts">
        <div>
          <dt>CO2</dt>
          <dd>{percent(n.co2, 1)} %</dd>
        </div>
        <div>
          <dt>O2</dt>
          <dd>{percent(n.o2, 1)} %</dd>
        </div>
        <div>
          <dt>Pedal</dt>
          <dd>{percent(n.pedal, 0)} %</dd>
        </div>
      </dl>
    </div>
  );
}

function Panel({ of: p }: { of: Practice }) {
  const n = needles.value;
  const stands = n && !n.running && !n.cranking;
  return (
    <>
      <Gauges of={gaugesOf(n, p)} />
      {!linked.value && <p class="trouble" role="status">✕ The link is down: these needles are old. It is tried again by itself.</p>}
      {stands && (
        <p class="trouble" role="status">
          ✕ The engine stands{n.why && `: ${n.why}`}. Turn the starter.
        </p>
      )}
      {n && n.running && n.unsettled_s > 0 && (
        <p class="wait-bar">
          <Hourglass /> Wait about {Math.ceil(n.unsettled_s)} s: the readings still move.
        </p>
      )}
      {n && <Others of={n} />}
    </>
  );
}

/* ---- hands ---- */

const step = signal(0.125);
const steps: [number, string][] = [
  [0.0625, "1/16"],
  [0.125, "1/8"],
  [0.25, "1/4"],
  [0.5, "1/2"],
  [1, "1"],
];

function place(s: Screw): string {
  if (s.speed_screw) return s.turns === 0 ? "as it came" : `${placeText(Math.abs(s.turns))} ${s.turns > 0 ? "in" : "out"} since it came`;
  return `${placeText(s.turns)} turns out`;
}

function Hand({ p, body, children, main }: { p: Practice; body: Record<string, unknown>; children: string; main?: boolean }) {
  return (
    <button type="button" class={main ? "main" : undefined} disabled={busy.value} onClick={() => void move(p.practice, body)}>
      {children}
    </button>
  );
}

function Screws({ of: p }: { of: Practice }) {
  return (
    <section>
      <h2>Screws <small class="faint">by so much of a turn</small></h2>
      <div class="choice tight" role="group" aria-label="How far">
        {steps.map(([turns, name]) => (
          <button key={name} type="button" aria-pressed={step.value === turns} onClick={() => (step.value = turns)}>
            {name}
            <span class="unseen"> turn</span>
          </button>
        ))}
      </div>
      <ul class="hands">
        {p.screws.map((s) => (
          <li key={s.screw}>
            <p>
              <strong>{s.screw}</strong> <span class="faint">{s.speed_screw ? "" : `${s.kind}; `}{place(s)}</span>
            </p>
            <Hand p={p} body={{ move: "turn", screw: s.screw, turns: -step.value }}>
              ↻ clockwise
            </Hand>
            <Hand p={p} body={{ move: "turn", screw: s.screw, turns: step.value }}>
              ↺ counter-clockwise
            </Hand>
          </li>
        ))}
      </ul>
    </section>
  );
}

function Foot({ of: p }: { of: Practice }) {
  const hold = (n: number) => ({ move: "hold", speed_rad_s: (n * Math.PI) / 30 });
  const pedal = Math.round(100 * (needles.peek()?.pedal ?? 0));
  return (
    <section>
      <h2>Foot and key</h2>
      <div class="choice">
        <Hand p={p} body={hold(1500)}>Hold 1,500 rpm</Hand>
        <Hand p={p} body={hold(2500)}>Hold 2,500 rpm</Hand>
        <Hand p={p} body={{ move: "pedal", share: 0 }}>Let go</Hand>
        <Hand p={p} body={{ move: "blip" }}>Blip</Hand>
        {p.automatic && (
          <Hand p={p} body={{ move: "gear", drive: !p.in_drive }}>{p.in_drive ? "Into neutral" : "Into drive, brake held"}</Hand>
        )}
        <Hand p={p} body={{ move: "start" }}>Starter</Hand>
        <Hand p={p} body={{ move: "stop" }}>Ignition off</Hand>
      </div>
      <label class="knob">
        Hold the pedal
        <input
          type="range"
          min="0"
          max="100"
          step="1"
          defaultValue={String(pedal)}
          aria-valuetext={`${pedal} percent`}
          onChange={(event) => void move(p.practice, { move: "pedal", share: Number(event.currentTarget.value) / 100 })}
        />
      </label>
    </section>
  );
}

function Hoses({ of: p }: { of: Practice }) {
  return (
    <section>
      <h2>Hoses</h2>
      <div class="choice">
        {p.hoses.map((h) => (
          <button
            key={h.hose}
            type="button"
            aria-pressed={h.plugged}
            disabled={busy.value}
            onClick={() => void move(p.practice, { move: "hose", hose: h.hose, plugged: !h.plugged })}
          >
            {h.hose}: {h.plugged ? "plugged" : "on"}
          </button>
        ))}
      </div>
    </section>
  );
}

function Checks({ of: p }: { of: Practice }) {
  const made = p.checks.filter((c) => c.answer !== null).length;
  return (
    <section>
      <h2>Checks</h2>
      <details>
        <summary>
          {p.checks.length} checks{made > 0 && `, ${made} made`}
        </summary>
        <ul class="checks">
          {p.checks.map((c) => (
            <li key={c.check}>
              <strong>{c.check}</strong>
              <span>{c.how}</span>
              {c.answer !== null ? (
                <span class="mark good">■ {c.answer.slice(c.check.length + 2)}</span>
              ) : (
                <Hand p={p} body={{ move: "check", check: c.check }}>{`Do it, ${c.minutes} min`}</Hand>
              )}
            </li>
          ))}
        </ul>
      </details>
    </section>
  );
}

const causes = signal<string[]>([]);

async function askCauses() {
  if (causes.value.length) return;
  try {
    causes.value = (await ask<{ causes: string[] }>("GET", "/api/practice")).causes;
  } catch {
    /* asked again when the list is touched */
  }
}

function Name({ of: p }: { of: Practice }) {
  const [cause, choose] = useState("");
  void askCauses();
  if (p.state !== "seeking") return null;
  return (
    <section>
      <h2>Name the cause</h2>
      <form
        onSubmit={(event) => {
          event.preventDefault();
          void move(p.practice, { move: "name", cause });
        }}
      >
        <label>
          It is
          <select value={cause} required onFocus={() => void askCauses()} onChange={(event) => choose(event.currentTarget.value)}>
            <option value="">choose</option>
            {causes.value.map((c) => (
              <option key={c}>{c}</option>
            ))}
          </select>
        </label>
        <button type="submit" class="main" disabled={!cause || busy.value}>
          Name it
        </button>
        <p class="faint">A wrong name costs 20 minutes: a part changed for nothing.</p>
      </form>
    </section>
  );
}

function Done({ of: p }: { of: Practice }) {
  return (
    <section>
      <h2>Done so far</h2>
      {!p.moves.length && <p class="faint">Nothing yet.</p>}
      <ol class="done" reversed>
        {[...p.moves].reverse().map((m, i) => (
          <li key={p.moves.length - i}>
            <span class="faint">{m.at_minutes} min</span> {m.words}
          </li>
        ))}
      </ol>
    </section>
  );
}

function End({ of: p }: { of: Practice }) {
  const [sure, ask] = useState(false);
  const finish = () => void end(p.practice).then(() => exercise.value?.state === "over" && goTo(`/practice/${p.practice}/review`));
  if (!sure)
    return (
      <button type="button" onClick={() => ask(true)}>
        {p.state === "found" ? "End, and see the review" : "Give up, and see the review"}
      </button>
    );
  return (
    <div class="choice" role="group" aria-label="End the exercise?">
      <button type="button" class="main" disabled={busy.value} onClick={finish}>
        Yes, end it
      </button>
      <button type="button" onClick={() => ask(false)}>
        No, go on
      </button>
    </div>
  );
}

function Now({ of: p }: { of: Practice }) {
  const last = p.moves[p.moves.length - 1];
  return (
    <section class="first" aria-live="polite">
      <p class="minutes">
        {p.minutes} min used{p.wrong > 0 && `, ${p.wrong} named wrongly`}
      </p>
      {p.state === "found" ? (
        <p class="move">
          <span class="mark good">✓</span> Found, and mended. Set the idle if it is off, then end.
        </p>
      ) : (
        <p>The owner: “{p.complaint}”</p>
      )}
      {last && <p>Last: {last.words}</p>}
    </section>
  );
}

function Exercise({ of: p }: { of: Practice }) {
  return (
    <>
      <Panel of={p} />
      <Now of={p} />
      {trouble.value && <p class="trouble" role="alert">{trouble.value}</p>}
      {sending.value && <p role="status">{sending.value}</p>}
      <div class="choice">
        <Hand p={p} body={{ move: "read" }} main>Write the reading down</Hand>
        <Hand p={p} body={{ move: "wait" }}>Wait half a minute</Hand>
      </div>
      <div class="two">
        <div>
          <Screws of={p} />
          <Foot of={p} />
          <Hoses of={p} />
        </div>
        <div>
          <Checks of={p} />
          <Name of={p} />
          <Done of={p} />
        </div>
      </div>
      <p class="takeaway">
        <End of={p} />
      </p>
      <p class="cares">Right-hand threads go in clockwise, left-hand ones out. Sealed stops and limiters are not touched: a screw forced past its stop breaks off in the casting.</p>
    </>
  );
}

export function PracticePage({ number }: { number: number }) {
  useBay(number);
  const p = exercise.value;
  return (
    <main>
      <h1>
        Practice car {number} <small>{p && [p.unit, p.engine, p.transmission].filter(Boolean).join(", ")}</small>
      </h1>
      {p?.class && (
        <p>
          <a class="button" href={`/class/${p.class}`}>The class’s board</a>
        </p>
      )}
      {!p && (trouble.value ? <p class="trouble" role="alert">{trouble.value}</p> : <p>One moment …</p>)}
      {p?.state === "over" && (
        <p>
          This exercise is over. <a class="button" href={`/practice/${number}/review`}>Its review</a>
        </p>
      )}
      {p && p.state !== "over" && <Exercise of={p} />}
    </main>
  );
}
