// What the browser tests share: a page at one of two sizes, the looks that every page must stand, and
// printing as the cmocka programs do, so that ./check counts it.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import assert from "node:assert/strict";
import { browse } from "./bench.mjs";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
export const sizes = { phone: { width: 360, height: 740 }, desk: { width: 1280, height: 800 } };

export async function openBrowser(address, viewport) {
  const browser = await browse();
  const context = await browser.newContext({ viewport });
  const kit = { address, browser, context, page: null, complaints: [] };

  kit.fresh = async (of = context) => {
    await kit.page?.close();
    kit.page = await of.newPage();
    kit.page.on("pageerror", (error) => kit.complaints.push(error.message));
    kit.page.on("console", (m) => /Content Security Policy|Refused to/.test(m.text()) && kit.complaints.push(m.text()));
    return kit.page;
  };
  kit.open = async (path) => {
    await kit.page.goto(kit.address + path);
    await kit.calm();
  };
  kit.calm = async () => {
    await kit.page.waitForSelector("h1");
    await kit.page.waitForFunction(() => !document.querySelector(".busy") && !/One moment|Asking the twin/.test(document.body.textContent ?? ""), null, { timeout: 60000 });
  };
  // What can be touched is at least 48 px high (targets inside a line of text aside: there are none).
  kit.fits = async () => {
    const wrong = await kit.page.evaluate(() => {
      const list = [];
      if (document.documentElement.scrollWidth > innerWidth) list.push(`${document.documentElement.scrollWidth - innerWidth} px too wide`);
      for (const e of document.querySelectorAll("button, a, select, input, summary, textarea")) {
        const touched = e.type === "checkbox" ? e.closest("label") : e;
        const box = touched.getBoundingClientRect();
        if (box.height > 0 && (box.height < 47.5 || box.width < 40)) list.push(`${e.tagName} "${e.textContent?.slice(0, 30)}" ${box.width.toFixed(0)} x ${box.height.toFixed(0)}`);
      }
      return list;
    });
    assert.deepEqual(wrong, [], kit.page.url());
  };
  // Run out of the page's content-security policy, which allows no script of ours from here.
  kit.accessible = async () => {
    await kit.page.evaluate(axe);
    const found = await kit.page.evaluate(() => globalThis.axe.run({ runOnly: ["wcag2a", "wcag2aa", "wcag21aa", "best-practice"] }));
    const said = found.violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.html.slice(0, 120)).join(" | ")}`);
    assert.deepEqual(said, [], kit.page.url());
  };
  // Both in light and dark; ready: what to do once it is open.
  kit.stands = async (path, ready = async () => {}) => {
    for (const colorScheme of ["light", "dark"]) {
      await kit.page.emulateMedia({ colorScheme });
      await kit.open(path);
      await ready();
      await kit.fits();
      await kit.accessible();
    }
    await kit.page.emulateMedia({ colorScheme: "light" });
  };
  kit.ask = async (path) => (await fetch(kit.address + path)).json();
  kit.document = async (job) => (await kit.ask(`/api/jobs/${job}`)).document;
  kit.put = async (job, change) => {
    const got = await kit.ask(`/api/jobs/${job}`);
    const answer = await fetch(`${kit.address}/api/jobs/${job}`, {
      method: "PUT",
      headers: { "Content-Type": "application/json", "Idempotency-Key": `put-${Math.random()}`, "If-Match": `"${got.run}"` },
      body: JSON.stringify(change(got.document)),
    });
    assert.equal(answer.status, 200, await answer.text());
  };
  kit.make = async (document) => {
    const answer = await fetch(`${kit.address}/api/jobs`, {
      method: "POST",
      headers: { "Content-Type": "application/json", "Idempotency-Key": `make-${document.job}` },
      body: JSON.stringify(document),
    });
    assert.equal(answer.status, 201);
    return (await answer.json()).job;
  };
  return kit;
}

// Runs those whose name holds `only`; exit status 1 when one failed.
export async function runTests(tests, only, before) {
  let passed = 0, failed = 0;
  for (const [name, test] of Object.entries(tests)) {
    if (only && !name.includes(only)) continue;
    await before();
    try {
      await test();
      console.log(`[       OK ] ${name}`);
      passed++;
    } catch (error) {
      console.log(`[  FAILED  ] ${name}\n${error.stack ?? error.message}`);
      failed++;
    }
  }
  console.log(`[  PASSED  ] ${passed} test(s).`);
  if (failed) console.log(` ${failed} FAILED TEST(S)`);
  return failed ? 1 : 0;
}
