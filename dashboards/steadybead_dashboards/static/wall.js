/** Wall mode: the whole screen, which does not go to sleep. `?wall` in the address begins with it. */
import { say } from "./say.js";
import { text } from "./words.js";

const button = document.getElementById("wall");
let lock = null;

const on = () => document.body.classList.contains("wall");

async function keepAwake() {
  if (!on() || document.hidden || lock) return;
  try {
    lock = await navigator.wakeLock.request("screen");
    lock.addEventListener("release", () => { lock = null; });
    document.body.dataset.awake = "";
  } catch {
    delete document.body.dataset.awake; // the screen's own settings decide then
  }
}

function show(wall) {
  document.body.classList.toggle("wall", wall);
  button.setAttribute("aria-pressed", String(wall));
  button.textContent = text(wall ? "wall_end" : "wall");
  if (wall) keepAwake();
  else lock?.release();
}

async function toggle() {
  const wall = !on();
  show(wall);
  if (wall) await document.documentElement.requestFullscreen?.().catch(() => say(text("wall_no_screen")));
  else if (document.fullscreenElement) await document.exitFullscreen();
}

/** Let the button and the address switch it. */
export function bindWall() {
  button.hidden = false;
  button.addEventListener("click", toggle);
  document.addEventListener("fullscreenchange", () => { if (!document.fullscreenElement) show(false); });
  document.addEventListener("visibilitychange", keepAwake);
  if (new URLSearchParams(location.search).has("wall")) show(true);
}
