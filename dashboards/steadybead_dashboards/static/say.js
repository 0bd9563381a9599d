/** Tell a screen reader what changed, one sentence at a time. */
const region = document.getElementById("say");

/** Say a sentence politely. The same sentence twice is said twice. */
export function say(sentence) {
  region.textContent = "";
  requestAnimationFrame(() => { region.textContent = sentence; });
}
