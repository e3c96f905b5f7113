// What this browser keeps. Storage may be shut off or full: then it is kept until the page closes.
const memory = new Map<string, string>();

export function kept<T>(name: string, otherwise: T): T {
  let text: string | null | undefined = memory.get(name);
  try {
    text ??= localStorage.getItem(`leanward ${name}`);
  } catch {
    /* shut off */
  }
  if (!text) return otherwise;
  try {
    return JSON.parse(text) as T;
  } catch {
    return otherwise;
  }
}

// False: it will not outlast this page.
export function keep(name: string, value: unknown): boolean {
  const text = JSON.stringify(value);
  try {
    localStorage.setItem(`leanward ${name}`, text);
    memory.delete(name);
    return true;
  } catch {
    memory.set(name, text);
    return false;
  }
}
