/** The live stream, and whether it can be believed. */
import { heardTime } from "./times.js";

const RETRY_MS = 1_000;
const SILENT_MS = 5_000;

/**
 * Follows `/api/v1/live`. Handlers: `live(station)`, `alarm(alarm)`, `cleared(id)`,
 * `state(word, ago_ms)` with `live`, `connecting`, `lost` or `broker-lost`.
 */
export class Feed {
  constructor(path, handlers) {
    this.path = path;
    this.handlers = handlers;
    this.word = "connecting";
    this.broker = true;
    this.heard = performance.now();
    this.open();
    this.timer = setInterval(() => this.watch(), 500);
    addEventListener("pagehide", () => this.source?.close());
    addEventListener("pageshow", (event) => { if (event.persisted) this.open(); });
    addEventListener("online", () => this.open());
    addEventListener("offline", () => this.set("lost"));
  }

  /** Connect, dropping what was open before. */
  open() {
    this.source?.close();
    clearTimeout(this.retry);
    const source = new EventSource(this.path);
    this.source = source;
    source.onopen = () => { this.heard = performance.now(); };
    source.onerror = () => this.failed(source);
    this.on(source, "live", (data) => { heardTime(data.time); this.handlers.live(data); });
    this.on(source, "alarm", (data) => this.handlers.alarm(data));
    this.on(source, "alarm-cleared", (data) => this.handlers.cleared(data.alarm));
    this.on(source, "link", (data) => { this.broker = data.broker; });
  }

  on(source, name, handle) {
    source.addEventListener(name, (event) => {
      this.heard = performance.now();
      handle(JSON.parse(event.data));
      this.set(this.broker ? "live" : "broker-lost");
    });
  }

  failed(source) {
    if (source !== this.source) return;
    this.set("lost");
    if (source.readyState === EventSource.CLOSED) this.retry = setTimeout(() => this.open(), RETRY_MS);
  }

  /** Take silence for a loss: a dead network closes nothing. */
  watch() {
    const ago = performance.now() - this.heard;
    if (this.word !== "lost" && ago > SILENT_MS) this.set("lost");
    else if (this.word !== "live") this.handlers.state(this.word, ago);
  }

  set(word) {
    if (word === this.word) return;
    this.word = word;
    this.handlers.state(word, performance.now() - this.heard);
  }
}
