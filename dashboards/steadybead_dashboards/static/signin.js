/** Signing in: what goes wrong is said here, beside the field. */
import { problemOf } from "./acts.js";
import { tick } from "./times.js";
import { text } from "./words.js";

const problem = document.getElementById("problem");
const SECRETS = { token: "token", password: "password", pin: "pin", first: "password" };
const UNKNOWN = { token: "unknown_token", password: "unknown_password", pin: "unknown_pin" };

async function signIn(form) {
  const sent = Object.fromEntries(new FormData(form));
  if (sent.token) sent.token = sent.token.trim();
  const answer = await fetch("/login", {
    method: "POST",
    credentials: "same-origin",
    headers: { "Content-Type": "application/json", Accept: "application/json" },
    body: JSON.stringify(sent),
  }).catch(() => null);
  if (answer?.ok) return location.assign(sent.next);
  if (answer === null) return fail(form, text("not_sent"));
  const unknown = answer.status === 401 && UNKNOWN[form.dataset.way];
  return fail(form, unknown ? text(unknown) : text("refused", { detail: await problemOf(answer) }));
}

function fail(form, sentence) {
  const field = form.elements[SECRETS[form.dataset.way]];
  problem.hidden = false;
  problem.querySelector("span").textContent = sentence;
  field.setAttribute("aria-invalid", "true");
  field.focus();
}

for (const form of document.querySelectorAll("form.sign-in-form")) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const button = form.querySelector("button");
    button.disabled = true;
    signIn(form).finally(() => { button.disabled = false; });
  });
}
tick();
setInterval(tick, 1_000);
