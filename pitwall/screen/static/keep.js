/* A service worker: keeps the page's own files, so that the grab sheet opens when the server is gone. Only then. */
const KEPT = "pitwall-page";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin || url.pathname.endsWith("/mqtt")
      || url.pathname.endsWith("/alive")) return;
  event.respondWith(fresh(request));
});

/** From the server while there is one: an old page beside a new daemon would be worse than none. */
async function fresh(request) {
  const kept = await caches.open(KEPT);
  try {
    const answer = await fetch(request);
    if (answer.ok) await kept.put(request, answer.clone());
    return answer;
  } catch (gone) {
    const before = await kept.match(request, { ignoreSearch: true });
    if (before) return before;
    throw gone;
  }
}
