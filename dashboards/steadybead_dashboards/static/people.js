/** People and tablets: each form is one act; the page is read anew when it is done. */
import { act } from "./acts.js";
import { tick } from "./times.js";
import { text } from "./words.js";

const outcome = document.getElementById("outcome");
const API = "/api/v1";

const ACTS = {
  role: (person, sent) => act(`${API}/people/${person}/role`, { role: sent.role }),
  password: (person, sent) => act(`${API}/people/${person}/secret`, { password: sent.password }),
  pin: (person, sent) => act(`${API}/people/${person}/secret`, { pin: sent.pin }),
  tablet: (_, sent) => act(`${API}/tablets`, { place: sent.place.trim() }),
  token: (_, sent) => act(`${API}/tokens`, { name: sent.name.trim(), role: sent.role }),
  own: (_, sent) => act(`${API}/me/secret`, {
    current: sent.current,
    password: sent.password || null,
    pin: sent.pin || null,
  }),
  async new(_, sent) {
    if (!sent.password && !sent.pin) throw new Error(text("no_secret"));
    const made = await act(`${API}/people`, { name: sent.name.trim(), role: sent.role, password: sent.password });
    if (sent.pin) await act(`${API}/people/${made.id}/secret`, { pin: sent.pin });
  },
};

/** The text of a new token is shown once; the list follows when it was read. */
function showToken({ token }) {
  const box = document.getElementById("new-token");
  box.querySelector('[data-part="token"]').textContent = token;
  box.querySelector('[data-part="copied"]').addEventListener("click", () => location.reload());
  box.hidden = false;
  box.focus();
}

const DONE = { token: showToken, tablet: () => location.assign("/signin") };

async function run(button, work, done = () => location.reload()) {
  const told = button.closest("form")?.querySelector('[data-part="outcome"]') ?? outcome;
  button.disabled = true;
  try {
    done(await work());
  } catch (error) {
    told.textContent = error.message;
    told.dataset.problem = "";
    told.scrollIntoView({ block: "nearest" });
    button.disabled = false;
  }
}

for (const form of document.querySelectorAll("form[data-form]")) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const person = form.closest("[data-person]")?.dataset.person;
    const work = () => ACTS[form.dataset.form](person, Object.fromEntries(new FormData(form)));
    run(form.querySelector("button"), work, DONE[form.dataset.form]);
  });
}

for (const button of document.querySelectorAll("button[data-act]")) {
  const { person } = button.closest("[data-person]")?.dataset ?? {};
  const { tablet } = button.closest("[data-tablet]")?.dataset ?? {};
  const { token } = button.closest("[data-token]")?.dataset ?? {};
  const path = token ? `tokens/${token}` : tablet ? `tablets/${tablet}` : `people/${person}`;
  button.addEventListener("click", () => {
    if ((token || button.dataset.act === "close") && !button.dataset.sure) {
      button.dataset.sure = "yes";
      button.textContent = text("tap_again");
      return;
    }
    run(button, () => act(`${API}/${path}/${button.dataset.act}`));
  });
}
tick();
setInterval(tick, 1_000);
