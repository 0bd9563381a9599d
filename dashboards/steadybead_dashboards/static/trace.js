/** Fetches a trace: buckets for any length, single readings for a part that is short enough. */
import { problemOf } from "./acts.js";
import { Samples } from "./samples.js";

const POINTS = 1_500;
const DETAIL_S = 3_700;
const MOST_READINGS = 40_000;
const GAP_AT_LEAST_S = 1;
const LATE_S = 5; // readings of a running record may still be on their way

const seconds = (iso) => Date.parse(iso) / 1000;

/** Tell whether a range is short enough for single readings of a channel with `perSecond` of them. */
export const inDetail = ([from, to], perSecond = 1) => to - from <= Math.min(DETAIL_S, MOST_READINGS / Math.max(perSecond, 1));

/** Fetch the overview, `recorded` or `recalibrated`; gives the channels with `window`, `samples`, `gaps` in s and `step`. */
export async function fetchOverview(weld, figures) {
  const trace = await json(`/api/v1/welds/${encodeURIComponent(weld)}/trace?points=${POINTS}&as=${figures}`);
  return new Map(trace.channels.map((channel) => [channel.channel, overview(channel)]));
}

/** Fetch all readings of a channel in [from, to). */
export async function fetchDetail(channel, [from, to], figures) {
  const samples = new Samples();
  const query = new URLSearchParams({
    channel, as: figures, start: new Date(from * 1000).toISOString(), end: new Date(to * 1000).toISOString(),
  });
  for (;;) {
    const { items, next } = await json(`/api/v1/readings?${query}`);
    for (const row of items) samples.add(seconds(row.time), row.value, row.quality, row.reason);
    if (!next) break;
    query.set("cursor", next);
  }
  const step = samples.gapAfter(GAP_AT_LEAST_S);
  return { samples, gaps: withEnds(samples, step, from, to), step };
}

/** Fetch buckets of a channel in [from, to): finer ones than those of the overview. */
export async function fetchBuckets(channel, [from, to], figures) {
  const query = new URLSearchParams({
    channel, as: figures, points: POINTS, start: new Date(from * 1000).toISOString(), end: new Date(to * 1000).toISOString(),
  });
  const { items } = await json(`/api/v1/readings?${query}`);
  const columns = { start: [], end: [], n: [], min: [], max: [], quality: [] };
  for (const row of items) for (const name of Object.keys(columns)) columns[name].push(row[name]);
  const made = overview({ ...columns, gaps: [], window: null });
  return { ...made, gaps: withEnds(made.samples, made.step, from, to) };
}

/** Gaps, also before the first reading and after the last one. */
function withEnds(samples, step, from, to) {
  if (!samples.t.length) return [[from, to]];
  const gaps = samples.gaps(step);
  if (samples.t[0] - from > step) gaps.unshift([from, samples.t[0]]);
  if (to - samples.t.at(-1) > step + LATE_S) gaps.push([samples.t.at(-1), to]);
  return gaps;
}

/** Lowest and highest of each bucket both become points, so that no peak is lost. */
function overview(channel) {
  const samples = new Samples();
  channel.start.forEach((iso, i) => {
    if (channel.n[i] === 0) return;
    const [from, to] = [seconds(iso), seconds(channel.end[i])];
    samples.add(from + (to - from) / 4, channel.min[i], channel.quality[i]);
    samples.add(from + (3 * (to - from)) / 4, channel.max[i], channel.quality[i]);
  });
  const gaps = channel.gaps.map((gap) => [seconds(gap.start), seconds(gap.end)]);
  const readings = channel.n.reduce((sum, n) => sum + n, 0);
  const length = channel.end.length ? seconds(channel.end.at(-1)) - seconds(channel.start[0]) : 1;
  return { window: channel.window, samples, gaps, step: samples.gapAfter(GAP_AT_LEAST_S), perSecond: readings / Math.max(length, 1) };
}

async function json(path) {
  const answer = await fetch(path, { headers: { Accept: "application/json" } });
  if (!answer.ok) throw new Error(await problemOf(answer));
  return answer.json();
}
