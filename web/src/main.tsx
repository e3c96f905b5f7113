// Which page, and the frame around it. Pages are addresses, so the browser's back works.
import { signal } from "@preact/signals";
import { render } from "preact";
import { ask, type Status } from "./api";
import { DevicesPage, PairPage } from "./devices";
import { JobPage } from "./job";
import { JobList } from "./list";

const path = signal(location.pathname);
const status = signal<Status | null>(null);
const trouble = signal("");

async function greet() {
  try {
    status.value = await ask<Status>("GET", "/api/status");
    trouble.value = "";
  } catch (error) {
    trouble.value = (error as Error).message;
  }
  path.value = location.pathname;
}

function go(event: MouseEvent) {
  const link = (event.target as Element).closest?.("a");
  const plain = event.button === 0 && !event.ctrlKey && !event.metaKey && !event.shiftKey && !event.altKey;
  if (!link || !plain || link.hasAttribute("download") || link.origin !== location.origin) return;
  event.preventDefault();
  history.pushState(null, "", link.href);
  path.value = location.pathname;
  scrollTo(0, 0);
}

function Page({ of }: { of: Status }) {
  const job = /^\/job\/([1-9][0-9]*)$/.exec(path.value);
  if (!of.paired || path.value === "/pair") return <PairPage after={() => void greet()} />;
  if (path.value === "/devices") return <DevicesPage lan={of.lan} />;
  return job ? <JobPage job={Number(job[1])} /> : <JobList />;
}

function Frame() {
  return (
    <div onClick={go}>
      <header>
        <a href="/">Leanward</a>
        <nav>
          <a href="/">Jobs</a>
          <a href="/devices">Devices</a>
        </nav>
      </header>
      {trouble.value && <p class="trouble" role="alert">{trouble.value}</p>}
      {status.value && <Page of={status.value} />}
    </div>
  );
}

addEventListener("popstate", () => (path.value = location.pathname));
void greet();
const place = document.getElementById("page")!;
place.replaceChildren();
render(<Frame />, place);
