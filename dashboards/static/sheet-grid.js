// Letters and numbers round the plan (after ISO 5457), in step with it, and a scale bar of a round length.
import { MARGIN } from "./plan-view.js";

const SVG = "http://www.w3.org/2000/svg";
const LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"; // without I and O, which read as digits

function put(parent, name, attributes, text) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text !== undefined) element.textContent = text;
  parent.append(element);
  return element;
}

// Fields along one edge: where each begins and ends on the screen, and where its name stands.
function fields(count, edgeOf, low, high) {
  const found = [];
  for (let index = 0; index < count; index += 1) {
    const [from, to] = [Math.max(edgeOf(index), low), Math.min(edgeOf(index + 1), high)];
    if (to > from) found.push({ index, from, to, middle: (from + to) / 2 });
  }
  return found;
}

export function reference(grid, east, north) {
  const column = Math.floor((east - grid.west_m) / grid.field_m);
  const row = Math.floor((grid.north_m - north) / grid.field_m);
  const inside = column >= 0 && row >= 0 && column <= grid.columns && row <= grid.rows;
  if (!inside) return "off plan";
  return LETTERS[Math.min(row, grid.rows - 1)] + (Math.min(column, grid.columns - 1) + 1);
}

export function drawGrid(svg, view, grid) {
  const [width, height] = [svg.clientWidth, svg.clientHeight];
  const [left, right, top, bottom] = [MARGIN, width - MARGIN, MARGIN, height - MARGIN];
  svg.replaceChildren();
  put(svg, "path", {
    class: "band",
    "fill-rule": "evenodd",
    d: `M0 0H${width}V${height}H0ZM${left} ${top}V${bottom}H${right}V${top}Z`,
  });
  const columns = fields(grid.columns, (i) => view.pixels(grid.west_m + i * grid.field_m, 0)[0], left, right);
  const rows = fields(grid.rows, (i) => view.pixels(0, grid.north_m - i * grid.field_m)[1], top, bottom);
  for (const field of columns) {
    const name = String(field.index + 1);
    for (const x of [field.from, field.to]) {
      if (x > left + 0.5 && x < right - 0.5) {
        put(svg, "path", { class: "line", d: `M${x} 0V${top}M${x} ${bottom}V${height}` });
      }
    }
    if (field.to - field.from > 14) {
      put(svg, "text", { x: field.middle, y: MARGIN / 2 }, name);
      put(svg, "text", { x: field.middle, y: height - MARGIN / 2 }, name);
    }
  }
  for (const field of rows) {
    for (const y of [field.from, field.to]) {
      if (y > top + 0.5 && y < bottom - 0.5) {
        put(svg, "path", { class: "line", d: `M0 ${y}H${left}M${right} ${y}H${width}` });
      }
    }
    if (field.to - field.from > 14) {
      put(svg, "text", { x: MARGIN / 2, y: field.middle }, LETTERS[field.index]);
      put(svg, "text", { x: width - MARGIN / 2, y: field.middle }, LETTERS[field.index]);
    }
  }
  put(svg, "rect", { class: "edge", x: left, y: top, width: right - left, height: bottom - top });
}

export function drawScale(svg, metresPerPixel) {
  const most = 130 * metresPerPixel;
  const power = 10 ** Math.floor(Math.log10(most));
  const length = [5, 2, 1].map((step) => step * power).find((size) => size <= most) ?? power;
  const width = length / metresPerPixel;
  svg.replaceChildren();
  svg.setAttribute("width", Math.ceil(width) + 24);
  svg.setAttribute("height", 30);
  const quarter = width / 4;
  for (let index = 0; index < 4; index += 1) {
    put(svg, "rect", {
      x: 6 + index * quarter,
      y: 6,
      width: quarter,
      height: 6,
      fill: index % 2 ? "none" : "currentColor",
      stroke: "currentColor",
    });
  }
  put(svg, "text", { x: 6, y: 25 }, "0");
  put(svg, "text", { x: 6 + width, y: 25 }, `${length} m`);
}
