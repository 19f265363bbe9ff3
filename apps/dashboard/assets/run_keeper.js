// Keeps the files of run mode in the browser: fresh ones while the server answers, these when not.

const STORE = "washsim-run";
const FILES = ["run.html", "run.css", "run.js", "run_state.js", "icon.svg"];
const own = new Set(FILES.map((file) => new URL(file, self.registration.scope).pathname));

self.addEventListener("install", (event) => {
  self.skipWaiting();
  event.waitUntil(caches.open(STORE).then((store) => store.addAll(FILES)));
});

self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const { pathname } = new URL(event.request.url);
  if (!own.has(pathname)) return;
  event.respondWith(fresh(event.request, pathname));
});

async function fresh(request, pathname) {
  const store = await caches.open(STORE);
  try {
    const answer = await fetch(request);
    if (answer.ok) await store.put(pathname, answer.clone());
    return answer;
  } catch {
    return (await store.match(pathname)) ?? Response.error();
  }
}
