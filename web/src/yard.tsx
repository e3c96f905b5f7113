// Practice: a car for oneself, the classes there are, a class to open.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { ask, type Card } from "./api";
import { type Class, keepPass, type Practice, sending, sure } from "./bay";
import { kept, keep } from "./kept";
import { CardOptions } from "./show";

interface Mine {
  practice: number;
  unit: string;
  at: string;
}

const cards = signal<Card[]>([]);
const causes = signal<string[]>([]);
const classes = signal<Class[]>([]);
const mine = signal<Mine[]>([]);
const trouble = signal("");
const busy = signal(false);

async function look() {
  try {
    const [c, p, k] = await Promise.all([
      ask<{ cards: Card[] }>("GET", "/api/cards"),
      ask<{ causes: string[] }>("GET", "/api/practice"),
      ask<{ classes: Class[] }>("GET", "/api/classes"),
    ]);
    cards.value = c.cards;
    causes.value = p.causes;
    classes.value = k.classes;
    trouble.value = "";
  } catch (error) {
    trouble.value = (error as Error).message;
  }
}

export const goTo = (path: string) => {
  history.pushState(null, "", path);
  dispatchEvent(new PopStateEvent("popstate"));
  scrollTo(0, 0);
};

// Into a car: its pass is kept in this browser alone.
export async function begin(wish: Record<string, unknown>): Promise<string> {
  try {
    const got = await sure<Practice>("POST", "/api/practice", wish);
    keepPass("practice", got.practice, got.pass ?? "");
    mine.value = [{ practice: got.practice, unit: got.unit ?? "", at: new Date().toISOString() }, ...kept<Mine[]>("practice cars", [])].slice(0, 5);
    keep("practice cars", mine.value);
    goTo(`/practice/${got.practice}`);
    return "";
  } catch (error) {
    return (error as Error).message;
  }
}

async function submit(event: Event, make: (form: FormData) => Promise<string>) {
  event.preventDefault();
  if (busy.value) return;
  busy.value = true;
  trouble.value = await make(new FormData(event.currentTarget as HTMLFormElement));
  busy.value = false;
}

const text = (form: FormData, name: string) => String(form.get(name) ?? "").trim();

function wishOf(form: FormData): Record<string, unknown> {
  const cause = text(form, "cause");
  return cause ? { card: text(form, "card"), cause } : { card: text(form, "card") };
}

async function openClass(form: FormData): Promise<string> {
  try {
    const got = await sure<Class>("POST", "/api/classes", { ...wishOf(form), title: text(form, "title") });
    keepPass("class", got.class, got.pass ?? "");
    goTo(`/class/${got.class}`);
    return "";
  } catch (error) {
    return (error as Error).message;
  }
}

function CarFields() {
  return (
    <>
      <label>
        Car
        <select name="card" required>
          <CardOptions of={cards.value} />
        </select>
      </label>
      <label>
        What is wrong with it
        <select name="cause">
          <option value="">hidden: find it</option>
          {causes.value.map((c) => (
            <option key={c}>{c}</option>
          ))}
        </select>
      </label>
    </>
  );
}

function Classes() {
  if (!classes.value.length) return <p class="faint">No class is open.</p>;
  return (
    <ul class="jobs">
      {classes.value.map((c) => (
        <li key={c.class}>
          <a href={`/class/${c.class}`}>
            <span class="job-head">
              <strong>{c.title}</strong>
              <span>{c.open ? "open" : "closed"}</span>
            </span>
            <span class="job-car">{c.unit}: {c.complaint}</span>
            <span class="job-more">
              {c.learners.length === 1 ? "1 learner" : `${c.learners.length} learners`}, {c.found} found it
            </span>
          </a>
        </li>
      ))}
    </ul>
  );
}

export function YardPage() {
  useEffect(() => {
    mine.value = kept<Mine[]>("practice cars", []);
    void look();
  }, []);
  return (
    <main>
      <h1>Practice</h1>
      <p>A car that runs here and cannot be hurt. Read it, turn its screws, make checks, name what is wrong. Each move costs minutes.</p>
      {trouble.value && <p class="trouble" role="alert">{trouble.value}</p>}
      {sending.value && <p role="status">{sending.value}</p>}
      <div class="two">
        <section>
          <h2>A car for yourself</h2>
          <form onSubmit={(event) => void submit(event, (form) => begin(wishOf(form)))}>
            <CarFields />
            <button type="submit" class="main" disabled={busy.value || !cards.value.length}>
              {busy.value ? "One moment" : "Bring the car in"}
            </button>
          </form>
          {mine.value.length > 0 && (
            <>
              <h3>Yours so far</h3>
              <ul class="links">
                {mine.value.map((m) => (
                  <li key={m.practice}>
                    <a href={`/practice/${m.practice}`}>
                      Car {m.practice}, {m.unit}
                    </a>
                  </li>
                ))}
              </ul>
            </>
          )}
        </section>
        <section>
          <h2>Classes</h2>
          <Classes />
          <details>
            <summary>Open a class</summary>
            <p>One fault for all who join; a board shows who has found it.</p>
            <form onSubmit={(event) => void submit(event, openClass)}>
              <label>
                What it is called
                <input name="title" required maxLength={40} autocomplete="off" />
              </label>
              <CarFields />
              <button type="submit" class="main" disabled={busy.value || !cards.value.length}>
                Open the class
              </button>
            </form>
          </details>
        </section>
      </div>
    </main>
  );
}
