// A class: join it, and the board of who is how far.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { ask } from "./api";
import { type Class, type Learner, passOf, sending } from "./bay";
import { kept, keep } from "./kept";
import { begin } from "./yard";

const board = signal<Class | null>(null);
const trouble = signal("");
const busy = signal(false);

async function look(number: number) {
  try {
    board.value = await ask<Class>("GET", `/api/classes/${number}`, undefined, undefined, undefined, passOf("class", number));
    trouble.value = "";
  } catch (error) {
    trouble.value = (error as Error).message;
  }
}

// The board is read anew when it has changed, at most once a second, and now and then anyway.
function useBoard(number: number) {
  useEffect(() => {
    let due = 0;
    board.value = null;
    void look(number);
    const soon = () => {
      due ||= window.setTimeout(() => {
        due = 0;
        void look(number);
      }, 500);
    };
    const stream = new EventSource(`/api/classes/${number}/events`);
    stream.addEventListener("board", soon);
    stream.addEventListener("begin", soon);
    const often = setInterval(() => void look(number), 15000);
    return () => {
      stream.close();
      clearInterval(often);
      clearTimeout(due);
    };
  }, [number]);
}

const signs: Record<Learner["state"], [string, string]> = {
  seeking: ["…", "open"],
  found: ["✓", "good"],
  done: ["✓", "good"],
  "gave up": ["✕", "bad"],
};

function Row({ of: l, of_class, trainer }: { of: Learner; of_class: number; trainer: boolean }) {
  const [sign, kind] = signs[l.state];
  const over = l.state === "done" || l.state === "gave up";
  return (
    <tr>
      <th scope="row">{l.name}</th>
      <td class="word">
        <span class={`mark ${kind}`}>
          <span aria-hidden="true">{sign}</span> {l.state}
        </span>
        {!over && l.idle_s > 120 && <span class="faint"> away</span>}
      </td>
      <td>{l.minutes}</td>
      <td>{l.moves}</td>
      <td>{l.wrong}</td>
      {trainer && <td>{over ? <a class="button" href={`/practice/${l.practice}/review#class-${of_class}`}>Review<span class="unseen"> of {l.name}</span></a> : "–"}</td>}
    </tr>
  );
}

const rank = (l: Learner) => (l.found ? 0 : l.state === "seeking" ? 1 : 2);

function Board({ of: c }: { of: Class }) {
  const trainer = c.fault !== null;
  if (!c.learners.length) return <p class="faint">Nobody has joined yet.</p>;
  const list = [...c.learners].sort((a, b) => rank(a) - rank(b) || a.minutes - b.minutes || a.name.localeCompare(b.name));
  return (
    <div class="wide board" tabIndex={0} role="region" aria-label="Board">
      <table>
        <thead>
          <tr>
            <th scope="col">learner</th>
            <th scope="col" class="word">
              how far
            </th>
            <th scope="col">min</th>
            <th scope="col">moves</th>
            <th scope="col">wrong</th>
            {trainer && <th scope="col">review</th>}
          </tr>
        </thead>
        <tbody>
          {list.map((l) => (
            <Row key={l.practice} of={l} of_class={c.class} trainer={trainer} />
          ))}
        </tbody>
      </table>
    </div>
  );
}

async function join(event: Event, number: number) {
  event.preventDefault();
  if (busy.value) return;
  const name = String(new FormData(event.currentTarget as HTMLFormElement).get("name") ?? "").trim();
  keep("learner", name);
  busy.value = true;
  trouble.value = await begin({ class: number, name });
  busy.value = false;
}

async function close(number: number) {
  try {
    board.value = await ask<Class>("DELETE", `/api/classes/${number}`, undefined, undefined, undefined, passOf("class", number));
  } catch (error) {
    trouble.value = (error as Error).message;
  }
}

function Trainer({ of: c }: { of: Class }) {
  if (c.fault === null) return null;
  return (
    <section class="first">
      <details>
        <summary>For the trainer: what is wrong</summary>
        <p class="move">{c.fault}</p>
      </details>
      <p>
        Learners open this page, {location.host}
        {location.pathname}, on a paired device and join with a name.
      </p>
      {c.open && (
        <button type="button" onClick={() => void close(c.class)}>
          Close it: nobody joins any more
        </button>
      )}
    </section>
  );
}

export function ClassPage({ number }: { number: number }) {
  useBoard(number);
  const c = board.value;
  return (
    <main>
      <h1>
        {c ? c.title : `Class ${number}`} <small>{c && [c.unit, c.open ? "" : "closed"].filter(Boolean).join(", ")}</small>
      </h1>
      {trouble.value && <p class="trouble" role="alert">{trouble.value}</p>}
      {sending.value && <p role="status">{sending.value}</p>}
      {!c && !trouble.value && <p>One moment …</p>}
      {c && (
        <>
          <p>The owner: “{c.complaint}”</p>
          <Trainer of={c} />
          {c.open && (
            <section>
              <h2>Join</h2>
              <form onSubmit={(event) => void join(event, number)}>
                <label>
                  Your name
                  <input name="name" required maxLength={40} autocomplete="off" defaultValue={kept<string>("learner", "")} />
                </label>
                <button type="submit" class="main" disabled={busy.value}>
                  {busy.value ? "One moment" : "Bring my car in"}
                </button>
              </form>
            </section>
          )}
          <section>
            <h2>
              {c.found} of {c.learners.length} found it
            </h2>
            <Board of={c} />
          </section>
        </>
      )}
    </main>
  );
}
