// Holds the last of every page seen, for when the station does not answer. What is asked is always asked of it first.
const HELD = "linewright-1";
const AWAY = "/away";
const AS_SEEN = '<p role="status" class="doubt screen">The station does not answer: this is the page as it was last seen here.</p>';

self.addEventListener("install", (event) => {
  const first = [AWAY, "/static/style.css", "/static/parts.js", "/static/mark.svg"];
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
  if (origin !== location.origin || pathname.startsWith("/api/")) return;
  // A stream has no end to be held: whoever left its page would keep one of the browser's few connections to the station.
  if (request.headers.get("Accept") === "text/event-stream") return;
  if (request.method === "GET") event.respondWith(answer(request));
  else if (request.mode === "navigate") event.respondWith(fetch(request).catch(away));
});

async function answer(request) {
  const held = await caches.open(HELD);
  try {
    const fresh = await fetch(request);
    if (fresh.redirected && new URL(fresh.url).pathname === "/door") await forgotten(held);
    if (fresh.ok && !fresh.redirected && !request.headers.has("X-Part")) held.put(request, fresh.clone());
    return fresh;
  } catch {
    const found = await held.match(request);
    if (request.mode !== "navigate") return found ?? new Response("The station does not answer.", { status: 503 });
    return found ? asSeen(found) : away();
  }
}

// Who is signed out sees none of the pages held; what was typed and not sent stays.
async function forgotten(held) {
  for (const request of await held.keys()) {
    const { pathname } = new URL(request.url);
    if (pathname !== AWAY && !pathname.startsWith("/static/")) await held.delete(request);
  }
}

// A page that is held, saying so.
async function asSeen(found) {
  if (!found.headers.get("content-type")?.startsWith("text/html")) return found;
  const text = await found.text();
  return new Response(text.replace(/<main [^>]*>/, (main) => main + AS_SEEN), { headers: found.headers });
}

// What stands in place of a page that was never seen, or of a form that cannot be sent.
async function away() {
  const found = await (await caches.open(HELD)).match(AWAY);
  const text = found ? await found.text() : "The station does not answer.";
  return new Response(text, { status: 503, headers: found?.headers });
}
