// Keeping the pages in this browser (worker.ts does it), and saying so when the server has newer ones.
import { signal } from "@preact/signals";

const newer = signal(false); // the server has other pages than this one
export const keepsPages = signal(false); // they open with the link down

const ownScript = () => new URL(document.querySelector<HTMLScriptElement>("script[type=module]")!.src).pathname;

let registration: ServiceWorkerRegistration | null = null;

// There is none without TLS beyond this machine, and browsers refuse one behind a certificate that they
// do not trust: the pages then need the link to open, as docs/serve.md says.
export async function keepPages() {
  const container = navigator.serviceWorker as ServiceWorkerContainer | undefined;
  if (!container) return;
  container.addEventListener("message", (event: MessageEvent<{ files?: string[] }>) => {
    newer.value = !event.data.files?.includes(ownScript());
  });
  try {
    registration = await container.register("/worker.js", { updateViaCache: "none" });
    await container.ready;
    keepsPages.value = true;
  } catch {
    /* refused */
  }
}

export const lookForNewer = () => void registration?.update().catch(() => undefined);

// Nothing is loaded anew by itself: somebody may be typing.
export function Newer() {
  if (!newer.value) return null;
  return (
    <p class="outbox" role="status">
      The server has newer pages.{" "}
      <button type="button" onClick={() => location.reload()}>
        Load them
      </button>
    </p>
  );
}
