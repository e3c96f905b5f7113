// Two phones and a PC on one job: they show the same, readings of an instrument and what one of them saves.
// The times are printed; benchmarks/web.mjs holds them against their target.
import assert from "node:assert/strict";
import { browse, putIn, serve } from "./bench.mjs";
import { runTests, sizes } from "./kit.mjs";
import { instrument, now, pause, quantile, screens, shownAt } from "./watching.mjs";

const line = await instrument();
const bench = await serve(["--listen", line.file]);
const job = await putIn(bench.address, "demo");
const browser = await browse();
const pages = await screens(browser, [sizes.phone, sizes.phone, sizes.desk], `${bench.address}/jobs/${job}/idle`);

// Until all three say this of the gauges or the readings so far, and the same.
async function same(selector, word) {
  for (const page of pages) await page.waitForSelector(`${selector}:has-text("${word}")`);
  for (const until = now() + 5000; ; await pause(50)) {
    const texts = await Promise.all(pages.map((page) => page.locator(selector).first().innerText()));
    if (texts.every((text) => text === texts[0])) return;
    if (now() > until) assert.fail(texts.join("\n--- another screen: ---\n"));
  }
}

const tests = {
  async "each reading of an instrument is on all three screens, in one order"() {
    const took = [], apart = [];
    for (let k = 0; k < 20; k++) {
      const said = line.say(600 + k, 1.2);
      await pause(150);
      const at = await shownAt(pages, String(600 + k));
      assert.ok(at.every(Boolean), `${600 + k} was not on every screen`);
      took.push(Math.max(...at) - said);
      apart.push(Math.max(...at) - Math.min(...at));
    }
    console.log(`from the instrument to the last of three screens: ${quantile(took, 0.5).toFixed(0)} ms in the median, ${Math.max(...took).toFixed(0)} ms at most; screens apart by ${Math.max(...apart).toFixed(0)} ms at most`);
    await same(".gauges", "619");
    for (const page of pages) {
      const order = (await page.evaluate(() => globalThis.shown)).map(([text]) => Number(text)).filter((x) => x >= 600 && x < 620);
      assert.deepEqual(order, [...order].sort((a, b) => a - b));
    }
  },

  async "what one of them saves is on the other two"() {
    await pages[0].fill("input[name=speed]", "655");
    await pages[0].fill("input[name=co]", "1.07");
    const pressed = now();
    await pages[0].click("text=Save the reading");
    await Promise.all(pages.map((page) => page.waitForFunction(() => /1\.07/.test(document.querySelector("table")?.textContent ?? ""), null, { polling: "raf" })));
    console.log(`from pressing Save to three screens with the reading among those of the job: ${(now() - pressed).toFixed(0)} ms`);
    await same("table", "1.07");
  },
};

const code = await runTests(tests, process.argv[2], async () => {});
await browser.close();
line.close();
await bench.stop();
process.exit(code);
