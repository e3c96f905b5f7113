// Off idle and devices, the brief, the whole job: in a browser, as a technician uses them.
import { mkdtempSync, rmSync, writeFileSync, readFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import assert from "node:assert/strict";
import { putIn, serve } from "./bench.mjs";
import { openBrowser, runTests, sizes } from "./kit.mjs";

const bench = await serve();
const demo = await putIn(bench.address, "demo");
const kit = await openBrowser(bench.address, sizes.phone);
const { open, calm, document: documentOf } = kit;
const valve = await kit.make({ job: "CW-0700", card: "corran-290-eight-manual", car: { transmission: "manual" } });
const $ = (selector) => kit.page.locator(selector);
const pair = "/brief?was=corran-290-eight-manual&now=1969%2Fcorran-290-eight-manual";

async function drawn() {
  await kit.page.waitForSelector(".plot");
  await calm();
}

// The space bar twice, so many ms apart by the page's own clock, however busy this machine is.
const timed = (ms) =>
  kit.page.evaluate(
    (wait) =>
      new Promise((done) => {
        const space = () => document.body.dispatchEvent(new KeyboardEvent("keydown", { key: " ", bubbles: true }));
        space();
        const until = performance.now() + wait;
        const look = () => (performance.now() < until ? setTimeout(look, 5) : (space(), done()));
        look();
      }),
    ms,
  );

const tests = {
  async "the new pages fit a phone and are accessible in light and dark"() {
    for (const name of ["Vacuum fall", "Dashpot", "Pump shot", "Tip-in"]) {
      await kit.stands(`/jobs/${demo}/off-idle`, async () => {
        await kit.page.click(`.choice >> text=${name}`);
        await drawn();
      });
    }
    await kit.stands("/brief");
    await kit.stands(pair, () => kit.page.waitForSelector(".difference"));
    await kit.stands(`/jobs/${demo}/edit`, async () => {
      await kit.page.waitForSelector(".line-field");
      for (const name of ["Checks", "Readings", "Limits", "Car"]) await kit.page.click(`summary:has-text('${name}')`);
      await kit.page.click("summary:has-text('reading 1')");
      await kit.page.waitForSelector("legend:has-text('Screws')");
    });
  },

  async "the fall of the vacuum is timed with the space bar and kept in the job"() {
    await open(`/jobs/${valve}/off-idle`);
    await drawn();
    await kit.page.waitForSelector("text=At most 3.0 s: the card");
    await kit.page.click(".choice >> text=Vacuum fall"); // the space bar is the timer's after a touch
    await kit.page.keyboard.press("Space");
    await kit.page.waitForSelector(".timer-button.runs");
    await kit.page.keyboard.press("Space");
    await kit.page.waitForFunction(() => !document.querySelector(".timer-button.runs"));
    await kit.page.click("text=Forget these");
    await timed(1200);
    await kit.page.waitForSelector(".first >> text=in time");
    const shown = parseFloat(await $(".timer-seconds").textContent());
    assert.ok(shown >= 1.1 && shown <= 1.7, `${shown} s`);
    await timed(3900);
    await kit.page.waitForSelector(".first >> text=it stays up");
    await kit.page.click("text=/Keep [34]\\.[0-9] s in the job/");
    await kit.page.waitForSelector("text=/In the job: [34]\\.[0-9] s/");
    assert.match((await documentOf(valve)).checks["vacuum fall time"], /^[34]\.[0-9] s$/);
    await kit.page.reload(); // tries stay in this browser
    await kit.page.waitForSelector("text=/Timed here: 1\\.[0-9] s, [34]\\.[0-9] s/");
  },

  async "the big button starts as it is touched, and works by keyboard; close to the limit is not called"() {
    await open(`/jobs/${valve}/off-idle`);
    await drawn();
    const button = await $(".timer-button").boundingBox();
    assert.ok(button.height >= 120 && button.width >= 250, JSON.stringify(button));
    assert.ok(button.y + button.height <= sizes.phone.height, "the button is on the first screen");
    await kit.page.mouse.move(button.x + 100, button.y + 60);
    await kit.page.mouse.down();
    await kit.page.waitForSelector(".timer-button.runs");
    await kit.page.mouse.up();
    await kit.page.mouse.down();
    await kit.page.mouse.up();
    await kit.page.waitForFunction(() => !document.querySelector(".timer-button.runs"));
    await timed(2980);
    await kit.page.waitForSelector(".first >> text=/too close to .* call/");
    await kit.page.focus(".timer-button");
    await kit.page.keyboard.press("Enter");
    await kit.page.waitForSelector(".timer-button.runs");
    await kit.page.keyboard.press("Enter");
    await kit.page.waitForFunction(() => !document.querySelector(".timer-button.runs"));
  },

  async "whether the dashpot is clear goes into the checks; what has no key says so"() {
    await open(`/jobs/${demo}/off-idle`);
    await kit.page.click(".choice >> text=Dashpot");
    await kit.page.click("text=No, it still holds");
    await kit.page.waitForSelector("text=It holds the throttle: kept.");
    await kit.page.waitForFunction(() => !document.querySelector(".outbox"));
    assert.equal((await documentOf(demo)).checks["dashpot clear"], "no");
    await kit.page.click("text=Yes, it is clear");
    await kit.page.waitForSelector("text=Clear of the throttle: kept.");
    await kit.page.waitForSelector("text=a job has no key for it");
  },

  async "the pump's shot and what the displays came to are kept"() {
    await open(`/jobs/${demo}/off-idle`);
    await kit.page.click(".choice >> text=Pump shot");
    await kit.page.click(".takeaway >> text=Weak");
    await kit.page.waitForSelector("text=Pump shot weak: kept.");
    await kit.page.click(".choice >> text=Tip-in");
    await kit.page.fill("input[name='HC most']", "1900");
    await kit.page.fill("input[name='CO least']", "0,4");
    await kit.page.selectOption("select[name=felt]", "hesitates");
    await kit.page.click("text=Keep it in the job");
    await kit.page.waitForSelector("text=1 opening of the throttle");
    await kit.page.selectOption("label:has-text('What is done') select", "snap");
    await drawn();
    await kit.page.fill("input[name='speed most']", "2400");
    await kit.page.click("text=Keep it in the job");
    await kit.page.waitForSelector("text=2 openings of the throttle");
    await kit.page.waitForFunction(() => !document.querySelector(".outbox"));
    const now = await documentOf(demo);
    assert.equal(now.checks["pump shot"], "weak");
    const snaps = now.snaps.map(({ time, ...rest }) => rest);
    assert.deepEqual(snaps, [{ kind: "tip-in", speed: "1500 rpm", "CO least": "0.4 %", "HC most": "1900 ppm hexane", felt: "hesitates" }, { kind: "snap", "speed most": "2400 rpm" }]);
  },

  async "a fault stands beside the sound car, in figures and lines"() {
    await open(`/jobs/${demo}/off-idle`);
    await kit.page.click(".choice >> text=Tip-in");
    await drawn();
    assert.equal(await $(".plot .line.changed").count(), 0);
    await kit.page.selectOption(".beside select", { label: "pump disconnected" });
    await kit.page.waitForSelector(".plot .line.changed");
    const leanest = await kit.page.locator("tr:has-text('leanest') td").allTextContents();
    assert.ok(parseFloat(leanest[1]) > parseFloat(leanest[0]) + 0.1, leanest.join());
    await kit.page.click(".choice >> text=Pump shot");
    await drawn();
    await kit.page.selectOption(".beside select", { label: "pump weak by half" });
    await kit.page.waitForSelector(".plot .line.changed");
    const given = await kit.page.locator("tr:has-text('delivers') td").allTextContents();
    assert.ok(Math.abs(parseFloat(given[1]) / parseFloat(given[0]) - 0.5) < 0.1, given.join());
  },

  async "what an instrument reads during the fall is drawn, and when it passed what is set is told"() {
    const folder = mkdtempSync(join(tmpdir(), "leanward-web-"));
    const lines = ["time [s],speed [rpm],vacuum [inHg]"];
    for (let i = 0; i < 600; i++) lines.push(`${(i * 0.1).toFixed(1)},${i % 30 < 8 ? 2500 : 700},${(i % 30 < 8 ? 20 : Math.max(2, 20 - 1.2 * (i % 30 - 8))).toFixed(1)}`);
    writeFileSync(join(folder, "fall.csv"), `${lines.join("\n")}\n`);
    const second = await serve([`--replay=${join(folder, "fall.csv")}`]);
    kit.address = second.address;
    const job = await kit.make({ job: "CW-0701", card: "corran-290-eight-manual" });
    await open(`/jobs/${job}/off-idle`);
    await kit.page.keyboard.press("Space");
    await kit.page.waitForTimeout(3200);
    await kit.page.keyboard.press("Space");
    await kit.page.waitForSelector("h2:has-text('What the instruments read')");
    assert.equal(await $(".charts").first().locator(".plot").count(), 2);
    await kit.page.click("text=Take that time");
    await kit.page.waitForSelector("text=/Keep [0-3]\\.[0-9] s in the job/");
    await kit.page.click(".choice >> text=Tip-in");
    await drawn();
    await kit.page.keyboard.press("Space");
    await kit.page.waitForTimeout(3200);
    await kit.page.keyboard.press("Space");
    await kit.page.click("text=Fill in what was read");
    assert.ok(parseFloat(await kit.page.inputValue("input[name='vacuum most']")) > 15);
    kit.address = bench.address;
    await kit.fresh(); // its stream ends with the page
    await second.stop();
    rmSync(folder, { recursive: true });
  },

  async "two cards are chosen, and what changed stands in the order of the hand"() {
    await open("/");
    await kit.page.click("text=Brief: what changed");
    await kit.page.waitForSelector("option[value='1969/']", { state: "attached" });
    await kit.page.selectOption("label:has-text('Was') select", "corran-290-eight-manual");
    assert.equal(await kit.page.inputValue("label:has-text('Now') select"), "1969/corran-290-eight-manual");
    await kit.page.click("text=Show what changed");
    await kit.page.waitForSelector(".difference");
    const groups = await kit.page.locator("section.brief h3").allTextContents();
    const order = ["Idle setting", "Timing and advance", "Devices", "Limits"];
    assert.deepEqual(groups.filter((g) => order.includes(g)), order);
    const [download] = await Promise.all([kit.page.waitForEvent("download"), kit.page.click("text=As a sheet (PDF)")]);
    assert.equal(readFileSync(await download.path()).subarray(0, 5).toString(), "%PDF-");
    const [page] = await Promise.all([kit.page.waitForEvent("download"), kit.page.click("text=As a page to hand on")]);
    assert.match(readFileSync(await page.path(), "utf8"), /leanward brief/);
    await kit.page.emulateMedia({ media: "print" });
    assert.equal(await kit.page.isVisible("form"), false);
    assert.equal(await kit.page.isVisible(".difference"), true);
    await kit.page.emulateMedia({ media: "screen" });
    await kit.page.selectOption("label:has-text('Now') select", "1969/");
    await kit.page.waitForSelector("text=not one of each");
  },

  async "a model year against the last is told unit by unit"() {
    await kit.stands("/brief?was=.%2F&now=1969%2F", () => kit.page.waitForSelector("h2:has-text('Unit by unit')", { timeout: 60000 }));
    await kit.page.waitForSelector("h1:has-text('Model year 1969 against 1968')");
    assert.equal(await $("details.unit").count(), 9);
    await kit.page.click("details.unit >> nth=4 >> summary");
    await kit.page.waitForSelector("details.unit[open] .difference");
    assert.ok((await $("h2:has-text('Dropped') + ul li").count()) === 2);
  },

  async "a line of the job is changed; a bare number gets its unit; what is wrong is said beside it"() {
    await open(`/jobs/${demo}/edit`);
    await kit.page.click("summary:has-text('Checks')");
    const oil = kit.page.getByLabel("Oil", { exact: true });
    await oil.fill("190");
    await oil.blur();
    assert.equal(await oil.inputValue(), "190 degF");
    await kit.page.click("summary:has-text('Readings')");
    await kit.page.click("summary:has-text('reading 2')");
    const co = kit.page.getByLabel("CO", { exact: true });
    const before = await co.inputValue();
    await co.fill("3.5 inHg");
    await kit.page.click("text=Save 2 changes");
    await kit.page.waitForSelector(".line-field.wrong .wrong-words");
    assert.match(await $(".wrong-words").textContent(), /unit/);
    assert.equal(await $(".line-field.wrong input").inputValue(), "3.5 inHg");
    await kit.accessible();
    const here = await kit.page.evaluate(() => JSON.stringify({ ...localStorage }));
    assert.match(here, /3\.5 inHg/);
    assert.doesNotMatch(here, /A\. R\.|Rough idle/); // and nothing of the customer lies in the browser
    await kit.page.reload(); // nothing typed is lost
    await kit.page.waitForSelector("text=What you typed here before is still here");
    await kit.page.click("summary:has-text('Readings')");
    await kit.page.click("summary:has-text('reading 2')");
    await co.fill("3.55");
    await co.blur();
    assert.match(before, /%$/);
    assert.equal(await co.inputValue(), "3.55 %");
    await kit.page.click("text=Save 2 changes");
    await kit.page.waitForSelector("text=✓ Saved.");
    const now = await documentOf(demo);
    assert.equal(now.checks.oil, "190 degF");
    assert.equal(now.readings[1].CO, "3.55 %");
  },

  async "what others save meanwhile stays, and who changes the same is told"() {
    await open(`/jobs/${demo}/edit`);
    await kit.page.getByLabel("Customer", { exact: true }).fill("A. R., by phone");
    await kit.put(demo, (d) => ({ ...d, shop: "Bay 4", readings: [...d.readings, { CO: "1.2 %", stage: "working", at: "idle" }] }));
    const count = (await documentOf(demo)).readings.length;
    await kit.page.click("text=Save 1 change");
    await kit.page.waitForSelector("text=✓ Saved.");
    let now = await documentOf(demo);
    assert.ok((await $("#known-card option").count()) > 5);
    assert.deepEqual([now.shop, now.customer, now.readings.length], ["Bay 4", "A. R., by phone", count]);
    await kit.page.getByLabel("Shop", { exact: true }).fill("Bay 5");
    await kit.put(demo, (d) => ({ ...d, shop: "Bay 6" }));
    await kit.page.waitForSelector(".wrong-words >> text=to 'Bay 6'");
    await kit.page.click("text=Save 1 change");
    await kit.page.waitForSelector("text=✓ Saved.");
    assert.equal((await documentOf(demo)).shop, "Bay 5");
  },

  async "readings are added and taken out; a list of values is typed in one line"() {
    const before = (await documentOf(demo)).readings;
    await open(`/jobs/${demo}/edit`);
    await kit.page.click("summary:has-text('Readings')");
    await kit.page.click("summary:has-text('reading 1')");
    await kit.page.click("text=Take reading 1 out");
    await kit.page.waitForSelector("text=Put it back");
    await kit.page.click("text=Add: reading");
    await kit.page.click(`summary:has-text('reading ${before.length + 1}')`);
    await kit.page.getByLabel("Label", { exact: true }).fill("typed in the office");
    await kit.page.getByLabel("another name").fill("air bleed");
    await kit.page.click("text=Add it");
    await kit.page.getByLabel("Air bleed", { exact: true }).fill("1 1/2");
    await kit.page.getByLabel("Air bleed", { exact: true }).blur();
    await kit.page.click("summary:has-text('Checks')");
    const compression = kit.page.getByLabel("Compression", { exact: true });
    await compression.fill("141, 139 psi, 140, 143, 138, 142, 140, 141");
    await compression.blur();
    await kit.page.click("text=/^Save [0-9]+ changes$/");
    await kit.page.waitForSelector("text=✓ Saved.");
    const now = await documentOf(demo);
    assert.equal(now.readings.length, before.length);
    assert.deepEqual(now.readings[0], before[1]);
    assert.deepEqual(now.readings[before.length - 1], { label: "typed in the office", screws: { "air bleed": "1 1/2 turns" } });
    assert.deepEqual(now.checks.compression.slice(0, 2), ["141 psi", "139 psi"]);
  },

  async "who chose metric reads metric, in the server's texts too"() {
    const leaking = await putIn(bench.address, "power-valve");
    const shopWords = /[0-9] (inHg|psi|degF|ft)\b|[0-9]\.[0-9]+ in\b/;
    const shown = async (path, ready) => {
      await open(path);
      await kit.page.waitForSelector(ready, { state: "attached" });
      await kit.page.evaluate(() => document.querySelectorAll("details").forEach((d) => (d.open = true)));
      return kit.page.locator("main").innerText();
    };
    const paths = [[`/jobs/${demo}/fit`, ".checks"], [`/jobs/${leaking}/causes`, ".cause"], [`/jobs/${demo}`, ".checks"], [pair, ".difference"]];
    assert.match(await shown(...paths[0]), shopWords);
    await kit.page.selectOption("header select", "metric");
    for (const [path, ready] of paths) {
      const text = await shown(path, ready);
      const found = shopWords.exec(text);
      assert.equal(found, null, `${path}: ${found && text.slice(Math.max(0, found.index - 60), found.index + 30)}`);
    }
    assert.match(await shown(...paths[0]), /found [0-9, ]+ kPa/); // compression
    assert.match(await shown(...paths[3]), /1\.55 mm/);
    await kit.page.selectOption("header select", "shop");
  },

  async "changes made while the link is down are sent once it is back"() {
    await open(`/jobs/${demo}/edit`);
    await kit.page.getByLabel("Technician", { exact: true }).fill("T. W.");
    await kit.context.setOffline(true);
    await kit.page.click("text=Save 1 change");
    await kit.page.waitForSelector("text=1 entry is kept");
    await kit.context.setOffline(false);
    await kit.page.waitForFunction(() => !document.querySelector(".outbox"), null, { timeout: 15000 });
    assert.equal((await documentOf(demo)).technician, "T. W.");
  },

  async "changes that are refused after the link was down can be opened again and mended"() {
    await open(`/jobs/${demo}/edit`);
    await kit.page.getByLabel("Technician", { exact: true }).fill("T. W. and N.");
    await kit.page.click("summary:has-text('Weather')");
    await kit.page.getByLabel("Humidity", { exact: true }).fill("145 %");
    await kit.context.setOffline(true);
    await kit.page.click("text=Save 2 changes");
    await kit.page.waitForSelector("text=1 entry is kept");
    await kit.context.setOffline(false);
    await kit.page.waitForSelector(".outbox >> text=Not saved", { timeout: 15000 });
    await kit.page.click("text=Open it again");
    await kit.page.waitForSelector("text=What you typed here before is still here");
    assert.equal(await kit.page.getByLabel("Technician", { exact: true }).inputValue(), "T. W. and N.");
    await kit.page.click("summary:has-text('Weather')");
    assert.equal(await kit.page.getByLabel("Humidity", { exact: true }).inputValue(), "145 %");
    await kit.page.getByLabel("Humidity", { exact: true }).fill("55 %");
    await kit.page.click("text=Save 2 changes");
    await kit.page.waitForSelector("text=✓ Saved.");
    const now = await documentOf(demo);
    assert.deepEqual([now.technician, now.weather.humidity], ["T. W. and N.", "55 %"]);
    assert.equal(await $(".outbox").count(), 0);
  },

  async "nothing was thrown, nothing stopped by the content-security policy"() {
    assert.deepEqual(kit.complaints, []);
  },
};

const status = await runTests(tests, process.argv[2], kit.fresh);
await kit.browser.close();
await bench.stop();
process.exit(status);
