/**
 * Keeps the page's own files, so that the installed page opens without the device and can say that it is away. The device is asked
 * first, always, so that nobody is held to an old page; what is kept answers only where the device does not. Everything else (the
 * interface, pictures) is none of its business: it is never kept, and never answered from here.
 */

const worker = /** @type {any} */ (self);

/**
 * The device says before this what is kept: addresses of files, and one version of all that they hold.
 *
 * @type {{version: string, files: string[]}}
 */
const { version: VERSION, files: FILES } = worker.KEPT;

const CACHE = `tapetum ${VERSION}`;

/** A device that answers at all answers a file sooner than this (our choice, no source). */
const PATIENCE_MS = 3000;

/** For so long after it did not, it is not waited for again: a page is a hundred files. */
const AWAY_MS = 10_000;

let awayUntil = 0;

worker.addEventListener("install", (/** @type {any} */ event) => event.waitUntil(keepAll()));
worker.addEventListener("activate", (/** @type {any} */ event) => event.waitUntil(takeOver()));
worker.addEventListener("fetch", (/** @type {any} */ event) => {
  const { origin, pathname } = new URL(event.request.url);
  if (event.request.method !== "GET" || origin !== location.origin || !FILES.includes(pathname)) return;
  event.respondWith(answer(event.request, pathname));
});

/** One after the other: a picture on its way must not wait behind a hundred files. All of them, or this version is not installed. */
async function keepAll() {
  const cache = await caches.open(CACHE);
  for (const path of FILES) {
    const file = await fetch(path, { cache: "no-cache" });
    if (!file.ok) throw new Error(`${path} could not be fetched (${file.status})`);
    await cache.put(path, file);
  }
  await worker.skipWaiting();
}

/** What older versions kept goes; pages that are open hear which version the device has. */
async function takeOver() {
  for (const name of await caches.keys()) if (name !== CACHE) await caches.delete(name);
  await worker.clients.claim();
  for (const client of await worker.clients.matchAll()) client.postMessage({ version: VERSION });
}

/**
 * @param {Request} request
 * @param {string} path
 */
async function answer(request, path) {
  if (Date.now() >= awayUntil) {
    try {
      return await inTime(fetch(request));
    } catch {
      awayUntil = Date.now() + AWAY_MS;
    }
  }
  const kept = await caches.match(path, { cacheName: CACHE });
  return kept ?? fetch(request);
}

/**
 * @template T
 * @param {Promise<T>} wanted
 * @returns {Promise<T>}
 */
function inTime(wanted) {
  return new Promise((resolve, reject) => {
    setTimeout(() => reject(new Error("the device does not answer")), PATIENCE_MS);
    wanted.then(resolve, reject);
  });
}
