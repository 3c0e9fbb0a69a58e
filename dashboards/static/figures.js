// Draws every figure of a page from the JSON beside it. The table under a figure says the same without it.
import { QUIET, inked, onThemeChange } from "./inks.js";

/* global Plotly */

function draw(element) {
  const figure = inked(JSON.parse(document.getElementById(element.dataset.figure).textContent));
  const narrow = element.clientWidth < 480;
  const layout = { ...figure.layout, ...(narrow ? figure.narrow : {}) };
  return Plotly.react(element, figure.data, layout, { ...QUIET, scrollZoom: element.dataset.zoom !== undefined });
}

function drawAll() {
  for (const element of document.querySelectorAll("[data-figure]")) draw(element);
}

drawAll();
onThemeChange(drawAll);
// A part of the page was put anew, and its figures with it.
document.addEventListener("sheet-figures", drawAll);
