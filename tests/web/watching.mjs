// An instrument on the network that says what it is told, and screens that note when they show something.
// For the test of several screens and for benchmarks/web.mjs.
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { createServer } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";

// The clock that pages of this machine have, too: ms.
export const now = () => performance.timeOrigin + performance.now();

export async function instrument() {
  const lines = new Set();
  const server = createServer((line) => {
    line.setNoDelay(true);
    lines.add(line);
    line.on("close", () => lines.delete(line)).on("error", () => lines.delete(line));
  });
  await new Promise((done) => server.listen(0, "127.0.0.1", done));
  const folder = mkdtempSync(join(tmpdir(), "leanward-line-"));
  const file = join(folder, "bench.yaml");
  writeFileSync(file, `instrument: told bench\nprotocol: lines\nport: 127.0.0.1:${server.address().port}\nsilence: 5 s\nframing: {start: "$", end: <LF>, places: 2}\nfields:\n  - {is: speed, place: 1, unit: rpm, lag: 0.2 s}\n  - {is: CO, place: 2, unit: "% vol", lag: 0.2 s}\n`);
  return {
    file,
    say(speed, co) {
      for (const line of lines) line.write(`$${speed},${co.toFixed(2)}\n`);
      return now();
    },
    close() {
      for (const line of lines) line.destroy();
      server.close();
      rmSync(folder, { recursive: true });
    },
  };
}

// In the page: each text that the first gauge shows, and the frame it was shown in.
function note() {
  globalThis.shown = [];
  let last = "";
  new MutationObserver(() => {
    const text = document.querySelector(".gauge-value")?.textContent ?? "";
    if (text === last) return;
    last = text;
    requestAnimationFrame(() => globalThis.shown.push([text, performance.timeOrigin + performance.now()]));
  }).observe(document, { subtree: true, childList: true, characterData: true });
}

// Pages of sizes, each a browser of its own as far as the server can tell, at one address.
export async function screens(browser, sizes, address) {
  const pages = [];
  for (const viewport of sizes) {
    const page = await (await browser.newContext({ viewport })).newPage();
    await page.addInitScript(note);
    await page.goto(address);
    await page.waitForSelector(".gauge-value");
    pages.push(page);
  }
  return pages;
}

export const pause = (ms) => new Promise((done) => setTimeout(done, ms));

// When each page has first shown this text, ms; waited for, for so long. Undefined where it never did.
export async function shownAt(pages, text, patience = 10000) {
  const look = (page) => page.evaluate((t) => globalThis.shown.find(([s]) => s === t)?.[1], text);
  for (const until = now() + patience; ; await pause(50)) {
    const at = await Promise.all(pages.map(look));
    if (at.every(Boolean) || now() > until) return at;
  }
}

// The share q of a list lies at or below this.
export function quantile(list, q) {
  const sorted = [...list].sort((a, b) => a - b);
  return sorted[Math.min(sorted.length - 1, Math.ceil(q * sorted.length) - 1)];
}
