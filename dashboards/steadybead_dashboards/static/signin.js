/** Signing in: what goes wrong is said here, beside the field. */
import { problemOf } from "./acts.js";
import { tick } from "./times.js";
import { text } from "./words.js";

const form = document.querySelector("form.sign-in-form");
const problem = document.getElementById("problem");

async function signIn() {
  const { token, next } = form.elements;
  const answer = await fetch("/login", {
    method: "POST",
    credentials: "same-origin",
    headers: { "Content-Type": "application/json", Accept: "application/json" },
    body: JSON.stringify({ token: token.value.trim(), next: next.value }),
  }).catch(() => null);
  if (answer?.ok) return location.assign(next.value);
  if (answer === null) return fail(text("not_sent"));
  return fail(answer.status === 401 ? text("unknown_token") : text("refused", { detail: await problemOf(answer) }));
}

function fail(sentence) {
  problem.hidden = false;
  problem.querySelector("span").textContent = sentence;
  form.elements.token.setAttribute("aria-invalid", "true");
  form.elements.token.focus();
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  const button = form.querySelector("button");
  button.disabled = true;
  signIn().finally(() => { button.disabled = false; });
});
tick();
setInterval(tick, 1_000);
