// Runs beside the pages (a service worker): a sheet that was open once can be opened again while
// the connection is gone. Always the server first; what is kept here is only what it last said.
const KEPT = "backprobe-sheets";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  const isSheet = request.mode === "navigate" && pathname.startsWith("/sheets/");
  if (request.method !== "GET" || origin !== self.location.origin) return;
  if (isSheet || pathname.startsWith("/static/")) event.respondWith(served(request, pathname));
});

async function served(request, pathname) {
  const kept = await caches.open(KEPT);
  const known = await kept.match(request);
  // Addresses of static files change with their content.
  if (known && pathname.startsWith("/static/")) return known;
  try {
    const answer = await fetch(request);
    if (answer.status === 401) await caches.delete(KEPT); // this device was removed
    else if (answer.ok && answer.type === "basic" && !answer.redirected) await kept.put(request, answer.clone());
    return answer;
  } catch (gone) {
    if (known) return known;
    throw gone;
  }
}
