/** What a person does, sent to the API with the page's token against forged requests. */
import { said } from "./phrases.js";
import { text } from "./words.js";

/** An act that was not done; the message is for the person who tried, `errors` name the fields. */
export class ActError extends Error {
  constructor(message, errors = []) {
    super(message);
    this.errors = errors;
  }
}

/** Post JSON; give the answer's JSON, or null where there is none. Throws ActError. */
export async function act(path, body = {}) {
  let answer;
  try {
    answer = await fetch(path, {
      method: "POST",
      credentials: "same-origin",
      headers: { "Content-Type": "application/json", Accept: "application/json", "X-CSRF-Token": csrf() },
      body: JSON.stringify(body),
      signal: AbortSignal.timeout(10_000),
    });
  } catch {
    throw new ActError(text("not_sent"));
  }
  if (answer.status === 401) throw new ActError(text("sign_in_again"));
  if (!answer.ok) {
    const errors = await errorsOf(answer.clone());
    throw new ActError(text("refused", { detail: await problemOf(answer) }), errors);
  }
  return answer.status === 204 ? null : answer.json();
}

/** Read the words of a problem-details answer. */
export async function problemOf(answer) {
  try {
    const problem = await answer.json();
    const detail = problem.detail ?? problem.title;
    return typeof detail === "string" ? said(detail) : `HTTP ${answer.status}`;
  } catch {
    return `HTTP ${answer.status}`;
  }
}

async function errorsOf(answer) {
  try {
    const errors = (await answer.json()).errors ?? [];
    return errors.map(({ at, detail }) => ({ at, detail: said(detail) }));
  } catch {
    return [];
  }
}

function csrf() {
  return document.querySelector('meta[name="csrf-token"]').content;
}
