// Build the browser's files into a folder: node build.mjs DIST. Names of script and style carry a hash
// of their content, so that a browser may keep them for good; index.html names them.
import { build } from "esbuild";
import { mkdirSync, readFileSync, writeFileSync, copyFileSync, readdirSync } from "node:fs";
import { basename, join } from "node:path";

const dist = process.argv[2] ?? "dist";
mkdirSync(dist, { recursive: true });
const result = await build({
  entryPoints: ["src/main.tsx", "src/style.css"],
  entryNames: "[name]-[hash]",
  bundle: true,
  minify: true,
  metafile: true,
  format: "esm",
  target: "es2021",
  jsx: "automatic",
  jsxImportSource: "preact",
  legalComments: "none",
  logLevel: "warning",
  outdir: dist,
});
const made = Object.keys(result.metafile.outputs).map((path) => basename(path));
const script = made.find((name) => name.endsWith(".js"));
const style = made.find((name) => name.endsWith(".css"));
const page = readFileSync("src/index.html", "utf8").replace("SCRIPT", script).replace("STYLE", style);
writeFileSync(join(dist, "index.html"), page);
for (const name of readdirSync("static")) copyFileSync(join("static", name), join(dist, name));
