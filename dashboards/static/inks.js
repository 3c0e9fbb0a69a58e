// Figures name their colours as the style sheets do, 'var(--ink)'; here they become colours, and again when the theme turns.

export function ink(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
}

export function inked(value) {
  if (typeof value === "string") {
    return value.replace(/var\(--([a-z0-9-]+)\)/g, (_, name) => ink(name));
  }
  if (Array.isArray(value)) return value.map(inked);
  if (value && typeof value === "object") {
    return Object.fromEntries(Object.entries(value).map(([key, part]) => [key, inked(part)]));
  }
  return value;
}

export function onThemeChange(redraw) {
  document.addEventListener("sheet-theme", redraw);
  // Paper is white whatever the screen shows.
  window.matchMedia("print").addEventListener("change", redraw);
}

export const QUIET = { displayModeBar: false, displaylogo: false, responsive: true, showTips: false };
