/** A part of the page that is asked for again where a record begins or ends. */
const AGAIN_MS = 5_000;

/** Give what is to be told of each live message; part `id` is renewed soon and not too often. */
export function renewing(id) {
  const records = new Map();
  let due = null;
  const soon = () => { due ??= setTimeout(() => { due = null; renew(id); }, AGAIN_MS); };
  const heard = (live) => {
    const running = live.guns.map((gun) => gun.weld ?? "").join(" ");
    if (records.has(live.station) && records.get(live.station) !== running) soon();
    records.set(live.station, running);
  };
  return Object.assign(heard, { soon });
}

async function renew(id) {
  const answer = await fetch(location.pathname, { headers: { Accept: "text/html" } }).catch(() => null);
  if (!answer?.ok || answer.redirected) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const old = document.getElementById(id);
  const fresh = page.getElementById(id);
  if (old && fresh && !old.contains(document.activeElement)) old.replaceWith(document.adoptNode(fresh));
}
