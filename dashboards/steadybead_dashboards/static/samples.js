/** Readings of one channel in columns: `t` in s, `v` value or null, `q` quality, `r` reason. */
export class Samples {
  constructor() {
    this.t = [];
    this.v = [];
    this.q = [];
    this.r = [];
  }

  /** Add one reading; an older one than the last is left out. */
  add(t, v, q, r = "") {
    if (this.t.length && t <= this.t.at(-1)) return;
    this.t.push(t);
    this.v.push(v);
    this.q.push(q);
    this.r.push(r);
  }

  /** Forget what is older than `from`. */
  forget(from) {
    const n = firstFrom(this.t, from);
    if (n > 0) for (const column of [this.t, this.v, this.q, this.r]) column.splice(0, n);
  }

  /** The reading nearest to a time, -1 where none is nearer than `reach` s. */
  nearest(t, reach) {
    const i = firstFrom(this.t, t);
    const best = [i - 1, i].filter((k) => k >= 0 && k < this.t.length)
      .sort((a, b) => Math.abs(this.t[a] - t) - Math.abs(this.t[b] - t))[0];
    return best !== undefined && Math.abs(this.t[best] - t) <= reach ? best : -1;
  }

  /** The longest distance in s between two readings that still belong together. */
  gapAfter(atLeast) {
    const steps = this.t.slice(1).map((t, i) => t - this.t[i]).sort((a, b) => a - b);
    return steps.length ? Math.max(3 * steps[steps.length >> 1], atLeast) : atLeast;
  }

  /** Gaps as pairs of times in s: steps longer than `gap`. */
  gaps(gap) {
    const found = [];
    for (let i = 1; i < this.t.length; i += 1) {
      if (this.t[i] - this.t[i - 1] > gap) found.push([this.t[i - 1], this.t[i]]);
    }
    return found;
  }

  /** Line to draw: x and y, null where the line must break: in gaps and at bad readings. */
  line(gaps) {
    const x = [];
    const y = [];
    let k = 0;
    this.t.forEach((t, i) => {
      while (k < gaps.length && gaps[k][1] <= this.t[i - 1]) k += 1;
      if (i > 0 && k < gaps.length && gaps[k][0] < t) {
        x.push((t + this.t[i - 1]) / 2);
        y.push(null);
      }
      x.push(t);
      y.push(this.q[i] === "bad" ? null : this.v[i]);
    });
    return [x, y];
  }
}

/** Index of the first element that is not below `least`. */
export function firstFrom(sorted, least) {
  let low = 0;
  let high = sorted.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (sorted[middle] < least) low = middle + 1;
    else high = middle;
  }
  return low;
}
