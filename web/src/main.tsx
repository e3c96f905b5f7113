// Which page, and the frame around it. Pages are addresses, so the browser's back works.
import { signal } from "@preact/signals";
import { render } from "preact";
import { ask, type Status } from "./api";
import { BriefPage } from "./brief";
import { CausesPage } from "./causes";
import { ClassPage } from "./class";
import { DevicesPage, PairPage } from "./devices";
import { EditPage } from "./edit";
import { FitPage } from "./fit";
import { HandoverPage } from "./handover";
import { IdlePage } from "./idle";
import { IntakePage } from "./intake";
import { JobPage } from "./job";
import { kept, keep } from "./kept";
import { JobList } from "./list";
import { OffIdlePage } from "./offidle";
import { forgetOutlines } from "./outline";
import { keepPages, lookForNewer, Newer } from "./offline";
import { Outbox, send } from "./outbox";
import { PracticePage } from "./practice";
import { ReviewPage } from "./review";
import { YardPage } from "./yard";
import { chooseUnits, units } from "./units";
import { WhatIfPage } from "./whatif";

const path = signal(location.pathname);
const status = signal<Status | null>(null);
const trouble = signal("");

// With the link down the pages open as they were for this device; who it is, is asked again and again.
let again = 0;
async function greet() {
  clearTimeout(again);
  try {
    status.value = await ask<Status>("GET", "/api/status");
    keep("status", status.value);
    if (!status.value.paired) forgetOutlines();
    trouble.value = "";
    lookForNewer();
  } catch (error) {
    status.value ??= kept<Status | null>("status", null);
    trouble.value = (error as Error).message;
    again = window.setTimeout(() => void greet(), 5000);
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
  const found = /^\/jobs?\/([1-9][0-9]*)(?:\/([a-z-]+))?$/.exec(path.value);
  const job = found ? Number(found[1]) : 0;
  if (!of.paired || path.value === "/pair") return <PairPage after={() => void greet()} />;
  if (path.value === "/devices") return <DevicesPage lan={of.lan} />;
  if (path.value === "/new") return <IntakePage />;
  if (path.value === "/brief") return <BriefPage />;
  const practised = /^\/(practice|class)\/([1-9][0-9]*)(\/review)?$/.exec(path.value);
  if (path.value === "/practice") return <YardPage />;
  if (practised) {
    const number = Number(practised[2]);
    if (practised[1] === "class") return <ClassPage number={number} />;
    return practised[3] ? <ReviewPage number={number} /> : <PracticePage number={number} />;
  }
  if (!job) return <JobList />;
  switch (found?.[2]) {
    case "idle":
      return <IdlePage job={job} />;
    case "edit":
      return <EditPage job={job} />;
    case "off-idle":
      return <OffIdlePage job={job} />;
    case "causes":
      return <CausesPage job={job} />;
    case "fit":
      return <FitPage job={job} />;
    case "what-if":
      return <WhatIfPage job={job} />;
    case "handover":
      return <HandoverPage job={job} />;
    default:
      return <JobPage job={job} />;
  }
}

function Frame() {
  return (
    <div onClick={go}>
      <header>
        <a href="/">Leanward</a>
        <nav>
          <a href="/">Jobs</a>
          <a href="/practice">Practice</a>
          <a href="/devices">Devices</a>
          <label class="units">
            <span>Units</span>
            <select value={units.value} onChange={(event) => chooseUnits(event.currentTarget.value === "metric" ? "metric" : "shop")}>
              <option value="shop">shop units</option>
              <option value="metric">metric units</option>
            </select>
          </label>
        </nav>
      </header>
      <Outbox />
      <Newer />
      {trouble.value && !status.value && <p class="trouble" role="alert">{trouble.value}</p>}
      {status.value && <Page of={status.value} />}
    </div>
  );
}

addEventListener("popstate", () => (path.value = location.pathname));
void greet();
void send();
setTimeout(() => void keepPages(), 2000); // what is to be seen comes first
const place = document.getElementById("page")!;
place.replaceChildren();
render(<Frame />, place);
