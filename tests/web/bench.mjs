// A server on a store of its own, with the demo jobs in it, and a browser that looks at it.
import { spawn } from "node:child_process";
import { existsSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { createServer, request } from "node:http";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

export const root = process.env.SOURCE_ROOT ?? join(dirname(fileURLToPath(import.meta.url)), "../..");
export const program = process.env.LEANWARD ?? join(root, "build-release/src/cli/leanward");
const browsers = ["/usr/bin/chromium", "/usr/bin/chromium-browser"];

// again: what an earlier one has given, killed meanwhile; the store and the address stay.
export async function serve(extra = [], again = null) {
  const folder = again?.folder ?? mkdtempSync(join(tmpdir(), "leanward-web-"));
  const port = again ? new URL(again.address).port : "0";
  const server = spawn(program, ["serve", "--port", port, "--store", join(folder, "jobs.db"), "--cards", join(root, "cards"), ...extra]);
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
  const end = async (signal) => {
    const gone = new Promise((done) => server.once("exit", done));
    server.kill(signal);
    await gone;
  };
  const stop = async () => {
    await end("SIGTERM");
    rmSync(folder, { recursive: true });
  };
  return { address, folder, pid: server.pid, said: () => said, kill: () => end("SIGKILL"), stop };
}

// A server in front of another, as a newer build would be: answers to paths in `changed` go through a
// function of their text, and paths in `moved` are answered by others of the one behind.
export async function front(address) {
  const changed = new Map(), moved = new Map();
  const server = createServer((from, to) => {
    const { host, origin, referer, "accept-encoding": packed, "if-none-match": known, ...headers } = from.headers;
    const ask = request(address + (moved.get(from.url) ?? from.url), { method: from.method, headers }, (answer) => {
      const change = changed.get(from.url);
      const { "content-length": length, etag, ...heads } = answer.headers;
      to.writeHead(answer.statusCode, change ? heads : answer.headers);
      if (!change) return answer.pipe(to);
      let text = "";
      answer.setEncoding("utf8").on("data", (part) => (text += part));
      answer.on("end", () => to.end(change(text)));
    });
    ask.on("error", () => to.destroy());
    from.pipe(ask);
  });
  await new Promise((done) => server.listen(0, "127.0.0.1", done));
  const close = () => {
    server.closeAllConnections();
    return new Promise((done) => server.close(done));
  };
  return { address: `http://127.0.0.1:${server.address().port}`, changed, moved, close };
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

// A practice car or a class with these moves made; what its page keeps in the browser.
export async function practise(address, wish, moves = [], over = false) {
  const what = wish.title ? "class" : "practice";
  let count = 0;
  const post = async (path, body, pass = "") => {
    const headers = { "Content-Type": "application/json", "Idempotency-Key": `practise-${count++}`, "Practice-Pass": pass };
    if (!pass) headers["Idempotency-Key"] = `practise-${Math.random()}`;
    const answer = await fetch(address + path, { method: "POST", headers, body: JSON.stringify(body) });
    if (!answer.ok) throw new Error(`${path}: ${answer.status} ${await answer.text()}`);
    return answer.json();
  };
  const made = await post(what === "class" ? "/api/classes" : "/api/practice", wish);
  for (const move of moves) await post(`/api/practice/${made.practice}/moves`, move, made.pass);
  if (over) await post(`/api/practice/${made.practice}/end`, {}, made.pass);
  return { number: made[what], kept: { [`leanward pass ${what} ${made[what]}`]: JSON.stringify(made.pass) } };
}

export const browse = () =>
  chromium.launch({ executablePath: browsers.find(existsSync), args: ["--no-sandbox", "--disable-gpu"] });
