// The plot plan page: puts the drawing, the joints, the sheet grid and the list of what is in view together.
import { onThemeChange } from "./inks.js";
import { JointLayer } from "./joint-layer.js";
import { PlanView } from "./plan-view.js";
import { drawGrid, drawScale, reference } from "./sheet-grid.js";

const SHAPES = {
  overdue: "M8 1.5 15 14.5H1Z",
  due_soon: "M8 1 15 8 8 15 1 8Z",
  later: "M13.5 8A5.5 5.5 0 1 1 2.5 8 5.5 5.5 0 1 1 13.5 8Z",
};
const STATE_WORDS = { overdue: "overdue", due_soon: "due within 30 days", later: "due later" };
const MOST_LISTED = 50;

const box = document.querySelector(".plan");
const given = JSON.parse(document.getElementById("plan-data").textContent);
const status = document.getElementById("plan-status");
const list = document.getElementById("in-view");
const card = box.querySelector(".card");
const number = new Intl.NumberFormat("en");
const jointAddress = (tag) => given.joint_address + tag.split("/").map(encodeURIComponent).join("/");

const figure = await (await fetch(given.figure_address)).json();
const view = new PlanView(box, figure, given.bounds);
const layer = new JointLayer(box.querySelector("canvas"), view);
layer.leaks = given.open_leaks;
// The names of the areas lie over the joints, where they can be read.
layer.names = figure.data.find((trace) => trace.uid === "area_name") ?? null;
figure.data = figure.data.filter((trace) => trace.uid !== "area_name");

const grid = box.querySelector(".grid");
const scale = box.querySelector(".scale svg");
let frame = 0;
view.moving.push(() => {
  if (frame) return;
  frame = requestAnimationFrame(() => {
    frame = 0;
    layer.draw();
    drawGrid(grid, view, given.grid);
    drawScale(scale, view.metresPerPixel);
  });
});

// ---------------------------------------------------------------- fetching what is in view

let pending = null;
let timer = 0;
view.resting.push((window_) => {
  letGo();
  clearTimeout(timer);
  timer = setTimeout(() => load(window_), 60);
  const address = new URL(location.href);
  const edges = ["west", "south", "east", "north"].map((edge) => Math.round(window_[edge] * 10) / 10);
  address.searchParams.set("view", edges.join(","));
  history.replaceState(null, "", address);
  for (const input of document.querySelectorAll("input[data-view]")) input.value = edges.join(",");
});

async function load(window_) {
  pending?.abort();
  const mine = (pending = new AbortController());
  const margin = 0.1 * (window_.east - window_.west);
  const address = new URL(given.map_address, location.href);
  address.searchParams.set("west", window_.west - margin);
  address.searchParams.set("south", window_.south - margin);
  address.searchParams.set("east", window_.east + margin);
  address.searchParams.set("north", window_.north + margin);
  // A square needs room for its count.
  address.searchParams.set("across", Math.min(64, Math.max(8, Math.round(box.clientWidth / 17))));
  try {
    const answer = await fetch(address, { signal: mine.signal });
    if (!answer.ok) throw new Error((await answer.json()).detail);
    layer.data = await answer.json();
    layer.hovered = null;
    layer.draw();
    say();
    box.dataset.drawn = String(Number(box.dataset.drawn || 0) + 1);
  } catch (error) {
    if (error.name === "AbortError") return;
    status.textContent = `The joints could not be read: ${error.message}`;
  }
}

// ---------------------------------------------------------------- the same in words

function say() {
  const { kind, columns } = layer.data;
  const { west, south, east, north } = view.view;
  const within = (i, half) =>
    columns.east_m[i] + half > west && columns.east_m[i] - half < east &&
    columns.north_m[i] + half > south && columns.north_m[i] - half < north;
  let [joints, overdue, soon] = [0, 0, 0];
  for (let i = 0; i < columns.east_m.length; i += 1) {
    if (!within(i, kind === "cells" ? layer.data.cell_m / 2 : 0)) continue;
    joints += kind === "cells" ? columns.joints[i] : 1;
    overdue += kind === "cells" ? columns.overdue[i] : columns.state[i] === "overdue";
    soon += kind === "cells" ? columns.due_soon[i] : columns.state[i] === "due_soon";
  }
  const shown = kind === "cells" ? `Counted in cells of ${layer.data.cell_m} m; zoom in for single joints.` : "";
  status.textContent =
    `${number.format(joints)} ${joints === 1 ? "joint" : "joints"} in view: ${number.format(overdue)} overdue, ` +
    `${number.format(soon)} due within 30 days. ${shown}`;
  const rows = kind === "cells" ? layer.data.riskiest : columns;
  const order = [];
  for (let i = rows.tag.length - 1; i >= 0 && order.length < MOST_LISTED; i -= 1) {
    const inside = rows.east_m[i] >= west && rows.east_m[i] <= east && rows.north_m[i] >= south && rows.north_m[i] <= north;
    if (inside) order.push(i);
  }
  list.replaceChildren(...order.map((i) => tableRow(rows, i)));
  document.getElementById("in-view-caption").textContent =
    order.length === joints
      ? `The ${number.format(joints)} joints in view, riskiest first.`
      : `The ${order.length} riskiest of ${number.format(joints)} joints in view.`;
}

function cell(name, label, ...parts) {
  const element = document.createElement(name);
  element.dataset.label = label;
  if (name === "th") element.scope = "row";
  const span = document.createElement("span");
  span.append(...parts);
  element.append(span);
  return element;
}

function tableRow(rows, i) {
  const row = document.createElement("tr");
  row.append(
    cell("th", "Tag", link(rows.tag[i])),
    cell("td", "Risk", bandMark(rows.band[i])),
    cell("td", "Due", shapeMark(rows.state[i]), ` ${rows.due_on[i]}`, unseen(` ${STATE_WORDS[rows.state[i]]}`)),
    cell("td", "Place", place(rows, i)),
  );
  return row;
}

function place(rows, i) {
  const elevation = rows.elevation_m[i] === null ? "not given" : `${rows.elevation_m[i].toFixed(1)} m`;
  return `${reference(given.grid, rows.east_m[i], rows.north_m[i])}, elevation ${elevation}`;
}

function link(tag) {
  const element = document.createElement("a");
  element.href = jointAddress(tag);
  element.textContent = tag;
  return element;
}

function bandMark(band) {
  const element = document.createElement("span");
  element.className = `band band-${band}`;
  element.textContent = band;
  return element;
}

function unseen(words) {
  const element = document.createElement("span");
  element.className = "unseen";
  element.textContent = words;
  return element;
}

function shapeMark(state) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", "0 0 16 16");
  svg.setAttribute("class", `shape ${state}`);
  svg.setAttribute("aria-hidden", "true");
  const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
  path.setAttribute("d", SHAPES[state]);
  svg.append(path);
  return svg;
}

// ---------------------------------------------------------------- the card of what is under the pointer

function fill(found) {
  const { kind, columns } = layer.data;
  const items = document.createElement("ul");
  for (const i of found.slice(0, 12)) {
    const item = document.createElement("li");
    if (kind === "cells") {
      item.append(
        bandMark(columns.band[i]),
        ` ${number.format(columns.joints[i])} joints, ${columns.overdue[i]} overdue, ${columns.due_soon[i]} due within 30 days`,
      );
    } else {
      item.append(link(columns.tag[i]), " ", bandMark(columns.band[i]), " ", shapeMark(columns.state[i]));
      item.append(` ${STATE_WORDS[columns.state[i]]}, ${columns.due_on[i]}; ${place(columns, i)}`);
    }
    items.append(item);
  }
  if (found.length > 12) {
    const more = document.createElement("li");
    more.textContent = `and ${found.length - 12} more here: zoom in`;
    items.append(more);
  }
  card.replaceChildren(items);
}

function showCard(found, x, y, held) {
  fill(found);
  card.hidden = false;
  card.classList.toggle("held", held);
  const left = Math.min(Math.max(4, x + 14), Math.max(4, box.clientWidth - card.offsetWidth - 4));
  const below = y + 14 + card.offsetHeight < box.clientHeight - 4;
  card.style.left = `${left}px`;
  card.style.top = `${below ? y + 14 : Math.max(4, y - 14 - card.offsetHeight)}px`;
}

function letGo() {
  card.hidden = true;
  card.classList.remove("held");
  box.classList.remove("over-joint");
  if (layer.hovered !== null) {
    layer.hovered = null;
    layer.draw();
  }
}

function spot(event) {
  const edges = box.getBoundingClientRect();
  return [event.clientX - edges.left, event.clientY - edges.top];
}

let pressed = null;
box.addEventListener("pointermove", (event) => {
  if (event.pointerType !== "mouse" || event.buttons || card.classList.contains("held")) return;
  if (event.target.closest(".tools")) return letGo();
  const [x, y] = spot(event);
  const found = layer.at(x, y);
  if (!found.length) return letGo();
  box.classList.add("over-joint");
  if (layer.hovered !== found[0]) {
    layer.hovered = found[0];
    layer.draw();
  }
  // One joint stands for itself; several in one place are all named.
  showCard(layer.data.kind === "joints" ? stacked(found) : found.slice(0, 1), x, y, false);
});
box.addEventListener("pointerleave", () => card.classList.contains("held") || letGo());
box.addEventListener("pointerdown", (event) => {
  if (event.target.closest(".card, .tools")) return;
  pressed = { x: event.clientX, y: event.clientY, touch: event.pointerType !== "mouse" };
  if (card.classList.contains("held")) letGo();
}, true);
addEventListener("pointerup", (event) => {
  const start = pressed;
  pressed = null;
  if (!start || event.button > 0 || Math.hypot(event.clientX - start.x, event.clientY - start.y) > 5) return;
  const [x, y] = spot(event);
  const found = layer.at(x, y, start.touch ? 16 : 9);
  if (!found.length) return;
  const { kind, columns } = layer.data;
  if (kind === "cells") {
    view.zoom(0.35, columns.east_m[found[0]], columns.north_m[found[0]]);
    return;
  }
  const here = stacked(found);
  if (here.length === 1 && !start.touch) {
    location.href = jointAddress(columns.tag[here[0]]);
  } else {
    showCard(start.touch ? found : here, x, y, true);
  }
}, true);
box.addEventListener("keydown", (event) => {
  if (event.key === "Escape") letGo();
});

// Joints so close together on the plan that a pointer cannot tell them apart.
function stacked(found) {
  const { columns } = layer.data;
  const [x, y] = view.pixels(columns.east_m[found[0]], columns.north_m[found[0]]);
  return found.filter((i) => {
    const [px, py] = view.pixels(columns.east_m[i], columns.north_m[i]);
    return Math.hypot(px - x, py - y) < 3;
  });
}

for (const [name, act] of Object.entries({
  nearer: () => view.zoom(0.6),
  farther: () => view.zoom(1 / 0.6),
  whole: () => view.whole(),
})) {
  box.querySelector(`[data-tool=${name}]`).addEventListener("click", act);
}

onThemeChange(() => {
  layer.colours();
  view.draw(Object.values(edgesOf(view.view)));
});

function edgesOf({ west, south, east, north }) {
  return { west, south, east, north };
}

await view.draw(given.view);
