/** What a person does, sent to the API with the page's token against forged requests. */
import { said } from "./phrases.js";
import { text } from "./words.js";

/**
 * An act that was not done; the message is for the person who tried, `errors` name the fields.
 * `kind`: `network` where nobody answered, `later` where the server cannot just now, `session`
 * where it is to be signed in again, else `refused`; `type` is then the kind of problem.
 */
export class ActError extends Error {
  constructor(message, kind, errors = [], type = "") {
    super(message);
    this.kind = kind;
    this.errors = errors;
    this.type = type;
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
    throw new ActError(text("not_sent"), "network");
  }
  if (answer.status === 401) throw new ActError(text("sign_in_again"), "session");
  if (!answer.ok) {
    const { type, errors } = await partsOf(answer.clone());
    const kind = answer.status >= 500 || answer.status === 429 ? "later" : type === "csrf" ? "session" : "refused";
    throw new ActError(text("refused", { detail: await problemOf(answer) }), kind, errors, type);
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

async function partsOf(answer) {
  try {
    const { type = "", errors = [] } = await answer.json();
    return { type: type.split(":").at(-1), errors: errors.map(({ at, detail }) => ({ at, detail: said(detail) })) };
  } catch {
    return { type: "", errors: [] };
  }
}

function csrf() {
  return document.querySelector('meta[name="csrf-token"]').content;
}
