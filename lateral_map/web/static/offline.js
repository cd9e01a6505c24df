/* Lets the page be loaded again while its server is out of reach. FILES stands above. */

const SHELF = "entry page";

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(SHELF).then((shelf) => shelf.addAll(["/", ...FILES])).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const { method, url } = event.request;
  const { origin, pathname } = new URL(url);
  if (method !== "GET" || origin !== self.location.origin) return;
  if (pathname === "/" || pathname.startsWith("/static/")) event.respondWith(fresh(event.request, true));
  // What the page last drew it puts on the shelf itself.
  else if (pathname.startsWith("/picture/")) event.respondWith(fresh(event.request, true, "/picture/"));
  else if (pathname === "/state" || pathname === "/profile") event.respondWith(fresh(event.request, false));
});

/* Of what has another address each time, under `alone`, the last one stays. */
async function fresh(request, keeps, alone = null) {
  const shelf = await caches.open(SHELF);
  let answer;
  try {
    answer = await fetch(request);
  } catch (error) {
    const kept = await shelf.match(request);
    if (!kept) throw error;
    const headers = new Headers(kept.headers);
    headers.set("x-kept", "yes");
    return new Response(kept.body, { status: kept.status, headers });
  }
  try {
    if (alone && answer.ok) for (const other of await shelf.keys()) if (new URL(other.url).pathname.startsWith(alone)) await shelf.delete(other);
    if (keeps && answer.ok) await shelf.put(request, answer.clone());
  } catch {
    /* No room on this device: the answer is the server's all the same. */
  }
  return answer;
}
