import { ask, Unpaired } from "./device_api.js";
import { element } from "./element.js";
import { LivePlace } from "../live/live_place.js";
import { openPairing } from "../pairing/pairing_place.js";

/** @type {LivePlace | null} */
let live = null;

/** Pictures come from the same host, one port on, unless the page was told another. */
function picturesUrl() {
  const told = document.querySelector('meta[name="pictures-port"]')?.getAttribute("content");
  const own = Number(location.port || (location.protocol === "https:" ? 443 : 80));
  const scheme = location.protocol === "https:" ? "wss" : "ws";
  return `${scheme}://${location.hostname}:${told || own + 1}/pictures`;
}

function openLive() {
  element("pairing").hidden = true;
  element("live").hidden = false;
  const percentColours = JSON.parse(element("percent-colours").textContent ?? "");
  if (live === null) live = new LivePlace(picturesUrl(), percentColours, pairAgain);
  else live.stream.connect();
}

function pairAgain() {
  if (!element("pairing").hidden) return;
  element("live").hidden = true;
  openPairing(openLive);
}

async function open() {
  try {
    await ask("GET", "/state");
  } catch (error) {
    if (error instanceof Unpaired) {
      pairAgain();
      return;
    }
    // paired, but the device does not answer yet: the live place says so and tries again
  }
  openLive();
}

// without a listener, some tablets do not show a pressed button as pressed
document.addEventListener("touchstart", () => {}, { passive: true });

if (location.hash.startsWith("#pair=")) pairAgain();
else void open();
