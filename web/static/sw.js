// Keeps the last wall that was opened, so that it can still be read when the viewer is gone.

const CACHE = "asbuilt-last-wall";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  const wall = url.pathname.match(/^\/faces\/([^/]+)(\/answer)?$/);
  if (wall && (event.request.mode === "navigate" || wall[2])) event.respondWith(wallFirst(event.request, wall[1]));
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
    if (path.startsWith("/faces/") && !path.startsWith(`/faces/${wallId}`)) await cache.delete(old);
  }
  await cache.put(request, response);
}

async function saidToBeOld(kept) {
  const when = kept.headers.get("Date") ?? "an earlier time";
  const words = `<p class="sheet problem" role="alert">The viewer cannot be reached. This is the wall as it was at ${when}; later changes are not in it.</p>`;
  const text = (await kept.text()).replace(/<main[^>]*>/, (main) => main + words);
  return new Response(text, { headers: kept.headers });
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
