// The service worker: keeps the pages themselves (FILES: page, script, style, icon), so that they open
// with the link down. What the server answers under /api/ is never kept nor looked at here: customers'
// data stay out of this store (docs/serve.md). VERSION is a hash of the files; both come from build.mjs.
/// <reference lib="webworker" />
export {};
declare const self: ServiceWorkerGlobalScope;
declare const VERSION: string;
declare const FILES: string[];

const name = `leanward pages ${VERSION}`;
const patience = 3000; // ms: then the kept page is shown

async function install() {
  const cache = await caches.open(name);
  await cache.addAll(FILES.map((path) => new Request(path, { cache: "reload" })));
  await self.skipWaiting();
}

// Older pages go; those that are open run on from memory and are told what there is now.
async function activate() {
  for (const other of await caches.keys()) if (other !== name) await caches.delete(other);
  await self.clients.claim();
  for (const client of await self.clients.matchAll({ type: "window" })) client.postMessage({ files: FILES });
}

const keptFile = (path: string) => caches.match(path, { cacheName: name, ignoreVary: true });

// The server's page when it is there, so that a newer one is never hidden; else the kept one.
async function page(request: Request): Promise<Response> {
  const fresh = fetch(request);
  const late = new Promise<undefined>((done) => setTimeout(done, patience));
  const first = await Promise.race([fresh, late]).catch(() => undefined);
  return first ?? (await keptFile("/")) ?? fresh;
}

self.addEventListener("install", (event) => event.waitUntil(install()));
self.addEventListener("activate", (event) => event.waitUntil(activate()));
self.addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin || url.pathname.startsWith("/api/")) return;
  if (request.mode === "navigate") event.respondWith(page(request));
  else if (FILES.includes(url.pathname)) event.respondWith(keptFile(url.pathname).then((file) => file ?? fetch(request)));
});
