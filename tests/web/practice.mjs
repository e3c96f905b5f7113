// Practice in a browser: a car with a hidden fault to its review, a class with two learners; each page
// also looked at by axe-core, and worked by the keyboard.
import assert from "node:assert/strict";
import { serve } from "./bench.mjs";
import { openBrowser, runTests, sizes } from "./kit.mjs";

const bench = await serve();
const kit = await openBrowser(bench.address, sizes.phone);
const { browser, context, complaints, open, calm, fits, accessible } = kit;
let page;

async function fresh(of = context) {
  page = await kit.fresh(of);
}

async function looked() {
  for (const colorScheme of ["light", "dark"]) {
    await page.emulateMedia({ colorScheme });
    await fits();
    await accessible();
  }
  await page.emulateMedia({ colorScheme: "light" });
}

const minutes = async () => parseFloat(await page.locator(".minutes").textContent());
const done = () => page.locator("ol.done > li").count();

// Press a button and wait until the move is on the list.
async function press(name) {
  const before = await done();
  await page.click(`button:has-text("${name}")`);
  await page.waitForFunction((n) => document.querySelectorAll("ol.done > li").length > n, before);
}

async function bringIn(card, cause = "") {
  await open("/practice");
  await page.selectOption("select[name=card] >> nth=0", card);
  await page.selectOption("select[name=cause] >> nth=0", cause);
  await page.click("text=Bring the car in");
  await page.waitForSelector(".gauge-value:not(:has-text('–'))");
}

// What this browser holds of a car, to ask the server as its page does.
const passOf = (car) => page.evaluate((n) => JSON.parse(localStorage.getItem(`leanward pass practice ${n}`)), car);

const tests = {
  async "a hidden fault is worked on, named wrongly, given up, and reviewed"() {
    await open("/practice");
    await looked();
    let stands = true; // of hidden faults some do not idle: one that does is wanted here
    for (let i = 0; stands && i < 10; i++) {
      await bringIn("corran-290-eight-manual");
      stands = (await page.locator("text=The engine stands").count()) > 0;
    }
    const car = Number(/practice\/(\d+)$/.exec(page.url())[1]);
    const first = await page.locator(".dial strong >> nth=0").textContent();
    assert.match(first, /^\d+ rpm$/);
    await press("Hold 2,500 rpm");
    await page.waitForFunction(() => /^2[345]\d\d rpm$/.test(document.querySelector(".dial strong")?.textContent ?? ""), null, { timeout: 20000 });
    await press("Wait half a minute");
    await press("Write the reading down");
    assert.match(await page.locator("ol.done > li >> nth=0").textContent(), /throttle held: 2[345]\d\d rpm, CO/);
    await press("Let go");
    await press("clockwise");
    await press("brake booster hose");
    await page.click("summary:has-text('checks')");
    await page.click("li:has-text('fuel level') button");
    await page.waitForSelector("li:has-text('fuel level') .mark");
    assert.equal(await minutes(), 1 + 1 + 2 + 0 + 1 + 1 + 12);
    await looked();
    // what is hidden is in no answer this page has had
    const state = await (await fetch(`${bench.address}/api/practice/${car}`, { headers: { "Practice-Pass": await passOf(car) } })).text();
    assert.ok(!/"fault"|"remedy"/.test(state));
    await page.selectOption("label:has-text('It is') select", "nothing wrong");
    await page.click("button:has-text('Name it')");
    await page.waitForSelector("text=1 named wrongly");
    await page.click("text=Give up, and see the review");
    await page.click("text=No, go on");
    await page.click("text=Give up, and see the review");
    await page.click("text=Yes, end it");
    await page.waitForURL(/\/practice\/\d+\/review$/);
    await page.waitForSelector(".told", { timeout: 30000 });
    await page.waitForSelector("text=Not found");
    const fault = await page.locator(".first .move").textContent();
    assert.ok(fault.length > 5 && !state.includes(fault.split(/[,:]/)[0]), fault);
    assert.ok((await page.locator(".told >> nth=0 >> li").count()) >= 3);
    await looked();
    await page.goBack();
    await page.waitForSelector("text=This exercise is over");
  },

  async "with the keyboard alone a chosen fault is found and the idle checked"() {
    await bringIn("corran-220-six-manual", "fuel level high");
    const key = async (selector, press = "Enter") => {
      await page.focus(selector);
      await page.keyboard.press(press);
    };
    const before = await done();
    await key("button:has-text('Write the reading down')");
    await page.waitForFunction((n) => document.querySelectorAll("ol.done > li").length > n, before);
    await key("button:has-text('1/16')", "Space");
    await key("li:has-text('speed screw') button >> nth=0");
    await page.waitForSelector("ol.done >> text=speed screw: 1/16 turn clockwise");
    await page.focus("label:has-text('It is') select");
    await page.keyboard.type("fuel level high");
    await key("button:has-text('Name it')");
    await page.waitForSelector("text=Found, and mended");
    await key("button:has-text('End, and see the review')");
    await key("button:has-text('Yes, end it')");
    await page.waitForSelector("text=✓ Found", { timeout: 30000 });
    await page.waitForSelector("text=fuel level high");
  },

  async "a class: a trainer opens it, two learners work on the same fault, the board tells"() {
    await open("/practice");
    await page.click("summary:has-text('Open a class')");
    await page.fill("input[name=title]", "Tuesday");
    await page.selectOption("select[name=card] >> nth=1", "corran-220-six-export");
    await page.selectOption("select[name=cause] >> nth=1", "timing late");
    await page.click("text=Open the class");
    await page.waitForSelector("h1:has-text('Tuesday')");
    await page.click("summary:has-text('For the trainer')");
    await page.waitForSelector("text=timing late");
    await looked();
    const address = page.url(), learners = {};
    for (const name of ["Ann", "Ben"]) {
      const own = await browser.newContext({ viewport: sizes.phone });
      const at = await own.newPage();
      at.on("pageerror", (error) => complaints.push(error.message));
      await at.goto(address);
      await at.waitForSelector("h1:has-text('Tuesday')");
      assert.ok(!/timing late/.test(await at.textContent("main")));
      await at.fill("input[name=name]", name);
      await at.click("text=Bring my car in");
      await at.waitForSelector(".gauge-value:not(:has-text('–'))");
      learners[name] = { own, at };
    }
    await page.waitForSelector("tr:has-text('Ben') >> text=seeking");
    const ann = learners.Ann.at, ben = learners.Ben.at;
    await ben.selectOption("label:has-text('It is') select", "fuel level low");
    await ben.click("button:has-text('Name it')");
    await ben.waitForSelector("text=1 named wrongly");
    await ann.selectOption("label:has-text('It is') select", "timing late");
    await ann.click("button:has-text('Name it')");
    await ann.waitForSelector("text=Found, and mended");
    await page.waitForSelector("tr:has-text('Ann') >> text=found");
    await page.waitForSelector("h2:has-text('1 of 2 found it')");
    await page.waitForSelector("tr:has-text('Ben') >> td >> text=20");
    await ann.click("text=The class’s board");
    await ann.waitForSelector("tr:has-text('Ann')");
    assert.ok(!/timing late/.test(await ann.textContent("main")));
    await ann.goBack();
    await ann.click("text=End, and see the review");
    await ann.click("text=Yes, end it");
    await ann.waitForSelector("text=✓ Found", { timeout: 30000 });
    await page.waitForSelector("tr:has-text('Ann') >> text=done");
    await page.click("tr:has-text('Ann') >> text=Review");
    await page.waitForSelector("text=✓ Found", { timeout: 30000 });
    await page.goBack();
    await page.click("text=Close it");
    await page.waitForSelector("h1 >> text=closed");
    for (const { own } of Object.values(learners)) await own.close();
  },

  async "a move whose answer is lost on the way is made once"() {
    await bringIn("corran-220-six-manual");
    let lost = 0;
    await page.route("**/moves", async (route) => {
      if (lost++ > 0) return route.continue();
      await route.fetch(); // it is made, and nobody hears of it
      return route.abort();
    });
    await press("counter-clockwise");
    assert.ok(lost >= 2);
    assert.equal(await done(), 1);
    await page.reload();
    await calm();
    await page.waitForSelector(".gauge-value:not(:has-text('–'))");
    assert.equal(await done(), 1);
  },

  async "nothing was thrown, nothing stopped by the content-security policy"() {
    assert.deepEqual(complaints, []);
  },
};

const status = await runTests(tests, process.argv[2], fresh);
await browser.close();
await bench.stop();
process.exit(status);
