// Take a job in: from a spec card, with what is known of the car.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { ask, type Card } from "./api";
import { kept, keep } from "./kept";
import { put } from "./outbox";
import { CardOptions } from "./show";
import { unitOf, units } from "./units";

// Cards are kept, so that a job can be taken in while the link is down.
const cards = signal<Card[]>(kept<Card[]>("cards", []));
const chosen = signal("");
const taken = signal("");

async function load() {
  try {
    cards.value = (await ask<{ cards: Card[] }>("GET", "/api/cards")).cards;
    keep("cards", cards.value);
  } catch {
    /* those that are kept */
  }
}

interface Me {
  technician: string;
  shop: string;
}

function documentOf(form: FormData, card: Card | undefined): Record<string, unknown> {
  const text = (name: string) => String(form.get(name) ?? "").trim();
  const some = (tree: Record<string, unknown>) => Object.fromEntries(Object.entries(tree).filter(([, v]) => v !== "" && v !== undefined));
  const withUnit = (name: string, unit: string) => (text(name) ? `${text(name).replace(",", ".")} ${unit}` : "");
  const car = some({ description: text("description"), plate: text("plate"), odometer: text("odometer"), engine: card?.engine ?? "", transmission: text("transmission") });
  const weather = some({ temperature: withUnit("temperature", units.value === "shop" ? "degF" : "degC"), pressure: withUnit("pressure", unitOf("vacuum").name), altitude: withUnit("altitude", unitOf("altitude").name) });
  return some({
    job: text("job"),
    date: text("date"),
    technician: text("technician"),
    shop: text("shop"),
    customer: text("customer"),
    complaint: text("complaint"),
    card: card?.card,
    "fitted card": cards.value.find((c) => c.unit === text("fitted"))?.card,
    "fitted unit": text("fitted"),
    car: Object.keys(car).length ? car : "",
    weather: Object.keys(weather).length ? weather : "",
    fuel: text("fuel"),
    analyzers: [{ name: "bench", basis: "dry", "HC as": text("hc") }],
  });
}

function send(event: Event) {
  event.preventDefault();
  const form = new FormData(event.currentTarget as HTMLFormElement);
  const document = documentOf(form, cards.value.find((c) => c.card === chosen.value));
  keep("me", { technician: document.technician ?? "", shop: document.shop ?? "" });
  const id = String(document.job);
  (event.currentTarget as HTMLFormElement).reset();
  chosen.value = "";
  taken.value = id;
  void put("/api/jobs", document, `new job ${id}`);
  scrollTo(0, 0);
}

function Field({ name, label, value, needed, type }: { name: string; label: string; value?: string; needed?: boolean; type?: "text" | "date" }) {
  return (
    <label>
      {label}
      {needed && " (needed)"}
      {type === "date" ? (
        <input name={name} type="date" defaultValue={value ?? ""} />
      ) : (
        <input name={name} autocomplete="off" required={needed} defaultValue={value ?? ""} />
      )}
    </label>
  );
}

function CarFields({ card }: { card: Card | undefined }) {
  return (
    <fieldset>
      <legend>The car</legend>
      <div class="fields">
        <Field name="description" label="Car" />
        <Field name="plate" label="Plate" />
        <Field name="odometer" label="Odometer" />
        <label key={card?.card}>
          Transmission of the car
          <select name="transmission">
            <option value="">not known</option>
            {["manual", "automatic"].map((t) => (
              <option key={t}>{t}</option>
            ))}
          </select>
        </label>
        <label>
          Number stamped on the unit
          <input name="fitted" list="units-known" autocomplete="off" />
          <datalist id="units-known">
            {cards.value.map((c) => (
              <option key={c.card} value={c.unit} />
            ))}
          </datalist>
        </label>
        <label>
          Fuel in the tank
          <select name="fuel">
            {["gasoline", "E10", "E85"].map((f) => (
              <option key={f}>{f}</option>
            ))}
          </select>
        </label>
      </div>
    </fieldset>
  );
}

export function IntakePage() {
  useEffect(() => void load(), []);
  const me = kept<Me>("me", { technician: "", shop: "" });
  const card = cards.value.find((c) => c.card === chosen.value);
  const today = new Date();
  const date = new Date(today.getTime() - today.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
  return (
    <main>
      <h1>New job</h1>
      {taken.value && (
        <p class="first" role="status">
          Job {taken.value} is taken in. <a href="/">To the jobs</a>
        </p>
      )}
      <form class="reading" onSubmit={send}>
        <div class="fields">
          <Field name="job" label="Job number" needed />
          <Field name="date" label="Date" type="date" value={date} />
          <Field name="technician" label="Technician" value={me.technician} />
          <Field name="shop" label="Shop" value={me.shop} />
          <Field name="customer" label="Customer" />
        </div>
        <label>
          Spec card of the unit this car needs (needed)
          <select required value={chosen.value} onChange={(event) => (chosen.value = event.currentTarget.value)}>
            <option value="">choose</option>
            <CardOptions of={cards.value} />
          </select>
        </label>
        <label>
          Complaint
          <textarea name="complaint" rows={3} />
        </label>
        <CarFields card={card} />
        <fieldset>
          <legend>Weather and analyzer</legend>
          <div class="fields">
            <Field name="temperature" label={`Temperature, ${units.value === "shop" ? "degF" : "degC"}`} />
            <Field name="pressure" label={`Air pressure here, ${unitOf("vacuum").name}`} />
            <Field name="altitude" label={`Altitude, ${unitOf("altitude").name}`} />
            <label>
              Analyzer shows HC as
              <select name="hc">
                <option>hexane</option>
                <option>propane</option>
              </select>
            </label>
          </div>
        </fieldset>
        <button type="submit" class="main">
          Take the job in
        </button>
      </form>
    </main>
  );
}
