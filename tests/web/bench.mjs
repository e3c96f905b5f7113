// A server on a store of its own, with the demo jobs in it, and a browser that looks at it.
import { spawn } from "node:child_process";
import { existsSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

export const root = process.env.SOURCE_ROOT ?? join(dirname(fileURLToPath(import.meta.url)), "../..");
const program = process.env.LEANWARD ?? join(root, "build-release/src/cli/leanward");
const browsers = ["/usr/bin/chromium", "/usr/bin/chromium-browser"];

export async function serve(extra = []) {
  const folder = mkdtempSync(join(tmpdir(), "leanward-web-"));
  const server = spawn(program, ["serve", "--port", "0", "--store", join(folder, "jobs.db"), "--cards", join(root, "cards"), ...extra]);
  let said = "";
  const address = await new Promise((done, fail) => {
    const hear = (bytes) => {
      said += bytes;
      const found = /http:\/\/127\.0\.0\.1:\d+/.exec(said);
      if (found) done(found[0]);
    };
    server.stdout.on("data", hear);
    server.stderr.on("data", hear);
    server.on("exit", () => fail(new Error(`the server ended: ${said}`)));
  });
  const stop = async () => {
    const gone = new Promise((done) => server.once("exit", done));
    server.kill("SIGTERM");
    await gone;
    rmSync(folder, { recursive: true });
  };
  return { address, stop };
}

export async function putIn(address, name) {
  const answer = await fetch(`${address}/api/jobs`, {
    method: "POST",
    headers: { "Content-Type": "application/yaml", "Idempotency-Key": `put-in-${name}` },
    body: readFileSync(join(root, "jobs", `${name}.yaml`)),
  });
  if (answer.status !== 201) throw new Error(`${name}: ${answer.status} ${await answer.text()}`);
  return (await answer.json()).job;
}

export const browse = () =>
  chromium.launch({ executablePath: browsers.find(existsSync), args: ["--no-sandbox", "--disable-gpu"] });
