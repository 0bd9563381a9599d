/** The charts as they are shown, on one picture with what is needed to read it. */
import { offer } from "./export.js";
import { part } from "./tile.js";
import { utc } from "./times.js";
import { text } from "./words.js";

const PAD = 16;
const LINE = 22;

/** Let the button save the picture. */
export function bindPicture(section, lanes, view) {
  const button = document.querySelector('[data-act="png"]');
  button?.addEventListener("click", () => {
    const picture = drawn(section, lanes, view);
    picture.toBlob((blob) => {
      offer(blob, button.dataset.file);
      part(document, "export-outcome").textContent = text("csv_ready", { name: button.dataset.file });
    }, "image/png");
  });
}

function drawn(section, lanes, view) {
  const charts = lanes.map((lane) => lane.chart.plot.root.querySelector("canvas"));
  const ratio = devicePixelRatio;
  const width = Math.max(...charts.map((c) => c.width), 400);
  const heights = charts.map((c) => c.height + (LINE + PAD) * ratio);
  const canvas = document.createElement("canvas");
  canvas.width = width + 2 * PAD * ratio;
  canvas.height = heights.reduce((sum, h) => sum + h, (2 * LINE + 2 * PAD) * ratio);
  const paint = canvas.getContext("2d");
  const style = getComputedStyle(section);
  paint.fillStyle = style.backgroundColor;
  paint.fillRect(0, 0, canvas.width, canvas.height);
  paint.fillStyle = style.color;
  paint.font = `${15 * ratio}px system-ui, sans-serif`;
  let y = (PAD + LINE) * ratio;
  const [from, to] = view.range;
  paint.fillText(`${document.querySelector("h1").textContent}  ${section.dataset.weld}`, PAD * ratio, y);
  y += LINE * ratio;
  paint.fillText(`${utc(from * 1000)} – ${utc(to * 1000)}`, PAD * ratio, y);
  lanes.forEach((lane, i) => {
    y += LINE * ratio;
    const { label, unit } = lane.box.dataset;
    paint.fillText(`${label}, ${unit}  ${part(lane.box.parentElement, "window")?.textContent ?? ""}`, PAD * ratio, y);
    paint.drawImage(charts[i], PAD * ratio, y + 4 * ratio);
    y += charts[i].height + PAD * ratio;
  });
  return canvas;
}
