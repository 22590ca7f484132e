// The points of the months chart as ways to the sounds behind them, laid over the picture once it is shown.
import { ROOT, ask, at, tried } from "./ask.js";

const SVG = "http://www.w3.org/2000/svg";
const shape = (name, more) => {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(more)) node.setAttribute(key, value);
  return node;
};

function way(client, spot, high, radius) {
  const told = `sounds of ${spot.on}`;
  const asked = new URLSearchParams({ client, session: spot.session });
  const link = shape("a", { href: `${ROOT}listen?${asked}`, "aria-label": told });
  const circle = shape("circle", { cx: 1000 * spot.across, cy: 1000 * high * spot.down, r: radius });
  circle.append(Object.assign(shape("title", {}), { textContent: told }));
  link.append(circle);
  return link;
}

async function lay(picture) {
  const { client, measure } = picture.dataset;
  const charts = await ask("do/progress/points", { client, measure });
  charts.forEach(({ high, spots }, n) => {
    const over = shape("svg", { class: n ? "for-narrow" : "for-wide", viewBox: `0 0 1000 ${Math.round(1000 * high)}`, "aria-label": "Sounds behind the points" });
    over.append(...spots.map((spot) => way(client, spot, high, n ? 26 : 14)));
    picture.append(over);
  });
}

if (at("pointed")) tried(() => lay(at("pointed")));
