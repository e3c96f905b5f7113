// The job in a browser, as a technician goes through it; each page also looked at by axe-core.
import { writeFileSync, mkdtempSync, rmSync, readFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import assert from "node:assert/strict";
import { front, putIn, serve } from "./bench.mjs";
import { openBrowser, runTests, sizes } from "./kit.mjs";

const bench = await serve();
const jobs = {};
for (const name of ["demo", "power-valve", "vacuum-leak", "weak-cylinder"]) jobs[name] = await putIn(bench.address, name);
const kit = await openBrowser(bench.address, sizes.phone);
const { browser, context, complaints, open, calm, fits, accessible } = kit;
let page;

async function fresh(of = context) {
  page = await kit.fresh(of);
}

const savedAt = async (address, job) => (await (await fetch(`${address}/api/jobs/${job}/work`)).json()).readings.length;
const saved = (job) => savedAt(bench.address, job);

// Once the service worker has taken this page over.
const pagesKept = () => page.waitForFunction(() => navigator.serviceWorker.controller?.state === "activated");
// What this browser holds of the site: addresses in caches, and all texts in its storage.
const heldHere = () =>
  page.evaluate(async () => {
    const paths = [];
    for (const name of await caches.keys()) for (const r of await (await caches.open(name)).keys()) paths.push(new URL(r.url).pathname);
    return { caches: await caches.keys(), paths, texts: JSON.stringify({ ...localStorage }) + JSON.stringify({ ...sessionStorage }) };
  });

/* ---- tests ---- */

const tests = {
  async "every page fits a phone, is accessible in light and dark, and has an own heading"() {
    const paths = ["/", "/new", "/devices", ...["", "/fit", "/idle", "/causes", "/what-if", "/handover"].map((p) => `/jobs/${jobs["power-valve"]}${p}`), `/jobs/${jobs["vacuum-leak"]}/idle`, `/jobs/${jobs["weak-cylinder"]}/fit`];
    for (const path of paths) {
      for (const colorScheme of ["light", "dark"]) {
        await page.emulateMedia({ colorScheme });
        await open(path);
        await fits();
        await accessible();
      }
    }
    await page.emulateMedia({ colorScheme: "light" });
  },

  async "list, job, idle, causes, handover by what is on the screen"() {
    await open("/");
    await page.click("text=CW-0138");
    await calm();
    await page.click("nav.steps >> text=Set the idle");
    await page.waitForSelector(".move-card .amount, .first .move");
    await page.click("nav.steps >> text=Find the cause");
    await page.waitForSelector(".cause .chance");
    const chances = (await page.locator(".causes").first().locator(".chance").allTextContents()).map(parseFloat);
    assert.deepEqual(chances, [...chances].sort((a, b) => b - a));
    await page.click("nav.steps >> text=Hand over");
    const [download] = await Promise.all([page.waitForEvent("download"), page.click("a:has-text('Handover sheet')")]);
    assert.match(download.suggestedFilename(), /^job-CW-0138\.pdf$/);
    assert.equal(readFileSync(await download.path()).subarray(0, 5).toString(), "%PDF-");
    await page.goBack();
    assert.match(page.url(), /causes$/);
  },

  async "a reading is typed with the keyboard and changes the next move"() {
    const job = jobs["power-valve"], before = await saved(job);
    await open(`/jobs/${job}/idle`);
    await page.focus("input[name=speed]");
    await page.keyboard.type("705");
    await page.keyboard.press("Tab");
    await page.keyboard.type("1.31");
    await page.keyboard.press("Tab");
    await page.keyboard.type("240");
    await page.keyboard.press("Enter");
    await page.waitForFunction(() => /1\.31/.test(document.querySelector(".gauges")?.textContent ?? ""));
    assert.equal(await saved(job), before + 1);
  },

  async "what is typed while the link is down is sent once when it is back"() {
    const job = jobs.demo, before = await saved(job);
    await open(`/jobs/${job}/idle`);
    await context.setOffline(true);
    for (const co of ["1.15", "1.14"]) {
      await page.fill("input[name=speed]", "650");
      await page.fill("input[name=co]", co);
      await page.click("text=Save the reading");
    }
    await page.waitForSelector("text=2 entries are kept");
    assert.equal(await saved(job), before);
    await context.setOffline(false);
    await page.waitForFunction(() => !document.querySelector(".outbox"), null, { timeout: 15000 });
    assert.equal(await saved(job), before + 2);
    assert.equal(await page.evaluate(() => localStorage.getItem("leanward outbox")), "[]");
  },

  async "an answer that is lost on the way does not save a reading twice"() {
    const job = jobs.demo, before = await saved(job);
    await open(`/jobs/${job}/idle`);
    let lost = 0;
    await page.route("**/readings", async (route) => {
      if (lost++ > 0) return route.continue();
      await route.fetch(); // it is saved, and nobody hears of it
      return route.abort();
    });
    await page.fill("input[name=speed]", "650");
    await page.fill("input[name=co]", "1.13");
    await page.click("text=Save the reading");
    await page.waitForSelector(".outbox");
    await page.waitForFunction(() => !document.querySelector(".outbox"), null, { timeout: 15000 });
    assert.ok(lost >= 2);
    assert.equal(await saved(job), before + 1);
  },

  async "what the server refuses stays to be seen, with its words"() {
    await open(`/jobs/${jobs.demo}/fit`);
    await page.fill("input[name=timing]", "a lot");
    await page.click("text=Save the checks");
    await page.waitForSelector(".outbox >> text=Not saved");
    await page.click("text=Discard");
    await page.waitForFunction(() => !document.querySelector(".outbox"));
    await page.selectOption("select[name=warm]", "no");
    await page.click("text=Save the checks");
    await page.waitForSelector(".first >> text=Not fit");
    await page.selectOption("select[name=warm]", "yes");
    await page.click("text=Save the checks");
    await page.waitForSelector(".first >> text=Fit to adjust");
  },

  async "a slider shows the mixture after the change; units are the person's own"() {
    await open(`/jobs/${jobs.demo}/what-if`);
    await page.focus("label:has-text('Main jet') input");
    for (let i = 0; i < 3; i++) await page.keyboard.press("ArrowRight");
    await page.waitForSelector(".first >> text=richer");
    await page.waitForSelector("output:has-text('0.063 in')");
    await page.selectOption("header select", "metric");
    await page.waitForSelector("output:has-text('1.60 mm')");
    await page.reload();
    await page.waitForSelector("output:has-text('1.52 mm')");
    await page.selectOption("header select", "shop");
  },

  async "a job is taken in from a card"() {
    await open("/new");
    await page.fill("input[name=job]", "CW-0900");
    await page.selectOption("label:has-text('Spec card') select", "corran-220-six-manual");
    await page.fill("textarea", "Hesitates when the throttle is opened.");
    await page.fill("input[name=fitted]", "CW-2201M");
    await page.fill("input[name=temperature]", "66");
    await page.click("text=Take the job in");
    await page.waitForSelector("text=is taken in");
    await page.click("text=To the jobs");
    await page.click("text=CW-0900");
    await calm();
    await page.click("nav.steps >> text=Set the idle");
    await page.waitForSelector("h2:has-text('reading')");
  },

  async "what an instrument reads is big, and says when to wait"() {
    const folder = mkdtempSync(join(tmpdir(), "leanward-web-"));
    const lines = ["time [s],speed [rpm],CO [%],HC [ppm hexane]"];
    for (let i = 0; i < 400; i++) lines.push(`${(i * 0.5).toFixed(1)},${650 + (i % 2)},${(i < 20 ? 3 - i * 0.1 : 1.2).toFixed(2)},216`);
    writeFileSync(join(folder, "live.csv"), `${lines.join("\n")}\n`);
    const second = await serve([`--replay=${join(folder, "live.csv")}`]);
    const job = await putIn(second.address, "demo");
    await page.goto(`${second.address}/jobs/${job}/idle`);
    await page.waitForSelector(".unsettled", { timeout: 20000 });
    await page.waitForFunction(() => /settled|wait/.test(document.querySelector(".gauges")?.textContent ?? ""));
    await page.click("text=Fill in what is read now");
    await page.waitForFunction(() => /^65[01]$/.test(document.querySelector("input[name=speed]")?.value ?? ""));
    await fresh(); // its stream ends with the page
    await second.stop();
    rmSync(folder, { recursive: true });
  },

  async "with the link down and the server gone the pages open, and what is typed there is saved once"() {
    const first = await serve();
    const job = await putIn(first.address, "demo"), before = await savedAt(first.address, job);
    await page.goto(`${first.address}/jobs/${job}/idle`);
    await calm();
    await pagesKept();
    await context.setOffline(true);
    await first.kill();
    await page.reload();
    await page.waitForSelector("text=A reading can still be typed");
    await fits();
    await accessible();
    assert.ok((await page.locator("input[name^='screw ']").count()) > 0); // the form knows this car's screws
    await page.fill("input[name=speed]", "650");
    await page.fill("input[name=co]", "1.12");
    await page.click("text=Save the reading");
    await page.waitForSelector("text=1 entry is kept");
    await page.reload(); // it stays, also then
    await page.waitForSelector("text=1 entry is kept");
    // every other page opens, too; nothing of the customer is in this browser
    await page.goto(`${first.address}/jobs/${job}/fit`);
    await page.waitForSelector("text=The link is down");
    await page.goto(`${first.address}/jobs/${job}/idle`);
    await page.waitForSelector("text=A reading can still be typed");
    const held = await heldHere();
    assert.equal(held.caches.length, 1);
    assert.deepEqual(held.paths.filter((path) => !/^\/$|^\/main-.{8}\.js$|^\/style-.{8}\.css$|^\/icon\.svg$/.test(path)), []);
    const of = await (await fetch(`${bench.address}/api/jobs/${jobs.demo}/work`)).json();
    for (const word of [of.job.customer, of.job.complaint, of.car.plate, of.car.description]) {
      assert.ok(word && !held.texts.includes(word), word);
    }
    await page.fill("input[name=co]", "0.98"); // half typed when the link comes back
    const second = await serve([], first);
    assert.equal(await savedAt(second.address, job), before);
    await context.setOffline(false);
    await page.waitForFunction(() => !document.querySelector(".outbox"), null, { timeout: 20000 });
    await page.waitForSelector("h1:has-text('CW-')", { timeout: 20000 }); // and the job is here again
    assert.equal(await savedAt(second.address, job), before + 1);
    assert.equal(await page.inputValue("input[name=co]"), "0.98");
    await page.evaluate(() => localStorage.clear());
    await fresh();
    await second.stop();
  },

  async "a newer build is told of, loaded when asked for, and then kept in place of the older"() {
    const face = await front(bench.address);
    await page.goto(`${face.address}/jobs/${jobs.demo}`);
    await calm();
    await pagesKept();
    const older = await heldHere(), script = older.paths.find((path) => path.startsWith("/main-"));
    const newer = "/main-NEWBUILD.js";
    const renamed = (text) => text.replaceAll(script, newer).replaceAll(script.slice(1), newer.slice(1));
    const version = older.caches[0].replace("leanward pages ", "");
    face.changed.set(`/jobs/${jobs.demo}`, renamed);
    face.changed.set("/", renamed);
    face.changed.set("/worker.js", (text) => renamed(text).replaceAll(version, "0123456789abcdef"));
    face.moved.set(newer, script);
    await page.evaluate(async () => (await navigator.serviceWorker.ready).update());
    await page.click("text=Load them");
    await page.waitForFunction((name) => document.querySelector(`script[src="${name}"]`), newer);
    await calm();
    assert.equal(await page.locator("text=The server has newer pages").count(), 0);
    const held = await heldHere();
    assert.deepEqual(held.caches, ["leanward pages 0123456789abcdef"]);
    assert.ok(held.paths.includes(newer) && !held.paths.includes(script));
    await face.close();
    await page.reload();
    await page.waitForSelector("text=The link is down");
    assert.equal(await page.locator(`script[src="${newer}"]`).count(), 1);
  },

  async "a phone is paired over TLS, after its certificate was accepted"() {
    const lan = await serve(["--lan", "--tls"]);
    await page.waitForTimeout(300); // the token is printed behind the address
    const address = /https:\/\/\S+:\d+/.exec(lan.said())?.[0], token = /type\n\n\s+(\S+)/.exec(lan.said())?.[1];
    if (new URL(address).hostname === "127.0.0.1") return lan.stop(); // a machine without network
    await assert.rejects(page.goto(address), /ERR_CERT_AUTHORITY_INVALID/);
    const phone = await browser.newContext({ viewport: { width: 360, height: 740 }, ignoreHTTPSErrors: true });
    await fresh(phone);
    await page.goto(`${address}/pair#${token}`);
    await page.fill("input[name=name]", "phone at bay 3");
    await page.click("button:has-text('Pair')");
    await page.waitForSelector("h1:has-text('Jobs')");
    await page.click("nav >> text=Devices");
    await page.click("text=Let another device in");
    await page.waitForSelector(".fingerprint");
    const shown = (await page.locator(".fingerprint").textContent()).replaceAll("\u200b", "");
    assert.match(shown, /^([0-9A-F]{2}:){31}[0-9A-F]{2}$/);
    assert.ok(lan.said().replace(/\s/g, "").includes(shown));
    await fits();
    await accessible();
    await phone.close();
    await lan.stop();
  },

  async "nothing was thrown, nothing stopped by the content-security policy"() {
    assert.deepEqual(complaints, []);
  },
};

const status = await runTests(tests, process.argv[2], fresh);
await browser.close();
await bench.stop();
process.exit(status);
