/* Opens the counting page without a network. It keeps that page and the files it is made of, of the last person who
   opened it on this phone, and nothing else: no other page, no photo, no answer to a form. Signing out removes all. */

const { URL: Address } = self;
const PAGES = "testround pages 1";
const PATIENCE_MS = 5000;
const COUNTING = /^\/places\/\d+\/counting\/$/;

self.addEventListener("install", () => self.skipWaiting());

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      for (const name of await caches.keys()) {
        if (name.startsWith("testround pages") && name !== PAGES) {
          await caches.delete(name);
        }
      }
      await self.clients.claim();
    })()
  );
});

/** Keep a page, and the files that it was loaded with. */
async function keep({ keep: path, files, person }) {
  if (!person || !COUNTING.test(path)) {
    return;
  }
  const cache = await caches.open(PAGES);
  await keepPage(cache, path, await fetch(path, { credentials: "same-origin", redirect: "manual" }));
  await Promise.all(
    files.map(async (url) => {
      if (new Address(url).origin === self.location.origin) {
        const answer = await fetch(url);
        if (answer.ok) {
          await cache.put(url, answer);
        }
      }
    })
  );
}

async function keepPage(cache, path, answer) {
  if (answer.ok && !answer.redirected && answer.headers.get("Content-Type")?.startsWith("text/html")) {
    await cache.put(path, answer.clone());
  }
}

self.addEventListener("message", (event) => {
  if (event.data?.keep) {
    event.waitUntil(keep(event.data).catch(() => undefined));
  }
});

async function page(request) {
  const { pathname } = new Address(request.url);
  const cache = await caches.open(PAGES);
  const kept = await cache.match(pathname, { ignoreVary: true });
  try {
    const answer = await fetch(request, kept ? { signal: AbortSignal.timeout(PATIENCE_MS) } : {});
    if (kept && answer.status >= 500) {
      return kept;
    }
    if (kept) {
      await keepPage(cache, pathname, answer.clone());
    }
    return answer;
  } catch (error) {
    if (kept) {
      return kept;
    }
    throw error;
  }
}

async function file(request) {
  try {
    return await fetch(request);
  } catch (error) {
    const kept = await caches.match(request, { cacheName: PAGES, ignoreVary: true });
    if (kept) {
      return kept;
    }
    throw error;
  }
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new Address(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) {
    return;
  }
  if (request.mode === "navigate") {
    if (COUNTING.test(url.pathname)) {
      event.respondWith(page(request));
    }
  } else if (url.pathname.includes("/static/")) {
    event.respondWith(file(request));
  }
});
