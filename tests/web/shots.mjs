// Pictures of every page: node shots.mjs FOLDER [PAGE...]; a phone and a desk, light and dark.
import { mkdirSync } from "node:fs";
import { browse, putIn, serve } from "./bench.mjs";

const folder = process.argv[2] ?? "shots";
const wanted = process.argv.slice(3);
const sizes = { phone: { width: 360, height: 740 }, desk: { width: 1280, height: 800 } };
mkdirSync(folder, { recursive: true });
const bench = await serve();
const jobs = {};
for (const name of ["demo", "power-valve", "vacuum-leak", "weak-cylinder", "wrong-unit"]) jobs[name] = await putIn(bench.address, name);
const pages = {
  list: "/",
  job: `/jobs/${jobs.demo}`,
  idle: `/jobs/${jobs["power-valve"]}/idle`,
  "idle-set": `/jobs/${jobs.demo}/idle`,
  "idle-not-fit": `/jobs/${jobs["vacuum-leak"]}/idle`,
  causes: `/jobs/${jobs["vacuum-leak"]}/causes`,
  fit: `/jobs/${jobs["weak-cylinder"]}/fit`,
  "fit-wrong-unit": `/jobs/${jobs["wrong-unit"]}/fit`,
  "off-idle": `/jobs/${jobs.demo}/off-idle`,
  handover: `/jobs/${jobs.demo}/handover`,
  "what-if": `/jobs/${jobs.demo}/what-if`,
  brief: "/brief?was=corran-290-eight-manual&now=1969%2Fcorran-290-eight-manual",
  "brief-year": "/brief?was=.%2F&now=1969%2F",
  edit: `/jobs/${jobs.demo}/edit`,
  intake: "/new",
};
const browser = await browse();
for (const [size, viewport] of Object.entries(sizes)) {
  for (const colorScheme of ["light", "dark"]) {
    const context = await browser.newContext({ viewport, colorScheme });
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
