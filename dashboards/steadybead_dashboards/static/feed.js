/** The live stream, and whether it can be believed. */
import { heardTime } from "./times.js";

const RETRY_MS = 1_000;
const ASK_AGAIN_MS = 6_500; // the stream says something at least every 5 s
const LOST_MS = 9_000;
const SNAPSHOT_MS = 1_500;

/**
 * Follows the live stream. Every stream begins with everything, so a silent one is opened anew:
 * a dead network closes nothing.
 * Handlers: `live(station)`, `alarm(alarm)`, `cleared(id)`, `begun(at)` 1.5 s after a stream
 * began, with the time of that beginning, `state(word, ago_ms)`: `connecting`, `live`, `lost`,
 * `broker-lost`, or `signed-out`, after which nothing is asked for any more.
 */
export class Feed {
  constructor(path, handlers) {
    this.path = path;
    this.handlers = handlers;
    this.word = "connecting";
    this.broker = true;
    this.heard = performance.now();
    this.open();
    setInterval(() => this.watch(), 500);
    addEventListener("pagehide", () => this.source.close());
    addEventListener("pageshow", (event) => { if (event.persisted) this.open(); });
    addEventListener("online", () => this.open());
    addEventListener("offline", () => this.set("lost"));
  }

  /** Connect, dropping what was open before. */
  open() {
    this.source?.close();
    clearTimeout(this.retry);
    this.opened = performance.now();
    this.fresh = true;
    const source = new EventSource(this.path);
    this.source = source;
    source.onopen = () => { this.fresh = true; };
    source.onerror = () => this.failed(source);
    this.on(source, "live", (live) => { heardTime(live.time); this.handlers.live(live); });
    this.on(source, "alarm", (alarm) => this.handlers.alarm(alarm));
    this.on(source, "alarm-cleared", ({ alarm }) => this.handlers.cleared(alarm));
    this.on(source, "link", ({ broker }) => { this.broker = broker; });
  }

  on(source, name, handle) {
    source.addEventListener(name, (event) => {
      if (source !== this.source) return;
      this.heard = performance.now();
      this.begin();
      handle(JSON.parse(event.data));
      this.set(this.broker ? "live" : "broker-lost");
    });
  }

  /** The first event of a stream: what it does not repeat is gone. */
  begin() {
    if (!this.fresh) return;
    this.fresh = false;
    const began = performance.now();
    setTimeout(() => { if (this.word !== "lost") this.handlers.begun(began); }, SNAPSHOT_MS);
  }

  failed(source) {
    if (source !== this.source) return;
    this.set("lost");
    if (source.readyState === EventSource.CLOSED) this.askWhy();
  }

  /** A stream that was refused says nothing of the reason; an answer to the same address does. */
  async askWhy() {
    const asked = new AbortController();
    const answer = await fetch(this.path, { signal: asked.signal }).catch(() => null);
    asked.abort();
    if (answer?.status === 401) this.set("signed-out");
    else this.retry = setTimeout(() => this.open(), RETRY_MS);
  }

  watch() {
    const now = performance.now();
    const ago = now - this.heard;
    if (this.word === "signed-out") return;
    if (ago > LOST_MS) this.set("lost");
    if (ago > ASK_AGAIN_MS && now - this.opened > ASK_AGAIN_MS) this.open();
    if (this.word !== "live") this.handlers.state(this.word, ago);
  }

  set(word) {
    if (word === this.word) return;
    this.word = word;
    this.handlers.state(word, performance.now() - this.heard);
  }
}
