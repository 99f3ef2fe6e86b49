import { ask, Unpaired } from "./device_api.js";
import { element } from "./element.js";
import { speakReadersLanguage } from "./language.js";
import { Shell } from "./shell.js";
import { TabletChoices } from "./tablet_choices.js";
import { showKeptTheme } from "./theme.js";
import { openPairing } from "../pairing/pairing_place.js";

showKeptTheme();
try {
  await speakReadersLanguage();
} catch (error) {
  // without words nothing can be said but this
  element("wordless").hidden = false;
  throw error;
}

/** @type {Shell | null} */
let shell = null;
new TabletChoices((error) => shell?.acts.failed(error));

/** Pictures come from the same host, one port on, unless the page was told another. */
function picturesUrl() {
  const told = document.querySelector('meta[name="pictures-port"]')?.getAttribute("content");
  const own = Number(location.port || (location.protocol === "https:" ? 443 : 80));
  const scheme = location.protocol === "https:" ? "wss" : "ws";
  return `${scheme}://${location.hostname}:${told || own + 1}/pictures`;
}

function openPlaces() {
  element("pairing").hidden = true;
  shell ??= new Shell(picturesUrl(), pairAgain);
  void shell.open();
}

function pairAgain() {
  if (!element("pairing").hidden) return;
  shell?.shut();
  openPairing(openPlaces);
}

async function open() {
  try {
    await ask("GET", "/state");
  } catch (error) {
    if (error instanceof Unpaired) {
      pairAgain();
      return;
    }
    // paired, but the device does not answer yet: the places say so and try again
  }
  openPlaces();
}

// without a listener, some tablets do not show a pressed button as pressed
document.addEventListener("touchstart", () => {}, { passive: true });

if (location.hash.startsWith("#pair=")) pairAgain();
else void open();
