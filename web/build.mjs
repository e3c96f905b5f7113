// Build the browser's files into a folder: node build.mjs DIST. Names of script and style carry a hash
// of their content, so that a browser may keep them for good; index.html names them. worker.js keeps all
// of them in a browser, under a name that changes when any of them does.
import { build } from "esbuild";
import { createHash } from "node:crypto";
import { mkdirSync, readFileSync, writeFileSync, copyFileSync, readdirSync } from "node:fs";
import { basename, join } from "node:path";

const dist = process.argv[2] ?? "dist";
mkdirSync(dist, { recursive: true });
const how = { bundle: true, minify: true, target: "es2021", legalComments: "none", logLevel: "warning", outdir: dist };
const result = await build({
  ...how,
  entryPoints: ["src/main.tsx", "src/style.css"],
  entryNames: "[name]-[hash]",
  metafile: true,
  format: "esm",
  jsx: "automatic",
  jsxImportSource: "preact",
});
const made = Object.keys(result.metafile.outputs).map((path) => basename(path));
const script = made.find((name) => name.endsWith(".js"));
const style = made.find((name) => name.endsWith(".css"));
const page = readFileSync("src/index.html", "utf8").replace("SCRIPT", script).replace("STYLE", style);
writeFileSync(join(dist, "index.html"), page);
const others = readdirSync("static");
for (const name of others) copyFileSync(join("static", name), join(dist, name));

const kept = [script, style, ...others];
const hash = createHash("sha256").update(page);
for (const name of kept) hash.update(name).update(readFileSync(join(dist, name)));
await build({
  ...how,
  entryPoints: ["src/worker.ts"],
  format: "iife",
  define: { VERSION: JSON.stringify(hash.digest("hex").slice(0, 16)), FILES: JSON.stringify(["/", ...kept.map((name) => `/${name}`)]) },
});
