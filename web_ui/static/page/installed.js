/** The page as an installed app: its files are kept by `worker.js`, and a newer page on the device is heard of. */
export class Installed {
  /** @param {() => void} newer what to do when the device has another page than this one */
  constructor(newer) {
    this.newer = newer;
    /** @type {ServiceWorkerRegistration | null} */
    this.registration = null;
    this.own = document.querySelector('meta[name="page-version"]')?.getAttribute("content") ?? "";
    // browsers have it only where the page is encrypted and trusted, or on the device itself
    if ("serviceWorker" in navigator) void this.register();
  }

  async register() {
    navigator.serviceWorker.addEventListener("message", ({ data }) => {
      if (typeof data?.version === "string" && data.version !== this.own) this.newer();
    });
    try {
      this.registration = await navigator.serviceWorker.register("/worker.js", { updateViaCache: "none" });
    } catch {
      // the device is away, or the browser forbids it: the page works without, but will not open without the device
    }
  }

  /** The device is there again: it may have been given a newer page meanwhile. */
  look() {
    void this.registration?.update().catch(() => {});
  }
}
