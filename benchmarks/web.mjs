// The web bench: how soon it is there, how soon a reading is on a screen, how much it weighs.
//   LEANWARD=build-release/src/cli/leanward node benchmarks/web.mjs [VIEWERS [READINGS [PART...]]]
// Parts: start weight live paint together tls; all unless said.
// Needs what tests/web needs (npm ci there, Debian's chromium). Prints a table for benchmarks/README.md.
import { spawn } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import http from "node:http";
import https from "node:https";
import { networkInterfaces, tmpdir } from "node:os";
import { join } from "node:path";
import { browse, program, putIn, serve } from "../tests/web/bench.mjs";
import { instrument, now, pause, quantile, screens, shownAt } from "../tests/web/watching.mjs";

const viewers = Number(process.argv[2] ?? 50), readings = Number(process.argv[3] ?? 300), parts = process.argv.slice(4);
const wanted = (part) => !parts.length || parts.includes(part);
const phone = { width: 360, height: 740 }, desk = { width: 1280, height: 800 };

const row = (what, got, target = "") => console.log(`| ${what} | ${got} | ${target} |`);
const ms = (x) => `${x < 10 ? x.toFixed(1) : x.toFixed(0)} ms`;
// The least is what the machine can do when it is left alone for a moment.
const spread = (list) => `${ms(Math.min(...list))} least, ${ms(quantile(list, 0.5))} median, ${ms(quantile(list, 0.99))} at the 99th percentile`;
const few = (list) => `${ms(Math.min(...list))} least, ${ms(quantile(list, 0.5))} median, ${ms(Math.max(...list))} at most`;
const memory = (pid) => Number(/VmRSS:\s+(\d+)/.exec(readFileSync(`/proc/${pid}/status`, "utf8"))[1]) / 1024;

/* ---- start ---- */

async function start() {
  const folder = mkdtempSync(join(tmpdir(), "leanward-web-")), took = [];
  for (let i = 0; i < 21; i++) {
    const from = now();
    const server = spawn(program, ["serve", "--port", "0", "--store", join(folder, "jobs.db")]);
    await new Promise((done) => server.stdout.once("data", done));
    if (i) took.push(now() - from); // the first makes the store
    server.kill("SIGTERM");
    await new Promise((done) => server.once("exit", done));
  }
  rmSync(folder, { recursive: true });
  row("start to listening, 20 times", few(took), "100 ms");
}

/* ---- weight ---- */

function bytesOf(address) {
  return new Promise((done, fail) => {
    http
      .get(address, { headers: { "Accept-Encoding": "gzip" } }, (answer) => {
        let bytes = 0, text = "";
        answer.on("data", (part) => ((bytes += part.length), (text += part)));
        answer.on("end", () => done({ bytes, text }));
      })
      .on("error", fail);
  });
}

async function weight(address) {
  const page = await (await fetch(address)).text();
  const names = ["/", "/worker.js", ...[...page.matchAll(/(?:href|src)="(\/[^"]+)"/g)].map((m) => m[1]).filter((name) => !name.startsWith("/api/"))];
  const sizes = await Promise.all(names.map(async (name) => (await bytesOf(address + name)).bytes));
  row(`assets, compressed (${names.length} files)`, `${(sizes.reduce((a, b) => a + b) / 1000).toFixed(1)} kB`, "150 kB");
}

/* ---- live readings ---- */

// A viewer: the events of a job, each reading's speed with the time it came.
function view(address, job, cookie, take) {
  const how = address.startsWith("https") ? https : http;
  return new Promise((done, fail) => {
    const ask = how.get(`${address}/api/jobs/${job}/events`, { agent: false, rejectUnauthorized: false, headers: cookie ? { Cookie: cookie } : {} }, (answer) => {
      if (answer.statusCode !== 200) return fail(new Error(`${answer.statusCode} at ${address}`));
      answer.setEncoding("utf8");
      answer.once("data", () => done(() => ask.destroy()));
      answer.on("data", (text) => {
        const at = now();
        for (const found of text.matchAll(/"speed":\{[^}]*?"shown":"(\d+)/g)) take(Number(found[1]), at);
      });
      answer.on("error", () => undefined);
    });
    ask.on("error", fail);
  });
}

async function live(title, line, bench, address, cookie) {
  const job = await putIn(bench.address, "two-gas"), said = new Map(), took = [];
  let missed = viewers * readings;
  const take = (speed, at) => {
    if (!said.has(speed)) return;
    took.push(at - said.get(speed));
    missed--;
  };
  const before = memory(bench.pid), ends = [];
  for (let i = 0; i < viewers; i++) {
    ends.push(await view(address, job, cookie, take));
    await pause(25); // below what one address may ask
  }
  await pause(500);
  for (let k = 0; k < readings; k++) {
    const from = now();
    said.set(600 + k, from); // before it is said: it may be here before the next line of this
    line.say(600 + k, 1.2);
    await pause(100);
  }
  await pause(1000);
  row(`${title}: ${viewers} viewers, ${readings} readings at 10 a second: line to event received`, `${spread(took)}; ${missed} missed`, "100 ms at the 99th percentile");
  row(`${title}: server's memory before, with the viewers`, `${before.toFixed(1)} MB, ${memory(bench.pid).toFixed(1)} MB`);
  for (const end of ends) end();
}

/* ---- TLS ---- */

async function paired(bench) {
  await pause(300);
  const address = /https:\/\/\S+:\d+/.exec(bench.said())[0], token = /type\n\n\s+(\S+)/.exec(bench.said())[1];
  const body = JSON.stringify({ token, name: "bench" });
  return new Promise((done, fail) => {
    const ask = https.request(`${address}/api/pair`, { method: "POST", rejectUnauthorized: false, headers: { "Content-Type": "application/json", "Content-Length": body.length } }, (answer) => {
      done({ address, cookie: answer.headers["set-cookie"]?.[0].split(";")[0] });
      answer.resume();
    });
    ask.on("error", fail);
    ask.end(body);
  });
}

/* ---- paint ---- */

// In the page: when its first gauge stands in a frame.
function useful() {
  new MutationObserver((_, observer) => {
    if (!/\d/.test(document.querySelector(".gauge-value")?.textContent ?? "")) return;
    observer.disconnect();
    requestAnimationFrame(() => setTimeout(() => (globalThis.useful = performance.now())));
  }).observe(document, { subtree: true, childList: true });
}

// Processor time of the page's main thread so far, ms: what other programs do hardly touches it.
async function threadTime(cdp) {
  const { metrics } = await cdp.send("Performance.getMetrics");
  return 1000 * metrics.find((m) => m.name === "TaskDuration").value;
}

async function paint(browser, address, job, slowdown) {
  const first = [], good = [], worked = [];
  for (let i = 0; i < 9; i++) {
    const context = await browser.newContext({ viewport: phone });
    const page = await context.newPage();
    const cdp = await context.newCDPSession(page);
    await cdp.send("Performance.enable", { timeDomain: "threadTicks" });
    await cdp.send("Emulation.setCPUThrottlingRate", { rate: slowdown });
    await page.addInitScript(useful);
    const before = await threadTime(cdp);
    await page.goto(`${address}/jobs/${job}/idle`);
    await page.waitForFunction(() => globalThis.useful);
    worked.push((await threadTime(cdp)) - before);
    first.push(await page.evaluate(() => performance.getEntriesByName("first-contentful-paint")[0].startTime));
    good.push(await page.evaluate(() => globalThis.useful));
    await context.close();
  }
  row(`phone, processor slowed ${slowdown} times: first paint, 9 times`, few(first));
  row(`phone, processor slowed ${slowdown} times: speed, CO and HC of the job on the screen`, few(good), "1 s");
  // slowing down is done by keeping the thread busy, so only the plain run says what the page takes
  if (slowdown === 1) row("the same in processor time of the page's thread; four times that", `${few(worked)}; ${ms(4 * quantile(worked, 0.5))}`, "1 s");
}

/* ---- three screens ---- */

async function together(browser, line, address, job) {
  const pages = await screens(browser, [phone, phone, desk], `${address}/jobs/${job}/idle`);
  const took = [], apart = [], saved = [];
  for (let k = 0; k < 60; k++) {
    const speed = 2000 + k, said = line.say(speed, 1.2);
    await pause(250);
    const at = await shownAt(pages, String(speed));
    if (k < 10 || !at.every(Boolean)) continue; // warm first
    took.push(...at.map((t) => t - said));
    apart.push(Math.max(...at) - Math.min(...at));
  }
  row("two phones and a PC: line to screen, 50 readings", spread(took), "100 ms");
  row("two phones and a PC: how far apart", spread(apart), "100 ms");
  for (let k = 0; k < 10; k++) {
    const co = (1.71 + k / 100).toFixed(2); // none of the job has it
    const answer = await fetch(`${address}/api/jobs/${job}/readings`, {
      method: "POST",
      headers: { "Content-Type": "application/json", "Idempotency-Key": `bench-web-${k}` },
      body: JSON.stringify({ stage: "working", at: "idle", speed: "650 rpm", gear: "neutral", CO: `${co} %` }),
    });
    const acknowledged = now();
    if (answer.status !== 201) throw new Error(await answer.text());
    await Promise.all(pages.map((page) => page.waitForFunction((t) => document.querySelector("table")?.textContent?.includes(t), co, { polling: "raf" })));
    saved.push(now() - acknowledged);
    await pause(700);
  }
  row("two phones and a PC: a saved reading, from its acknowledgement to the last screen, 10 times", few(saved), "100 ms");
  for (const page of pages) await page.context().close();
}

/* ---- all of it ---- */

console.log("| what | measured | target |\n| --- | --- | --- |");
if (wanted("start")) await start();
const line = await instrument();
const plain = await serve(["--listen", line.file]);
const job = await putIn(plain.address, "demo");
await pause(500);
if (wanted("weight")) await weight(plain.address);
if (wanted("live")) await live("plain", line, plain, plain.address);
const browser = await browse();
if (wanted("paint")) {
  await paint(browser, plain.address, job, 4);
  await paint(browser, plain.address, job, 1);
}
if (wanted("together")) await together(browser, line, plain.address, job);
row("server's memory after all of it", `${memory(plain.pid).toFixed(1)} MB`);
await browser.close();
await plain.stop();
if (wanted("tls") && Object.values(networkInterfaces()).flat().some((a) => a.family === "IPv4" && !a.internal)) {
  const tls = await serve(["--lan", "--tls", "--listen", line.file]);
  const { address, cookie } = await paired(tls);
  await pause(500);
  await live("TLS", line, tls, address, cookie);
  await tls.stop();
}
line.close();
process.exit(0);
