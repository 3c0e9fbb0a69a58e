// Draws every figure of a page from the JSON beside it. The table under a figure says the same without it.
import { QUIET, inked, onThemeChange } from "./inks.js";

/* global Plotly */

function draw(element) {
  const figure = inked(JSON.parse(document.getElementById(element.dataset.figure).textContent));
  const narrow = element.clientWidth < 480;
  const layout = { ...figure.layout, ...(narrow ? figure.narrow : {}) };
  return Plotly.react(element, figure.data, layout, { ...QUIET, scrollZoom: element.dataset.zoom !== undefined });
}

const elements = [...document.querySelectorAll("[data-figure]")];
for (const element of elements) draw(element);
onThemeChange(() => elements.forEach(draw));
