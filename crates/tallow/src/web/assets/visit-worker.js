// Keeps the pages of visits that were opened readable without a connection, and nothing else. What is pressed there is kept and
// sent by the page itself.
"use strict";

const CACHE = "tallow-visits";
const MOST_PAGES = 30;
const isPage = (path) => /^\/visits\/\d+$/.test(path);

addEventListener("install", () => skipWaiting());
addEventListener("activate", (event) => event.waitUntil(clients.claim()));

addEventListener("message", (event) => {
  const { page, beside } = event.data;
  event.waitUntil(keep(page, beside));
});

async function keep(page, beside) {
  const cache = await caches.open(CACHE);
  for (const address of beside) {
    if (!(await cache.match(address))) await put(cache, address);
  }
  await put(cache, page);
  const pages = (await cache.keys()).filter((request) => isPage(new URL(request.url).pathname));
  for (const old of pages.slice(0, Math.max(0, pages.length - MOST_PAGES))) await cache.delete(old);
}

// A page of somebody who has to sign in, or of an error, is none to keep.
async function put(cache, address) {
  const response = await fetch(address, { credentials: "same-origin" }).catch(() => null);
  if (!response?.ok || response.redirected) return;
  await cache.delete(address);
  await cache.put(address, response);
}

addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== location.origin) return;
  if (request.mode === "navigate" && isPage(pathname)) {
    event.respondWith(fetch(request).catch(async (error) => {
      const copy = await (await caches.open(CACHE)).match(pathname);
      if (copy) return copy;
      throw error;
    }));
  } else if (pathname.startsWith("/assets/")) {
    event.respondWith(caches.open(CACHE).then((cache) => cache.match(request)).then((copy) => copy ?? fetch(request)));
  }
});
