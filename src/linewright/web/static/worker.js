// Holds the last of every page seen, for when the station does not answer. What is asked is always asked of it first.
const HELD = "linewright-1";

self.addEventListener("install", (event) => {
  const first = ["/static/style.css", "/static/parts.js", "/static/mark.svg"];
  event.waitUntil(caches.open(HELD).then((held) => held.addAll(first)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  const old = async () => {
    for (const name of await caches.keys()) if (name !== HELD) await caches.delete(name);
    await self.clients.claim();
  };
  event.waitUntil(old());
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { pathname, origin } = new URL(request.url);
  if (request.method !== "GET" || origin !== location.origin || pathname.startsWith("/api/")) return;
  event.respondWith(answer(request));
});

async function answer(request) {
  const held = await caches.open(HELD);
  try {
    const fresh = await fetch(request);
    if (fresh.ok && !fresh.redirected && !request.headers.has("X-Part")) held.put(request, fresh.clone());
    return fresh;
  } catch {
    return (await held.match(request)) ?? new Response("The station does not answer.", { status: 503 });
  }
}
