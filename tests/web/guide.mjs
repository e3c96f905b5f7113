// The guide followed on its page until it says that the idle is set: each reading is what the twin of
// this car shows with the screws where the page has put them, typed as a technician types it.
import { spawnSync } from "node:child_process";
import { join } from "node:path";
import assert from "node:assert/strict";
import { program, root, serve } from "./bench.mjs";
import { openBrowser, runTests, sizes } from "./kit.mjs";

const READINGS_MOST = 12;
const bench = await serve();

// What the gauges show on the car as it stands: speed, CO, HC, CO2, O2, vacuum as the page's form has them.
function readCar(card, edits) {
  const run = spawnSync(program, ["idle", join(root, "cards", `${card}.yaml`), ...edits, "--json"], { encoding: "utf8", maxBuffer: 1 << 26 });
  assert.ok(run.status !== 2, run.stderr);
  const at = JSON.parse(run.stdout).as_it_stands;
  assert.ok(at.solved, at.why);
  return {
    speed: ((at.speed_rad_s * 30) / Math.PI).toFixed(0),
    co: (at.co * 100).toFixed(2),
    hc: (at.hc_hexane * 1e6).toFixed(0),
    co2: (at.co2 * 100).toFixed(1),
    o2: (at.o2 * 100).toFixed(2),
    vacuum: (at.vacuum_pa / 3386.389).toFixed(1),
  };
}

// "1 3/8" or "3/4 turn" to turns.
function turnsOf(text) {
  const found = /^(?:(\d+)(?!\/) ?)?(?:(\d+)\/(\d+))?/.exec(text.trim());
  return Number(found[1] ?? 0) + (found[2] ? Number(found[2]) / Number(found[3]) : 0);
}

// The speed screw's turns that the page asks for; clockwise opens the throttle (right-hand thread).
async function speedMove(page) {
  let turns = 0;
  for (const card of await page.locator(".move-card").all()) {
    if (!/speed/.test(await card.locator(".screw").textContent())) continue;
    const way = await card.locator(".way").textContent();
    turns += turnsOf(await card.locator(".amount").textContent()) * (/counter/.test(way) ? -1 : 1);
  }
  return turns;
}

// The page asks its guide again when it has saved, and when it hears that it was saved: both are over.
function guideRests(page) {
  let under = 0, last = Date.now();
  const count = (by) => (request) => {
    if (!request.url().endsWith("/idle")) return;
    under += by;
    last = Date.now();
  };
  page.on("request", count(1));
  page.on("requestfinished", count(-1));
  page.on("requestfailed", count(-1));
  return async () => {
    while (under > 0 || Date.now() - last < 500) await page.waitForTimeout(50);
  };
}

async function typeReading(page, reading, screws) {
  for (const [name, value] of Object.entries(reading)) await page.fill(`input[name=${name}]`, value);
  for (const [name, value] of Object.entries(screws)) await page.fill(`input[name="screw ${name}"]`, value);
  await page.click("text=Save the reading");
}

// Turns until the page says it is set; what it was told each time.
async function follow(kit, { id, card, screws, speed, faults = [] }) {
  const job = await kit.make({
    job: id, card, car: { transmission: card.includes("automatic") ? "automatic" : "manual" }, fuel: "gasoline",
    weather: { temperature: "68 degF", pressure: "29.92 inHg" },
    analyzers: [{ name: "bench", class: "0", "HC as": "hexane" }],
  });
  const page = kit.page, told = [];
  const rests = guideRests(page);
  let stop = speed;
  await kit.open(`/jobs/${job}/idle`);
  await page.waitForSelector(`input[name="screw ${Object.keys(screws)[0]}"]`);
  for (let i = 0; i < READINGS_MOST; i++) {
    const edits = [...Object.entries(screws).map(([name, at]) => `${name} screw=${turnsOf(at)} turns`), `idle stop=${stop < 0 ? "" : "+"}${stop.toFixed(4)} turns`, ...faults];
    const reading = readCar(card, edits);
    const answered = page.waitForResponse(async (r) => r.url().endsWith("/idle") && r.status() === 200 && (await r.json()).readings === i + 1, { timeout: 60000 });
    await typeReading(page, reading, screws);
    await answered; // the guide has weighed this one too
    await page.waitForFunction(() => !/Wait|Read/.test(document.querySelector(".what-now")?.textContent ?? "Wait"), null, { timeout: 60000 });
    await page.waitForFunction((n) => document.querySelectorAll("section table tbody tr").length === n, i + 1);
    await rests();
    await kit.calm();
    const heading = await page.textContent(".what-now");
    told.push(`${reading.speed} rpm, CO ${reading.co} %, HC ${reading.hc} ppm: ${heading}; ${(await page.locator(".move-card").allTextContents()).join(" | ")}`);
    if (heading === "Set: leave it") return { told, reading, readings: i + 1, job };
    assert.equal(heading, "Turn", told.join("\n"));
    if (i === 1) await kit.fits();
    stop += await speedMove(page);
    await page.click("text=I have turned it");
    // the form now holds where the page takes the screws to be
    for (const name of Object.keys(screws)) screws[name] = await page.inputValue(`input[name="screw ${name}"]`);
  }
  assert.fail(`not set after ${READINGS_MOST} readings:\n${told.join("\n")}`);
}

const cars = [
  { id: "CW-0801", card: "corran-290-eight-manual", screws: { left: "2", right: "2" }, speed: 0.15, co: [1.0, 1.5], rpm: [675, 725] },
  // its jets and screws are not what the card says, as in life: it takes more than one move
  { id: "CW-0803", card: "corran-290-eight-manual", screws: { left: "2 1/2", right: "1 1/4" }, speed: 0.2, faults: ["idle feed=worn 4 %", "idle bleed=clogged 5 %"], co: [1.0, 1.5], rpm: [675, 725] },
  { id: "CW-0802", card: "corran-220-six-manual", screws: { mixture: "2 1/4" }, speed: -0.05, co: [1.0, 1.5], rpm: [675, 725] },
];

const kits = {};
for (const size of Object.keys(sizes)) kits[size] = await openBrowser(bench.address, sizes[size]);
const tests = {};
for (const size of Object.keys(sizes)) {
  for (const car of cars) {
    tests[`${size}: the guide is followed to set, ${car.card}${car.faults ? ', worn' : ''}`] = async () => {
      const kit = kits[size];
      await kit.fresh();
      const end = await follow(kit, { ...car, id: `${car.id}-${size}`, screws: { ...car.screws } });
      console.log(`${car.card}: set after ${end.readings} readings\n  ${end.told.join("\n  ")}`);
      assert.ok(Number(end.reading.co) >= car.co[0] && Number(end.reading.co) <= car.co[1], end.told.join("\n"));
      assert.ok(Number(end.reading.speed) >= car.rpm[0] && Number(end.reading.speed) <= car.rpm[1], end.told.join("\n"));
      await kit.accessible();
      assert.deepEqual(kit.complaints, []);
    };
  }
}

const status = await runTests(tests, process.argv[2], async () => {});
for (const kit of Object.values(kits)) await kit.browser.close();
await bench.stop();
process.exit(status);
