"""A wall left open: the real page in a real browser, with a clock and a stream that can run fast.

The page's timers, clock and event source are put in the place of the browser's before it loads.
Each simulated second some stations say something new; alarms come and go, records begin and end,
the stream breaks off and begins anew. All scripts of the page are the ones that people get.
"""

import json
from collections.abc import Iterator
from typing import Any

import httpx
from playwright.sync_api import CDPSession, Page

FAST = """
(() => {
  const began = Date.now();
  const jobs = new Map();
  let now = 0;
  let next = 1;
  const add = (work, ms, every) => {
    jobs.set(next, { work, at: now + Math.max(ms || 0, 1), every });
    return next++;
  };
  window.setTimeout = (work, ms) => add(work, ms, 0);
  window.setInterval = (work, ms) => add(work, ms, Math.max(ms, 1));
  window.clearTimeout = window.clearInterval = (id) => jobs.delete(id);
  Date.now = () => began + now;
  performance.now = () => now;
  window.EventSource = class extends EventTarget {
    static CLOSED = 2;
    constructor() {
      super();
      this.readyState = 1;
      window.source = this;
      setTimeout(() => this.onopen?.(), 1);
    }
    close() { this.readyState = 2; }
  };
  const tell = (name, data) => {
    window.source.dispatchEvent(new MessageEvent(name, { data: JSON.stringify(data) }));
  };
  const iso = () => new Date(Date.now()).toISOString();

  /** One simulated second of the shop: `lives` and `alarm` are what a real stream said. */
  const second = ({ lives, alarm, each }, s) => {
    const time = iso();
    for (let i = s % each; i < lives.length; i += each) {
      const live = structuredClone(lives[i]);
      live.time = time;
      for (const value of live.values) {
        value.time = time;
        value.value += 3 * Math.sin((s + i) / 17);
      }
      for (const gun of live.guns) gun.weld = Math.floor((s + 37 * i) / 540) % 2 ? `w-${i}` : null;
      tell("live", live);
    }
    if (s % 2 === 0) tell("link", { broker: true });
    const round = s % 600;
    const id = `fast-${Math.floor(s / 600)}`;
    if (round === 30) tell("alarm", { ...alarm, id, since: time, last_raised: time });
    if (round === 330) tell("alarm-cleared", { alarm: id });
    if (s % 7200 === 7000) {
      window.source.readyState = 2;
      window.source.onerror?.();
    }
  };

  window.fast = (ms) => {
    const end = now + ms;
    for (;;) {
      let first = 0;
      for (const [id, { at }] of jobs) {
        if (at <= end && (!first || at < jobs.get(first).at)) first = id;
      }
      if (!first) break;
      const job = jobs.get(first);
      now = job.at;
      if (job.every) job.at += job.every;
      else jobs.delete(first);
      job.work();
    }
    now = end;
  };

  window.live = async (shop, from, seconds) => {
    for (let s = from; s < from + seconds; s += 1) {
      second(shop, s);
      window.fast(1000);
    }
    await new Promise((done) => requestAnimationFrame(done));
  };
})();
"""


def heard_once(url: str) -> dict[str, Any]:
    """Take from the real stream what every station and one alarm look like."""
    lives: dict[str, Any] = {}
    alarm = None
    with httpx.stream("GET", f"{url}/api/v1/live", timeout=30) as answer:
        for name, data in _events(answer.iter_lines()):
            if name == "alarm":
                alarm = data
            if name != "live":
                continue
            if alarm is not None and data["station"] in lives:
                break  # everybody was heard once
            lives[data["station"]] = data
    return {"lives": list(lives.values()), "alarm": alarm}


def _events(lines: Iterator[str]) -> Iterator[tuple[str, Any]]:
    name = ""
    for line in lines:
        if line.startswith("event: "):
            name = line.removeprefix("event: ")
        elif line.startswith("data: "):
            yield name, json.loads(line.removeprefix("data: "))


def let_live(page: Page, shop: dict[str, Any], begin_s: int, seconds: int) -> None:
    """Let simulated time pass, ten minutes a call, so that the browser comes to its own work."""
    for s in range(begin_s, begin_s + seconds, 600):
        page.evaluate("([shop, s, n]) => window.live(shop, s, n)", [shop, s, 600])


def held(session: CDPSession) -> dict[str, float]:
    """Collect the garbage, then tell what is left: JSHeapUsedSize, Nodes, JSEventListeners."""
    for _ in range(3):
        session.send("HeapProfiler.collectGarbage")
    metrics = session.send("Performance.getMetrics")["metrics"]
    return {metric["name"]: float(metric["value"]) for metric in metrics}
