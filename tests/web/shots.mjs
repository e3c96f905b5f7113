// Pictures of every page: node shots.mjs FOLDER [PAGE...]; a phone and a desk, light and dark.
import { mkdirSync } from "node:fs";
import { browse, practise, putIn, serve } from "./bench.mjs";

const folder = process.argv[2] ?? "shots";
const wanted = process.argv.slice(3);
const sizes = { phone: { width: 360, height: 740 }, desk: { width: 1280, height: 800 } };
mkdirSync(folder, { recursive: true });
const bench = await serve();
const jobs = {};
for (const name of ["demo", "power-valve", "vacuum-leak", "weak-cylinder", "wrong-unit", "flat-spot"]) jobs[name] = await putIn(bench.address, name);
const read = { move: "read" }, fast = { move: "hold", speed_rad_s: 261.8 }, wait = { move: "wait" };
const six = { card: "corran-220-six-manual", cause: "fuel level high" }, eight = { card: "corran-290-eight-manual", cause: "main jet clogged" };
const car = await practise(bench.address, six, [read, fast, wait, read, { move: "check", check: "feel the throttle shaft" }, { move: "pedal", share: 0 }]);
const done = await practise(bench.address, eight, [read, fast, wait, read, { move: "check", check: "main jet and bleed" }, { move: "name", cause: "timing late" }, { move: "name", cause: eight.cause }], true);
const group = await practise(bench.address, { title: "Tuesday evening", card: "corran-220-six-manual" });
for (const name of ["Ann", "Ben", "Cleo with a rather long name"]) await practise(bench.address, { class: group.number, name }, [read], name === "Ann");
const pages = {
  list: "/",
  job: `/jobs/${jobs.demo}`,
  idle: `/jobs/${jobs["power-valve"]}/idle`,
  "idle-set": `/jobs/${jobs.demo}/idle`,
  "idle-not-fit": `/jobs/${jobs["vacuum-leak"]}/idle`,
  causes: `/jobs/${jobs["vacuum-leak"]}/causes`,
  "causes-flat-spot": `/jobs/${jobs["flat-spot"]}/causes`,
  fit: `/jobs/${jobs["weak-cylinder"]}/fit`,
  "fit-wrong-unit": `/jobs/${jobs["wrong-unit"]}/fit`,
  "off-idle": `/jobs/${jobs.demo}/off-idle`,
  handover: `/jobs/${jobs.demo}/handover`,
  "what-if": `/jobs/${jobs.demo}/what-if`,
  brief: "/brief?was=corran-290-eight-manual&now=1969%2Fcorran-290-eight-manual",
  "brief-year": "/brief?was=.%2F&now=1969%2F",
  edit: `/jobs/${jobs.demo}/edit`,
  intake: "/new",
  practice: "/practice",
  "practice-car": `/practice/${car.number}`,
  "practice-review": `/practice/${done.number}/review`,
  "practice-class": `/class/${group.number}`,
};
const browser = await browse();
for (const [size, viewport] of Object.entries(sizes)) {
  for (const colorScheme of ["light", "dark"]) {
    const context = await browser.newContext({ viewport, colorScheme });
    await context.addInitScript((kept) => Object.entries(kept).forEach(([name, text]) => localStorage.setItem(name, text)), { ...car.kept, ...done.kept, ...group.kept });
    const page = await context.newPage();
    page.on("pageerror", (error) => console.error(`${size}: ${error.message}`));
    page.on("console", (m) => m.type() === "error" && console.error(`${page.url()}: ${m.text()}`));
    for (const [name, path] of Object.entries(pages)) {
      if (wanted.length && !wanted.includes(name)) continue;
      await page.goto(bench.address + path);
      await page.waitForSelector("h1");
      await page.waitForFunction(() => !document.querySelector(".busy") && !/One moment/.test(document.body.textContent ?? ""), null, { timeout: 30000 });
      await page.waitForTimeout(400);
      const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
      if (wide > 0) console.error(`${name} ${size}: ${wide} px too wide`);
      await page.screenshot({ path: `${folder}/${name}-${size}-${colorScheme}.png`, fullPage: true });
    }
    await context.close();
  }
}
await browser.close();
await bench.stop();
