// What is being typed into the form of a reading, field by field, until it is sent: the form may be drawn
// anew meanwhile (the link comes back, the page is loaded again).
import { kept, keep } from "./kept";

type Values = Record<string, string>;
interface Draft {
  job: number;
  values: Values;
}

export function draftOf(job: number): Values {
  const d = kept<Draft | null>("draft", null);
  return d?.job === job ? d.values : {};
}

export function typeInto(job: number, event: Event) {
  const field = event.target as HTMLInputElement;
  if (field.name && field.type !== "checkbox") keep("draft", { job, values: { ...draftOf(job), [field.name]: field.value } });
}

export const draftSent = () => keep("draft", null);
