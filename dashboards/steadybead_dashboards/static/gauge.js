/** The seam gauge: the same geometry as the server draws the first view with. */
const WIDTH = 120;
const EDGE = 7;
const GROOVE_LEFT = 42;
const GROOVE_RIGHT = 78;
const IN_GROOVE_Y = 17.5;
const ON_PLATE_Y = 7.2;

/** Place a value against a window whose sides may be null. */
export function place(value, low, high) {
  if (value === null) return { place: "no value", x: WIDTH / 2, offScale: false };
  if (low === null && high === null) return { place: "no window", x: WIDTH / 2, offScale: false };
  const tenth = Math.max(Math.abs(low ?? high) * 0.1, 1);
  const bottom = low ?? high - tenth;
  const top = high !== null && high > bottom ? high : bottom + tenth;
  const x = GROOVE_LEFT + ((value - bottom) / (top - bottom)) * (GROOVE_RIGHT - GROOVE_LEFT);
  const held = Math.min(Math.max(x, EDGE), WIDTH - EDGE);
  return { place: side(value, low, high), x: Math.round(held * 100) / 100, offScale: held !== x };
}

/** Move the bead of a drawn gauge. */
export function draw(svg, at) {
  const y = at.place === "inside" ? IN_GROOVE_Y : ON_PLATE_Y;
  svg.dataset.offScale = at.offScale ? "yes" : "no";
  svg.querySelector(".bead").setAttribute("transform", `translate(${at.x} ${y})`);
}

function side(value, low, high) {
  if (low !== null && value < low) return "low";
  return high !== null && value > high ? "high" : "inside";
}
