// Looks after the station's page: opens it as it was last when the server does not answer. No other page is kept.
"use strict";
const KEPT = "blotter-station-1";
const PAGE = "/station";
const PATIENCE_MS = 3000;

self.addEventListener("install", () => self.skipWaiting());

self.addEventListener("activate", (event) => {
  const old = caches.keys().then((names) => names.filter((name) => name.startsWith("blotter-station-") && name !== KEPT));
  event.waitUntil(old.then((names) => Promise.all(names.map((name) => caches.delete(name)))));
});

// The page says which pieces it is made of; whether all of it is kept is answered.
self.addEventListener("message", (event) => {
  event.waitUntil(keepAll(event.data.keep || []).then((whole) => event.ports[0].postMessage(whole)));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate" && url.pathname === PAGE) event.respondWith(page(event));
  else if (isPiece(url)) event.respondWith(piece(request));
});

function isPiece(url) {
  return url.origin === self.location.origin && url.pathname.startsWith("/static/");
}

async function keepAll(pieces) {
  const cache = await caches.open(KEPT);
  try {
    if (!(await follow(await fetch(PAGE, { credentials: "same-origin", cache: "no-store" }), cache))) return false;
    const mine = [...new Set(pieces)].filter((each) => isPiece(new URL(each)));
    await cache.addAll(mine);
    return true;
  } catch { return Boolean(await cache.match(PAGE, { ignoreVary: true })); }
}

// Keep the page as it came, or forget it where this browser is no longer a station.
async function follow(response, cache) {
  const isPage = response.ok && !response.redirected;
  if (isPage) await cache.put(PAGE, response.clone());
  else if (response.redirected || response.type === "opaqueredirect" || response.status === 401 || response.status === 403) await cache.delete(PAGE);
  return isPage;
}

async function page(event) {
  const cache = await caches.open(KEPT);
  const kept = await cache.match(PAGE, { ignoreVary: true });
  const asked = fetch(event.request);
  const followed = asked.then((response) => follow(response, cache)).catch(() => false);
  event.waitUntil(followed);
  return kept ? first(asked, kept) : asked;
}

async function piece(request) {
  const kept = await (await caches.open(KEPT)).match(request, { ignoreVary: true });
  return kept ? first(fetch(request), kept) : fetch(request);
}

// What the server says, or what is kept where it does not answer soon or not well.
async function first(asked, kept) {
  const late = new Promise((resolve) => setTimeout(resolve, PATIENCE_MS));
  const response = await Promise.race([asked.catch(() => null), late]);
  return response && response.status < 500 ? response : kept;
}
