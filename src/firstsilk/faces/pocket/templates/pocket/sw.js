{% autoescape off %}// Which of the pocket's files does the phone hold? All of one edition, or none of it.
"use strict";

const CACHE = "firstsilk-pocket-{{ edition }}";
const NAMES = {{ names }};
const PAGE = NAMES[0];

self.addEventListener("install", (event) => event.waitUntil(holdAll()));
self.addEventListener("activate", (event) => event.waitUntil(letGoOfOthers()));
self.addEventListener("message", (event) => {
  if (event.data === "take over") self.skipWaiting();
});
self.addEventListener("fetch", (event) => {
  const request = event.request;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== self.location.origin) return;
  const name = request.mode === "navigate" && address.pathname === PAGE ? PAGE : address.pathname;
  if (NAMES.includes(name)) event.respondWith(giveHeld(name, request));
});

async function holdAll() {
  const cache = await caches.open(CACHE);
  try {
    await cache.addAll(NAMES.map((name) => new Request(name, { cache: "reload", credentials: "omit" })));
  } catch (fault) {
    await caches.delete(CACHE);
    throw fault;
  }
}

async function letGoOfOthers() {
  for (const name of await caches.keys()) {
    if (name.startsWith("firstsilk-pocket-") && name !== CACHE) await caches.delete(name);
  }
  await self.clients.claim();
}

async function giveHeld(name, request) {
  const held = await caches.match(name, { cacheName: CACHE });
  return held || fetch(request);
}
{% endautoescape %}
