/**
 * Keeps the page's own files, so that the installed page opens without the device and can say that it is away. For the page itself the
 * device is asked first, always, so that nobody is held to an old one; what is kept answers only where the device does not. Its files
 * have addresses of their own for each version, and what lies there never changes: what is kept answers at once. Everything else (the
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
const PAGE = "/";

/** A device that answers at all answers sooner than this (our choice, no source). */
const PATIENCE_MS = 3000;

worker.addEventListener("install", (/** @type {any} */ event) => {
  // The light's "off" of a page that is being closed must not wait until this worker has been woken. Where a browser does not know
  // such routes, the request wakes it and passes by.
  if ("addRoutes" in event) event.waitUntil(event.addRoutes({ condition: { urlPattern: "/api/*" }, source: "network" }));
  event.waitUntil(keepAll());
});
worker.addEventListener("activate", (/** @type {any} */ event) => event.waitUntil(takeOver()));
worker.addEventListener("fetch", (/** @type {any} */ event) => {
  const { origin, pathname } = new URL(event.request.url);
  if (event.request.method !== "GET" || origin !== location.origin) return;
  if (pathname === PAGE) event.respondWith(page(event.request));
  else if (FILES.includes(pathname)) event.respondWith(file(event.request, pathname));
});

/** One after the other: a picture on its way must not wait behind a hundred files. All of them, or this version is not installed. */
async function keepAll() {
  const cache = await caches.open(CACHE);
  for (const path of [PAGE, ...FILES]) {
    const answer = await fetch(path);
    if (!answer.ok) throw new Error(`${path} could not be fetched (${answer.status})`);
    await cache.put(path, answer);
  }
  await worker.skipWaiting();
}

/** What older versions kept goes; pages that are open hear which version the device has. */
async function takeOver() {
  for (const name of await caches.keys()) if (name !== CACHE) await caches.delete(name);
  await worker.clients.claim();
  for (const client of await worker.clients.matchAll()) client.postMessage({ version: VERSION });
}

/** @param {Request} request */
async function page(request) {
  try {
    return await inTime(fetch(request));
  } catch {
    return (await kept(PAGE)) ?? fetch(request);
  }
}

/**
 * @param {Request} request
 * @param {string} path
 */
async function file(request, path) {
  return (await kept(path)) ?? fetch(request);
}

/**
 * @param {string} path
 * @returns {Promise<Response | undefined>}
 */
function kept(path) {
  return caches.match(path, { cacheName: CACHE });
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
