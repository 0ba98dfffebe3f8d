// Keeps the last wall that was opened, its pictures too, so that it can be read when the viewer is gone.

const CACHE = "asbuilt-last-wall";
const PICTURES = "asbuilt-pictures"; // those shown last
const MOST_PICTURES = 80;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  const wall = url.pathname.match(/^\/(?:faces|wall)\/([^/]+)(\/answer)?$/);
  if (wall && (event.request.mode === "navigate" || wall[2])) event.respondWith(wallFirst(event.request, wall[1]));
  else if (/^\/(pictures\/[^/]+\/image|faces\/[^/]+\/tiles\/.*)\.jpg$/.test(url.pathname)) event.respondWith(pictureFirst(event.request));
  else if (url.pathname.startsWith("/static/")) event.respondWith(networkFirst(event.request));
});

async function wallFirst(request, wallId) {
  try {
    const response = await fetch(request);
    if (response.ok && !response.redirected) await keep(request, response.clone(), wallId);
    return response;
  } catch (problem) {
    const cache = await caches.open(CACHE);
    const kept = (await cache.match(request)) ?? (await cache.match(request, { ignoreSearch: true }));
    if (!kept || (request.mode !== "navigate" && !(await cache.match(request)))) throw problem;
    return request.mode === "navigate" ? saidToBeOld(kept) : kept;
  }
}

// One wall only: what was kept of another is dropped.
async function keep(request, response, wallId) {
  const cache = await caches.open(CACHE);
  for (const old of await cache.keys()) {
    const path = new URL(old.url).pathname;
    const kept = path.match(/^\/(?:faces|wall)\/([^/]+)/);
    if (kept && kept[1] !== wallId) await cache.delete(old);
  }
  await cache.put(request, response);
}

async function saidToBeOld(kept) {
  const when = kept.headers.get("Date") ?? "an earlier time";
  const words = `<p class="sheet problem" role="alert">The viewer cannot be reached. This is the wall as it was at ${when}; later changes are not in it.</p>`;
  const text = (await kept.text()).replace(/<main[^>]*>/, (main) => main + words);
  return new Response(text, { headers: kept.headers });
}

// A picture never changes under its address; the oldest make room for the newest.
async function pictureFirst(request) {
  const cache = await caches.open(PICTURES);
  const kept = await cache.match(request);
  if (kept) return kept;
  const response = await fetch(request);
  if (response.ok) {
    await cache.put(request, response.clone());
    const all = await cache.keys();
    for (const old of all.slice(0, Math.max(0, all.length - MOST_PICTURES))) await cache.delete(old);
  }
  return response;
}

async function networkFirst(request) {
  const cache = await caches.open(CACHE);
  try {
    const response = await fetch(request);
    if (response.ok) await cache.put(request, response.clone());
    return response;
  } catch (problem) {
    const kept = await cache.match(request);
    if (!kept) throw problem;
    return kept;
  }
}
