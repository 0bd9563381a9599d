/** The part of a trace that is shown: one range for all charts, moved by mouse, touch and keys. */

const SHORTEST_S = 2;
const STEP = 0.5;

export class View {
  /** `changed([from, to])` is told of each new range. */
  constructor(whole, changed) {
    this.whole = whole;
    this.range = [...whole];
    this.changed = changed;
  }

  /** Show a range, held inside the whole. */
  set(from, to) {
    const [first, last] = this.whole;
    const length = Math.min(Math.max(to - from, SHORTEST_S), last - first);
    const middle = (from + to) / 2;
    const start = Math.min(Math.max(middle - length / 2, first), last - length);
    this.range = [start, start + length];
    this.changed(this.range);
  }

  /** Make the range longer (factor > 1) or shorter around a time. */
  scale(factor, around = (this.range[0] + this.range[1]) / 2) {
    const [from, to] = this.range;
    this.set(around - (around - from) * factor, around + (to - around) * factor);
  }

  /** Move by a share of the range's length. */
  move(share) {
    const by = (this.range[1] - this.range[0]) * share;
    this.set(this.range[0] + by, this.range[1] + by);
  }

  /** Do what a button or key names. */
  do(what) {
    if (what === "in") this.scale(STEP);
    else if (what === "out") this.scale(1 / STEP);
    else if (what === "earlier") this.move(-STEP);
    else if (what === "later") this.move(STEP);
    else if (what === "all") this.set(...this.whole);
  }
}

/** Options for uPlot's cursor: drag selects, Shift leaves the drag to us, double click is whole. */
export function cursorOptions(key, view) {
  return {
    y: false,
    points: { size: 8 },
    sync: { key, setSeries: false },
    drag: { x: true, y: false, setScale: false, dist: 5 },
    bind: {
      mousedown: (_u, _target, handle) => (event) => (event.shiftKey || event.button !== 0 ? null : handle(event)),
      dblclick: () => () => view.do("all"),
    },
  };
}

/** Take a finished drag of uPlot as the range to show. */
export function takeSelection(u, view) {
  const { left, width } = u.select;
  if (width < 5) return;
  const range = [u.posToVal(left, "x"), u.posToVal(left + width, "x")];
  u.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
  view.set(...range);
}

/** Wheel with Ctrl, sideways wheel, Shift-drag and touch on one chart. */
export function bindPointer(u, view) {
  const over = u.over;
  const timeAt = (clientX) => u.posToVal(clientX - over.getBoundingClientRect().left, "x");
  over.addEventListener("wheel", (event) => {
    if (event.ctrlKey) view.scale(event.deltaY > 0 ? 1.25 : 0.8, timeAt(event.clientX));
    else if (Math.abs(event.deltaX) > Math.abs(event.deltaY)) view.move(event.deltaX / over.clientWidth);
    else return;
    event.preventDefault();
  }, { passive: false });
  bindDrag(over, view);
}

function bindDrag(over, view) {
  const down = new Map();
  const wanted = (event) => event.pointerType === "touch" || (event.shiftKey && event.button === 0);
  over.addEventListener("pointerdown", (event) => {
    if (!wanted(event)) return;
    down.set(event.pointerId, event.clientX);
    over.setPointerCapture(event.pointerId);
  });
  over.addEventListener("pointermove", (event) => {
    if (!down.has(event.pointerId)) return;
    const before = [...down.values()];
    down.set(event.pointerId, event.clientX);
    moved(over, view, before, [...down.values()]);
  });
  for (const end of ["pointerup", "pointercancel"]) {
    over.addEventListener(end, (event) => down.delete(event.pointerId));
  }
}

/** One pointer moves the range, two stretch it: the times under the fingers stay under them. */
function moved(over, view, before, now) {
  const width = over.clientWidth;
  if (now.length === 1) view.move((before[0] - now[0]) / width);
  if (now.length !== 2) return;
  const left = over.getBoundingClientRect().left;
  const [from, to] = view.range;
  const at = (x) => from + ((x - left) / width) * (to - from);
  const apart = Math.max(Math.abs(now[0] - now[1]), 10);
  view.scale(Math.max(Math.abs(before[0] - before[1]), 10) / apart, at((before[0] + before[1]) / 2));
}
