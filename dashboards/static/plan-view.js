// The drawing under the joints: plant in plan, kept square, moved by pointer, wheel, fingers and keys.
import { QUIET, inked } from "./inks.js";

/* global Plotly */

export const MARGIN = 26; // room for the letters and numbers of the sheet grid
const LEAST_METRES = 4;

export class PlanView {
  constructor(box, figure, bounds) {
    this.box = box;
    this.base = box.querySelector(".base");
    this.figure = figure;
    this.bounds = bounds; // west, south, east, north of the sheet
    this.moving = []; // called on every frame of a movement
    this.resting = []; // called when a movement has ended
    this.view = null;
  }

  async draw(view) {
    const [west, south, east, north] = this.fitted(view || this.bounds);
    const figure = inked(this.figure);
    const layout = {
      ...figure.layout,
      margin: { l: MARGIN, r: MARGIN, t: MARGIN, b: MARGIN },
      dragmode: "pan",
      xaxis: { ...figure.layout.xaxis, range: [west, east] },
      yaxis: { ...figure.layout.yaxis, range: [south, north], scaleanchor: "x" },
    };
    await Plotly.react(this.base, figure.data, layout, { ...QUIET, scrollZoom: true, doubleClick: false });
    if (!this.view) this.listen();
    this.take();
    this.tell(this.moving);
    this.tell(this.resting);
  }

  listen() {
    this.base.on("plotly_relayouting", (change) => {
      const x0 = change["xaxis.range[0]"] ?? change["xaxis.range"]?.[0];
      if (x0 === undefined) return;
      this.view = {
        west: x0,
        east: change["xaxis.range[1]"] ?? change["xaxis.range"][1],
        south: change["yaxis.range[0]"] ?? change["yaxis.range"][0],
        north: change["yaxis.range[1]"] ?? change["yaxis.range"][1],
      };
      this.tell(this.moving);
    });
    this.base.on("plotly_relayout", () => {
      this.take();
      this.tell(this.moving);
      this.tell(this.resting);
    });
    this.box.addEventListener("keydown", (event) => this.key(event));
    this.fingers();
  }

  take() {
    const { xaxis, yaxis } = this.base._fullLayout;
    this.view = { west: xaxis.range[0], east: xaxis.range[1], south: yaxis.range[0], north: yaxis.range[1] };
  }

  tell(listeners) {
    for (const listener of listeners) listener(this.view);
  }

  // A window as wanted, grown to the box's proportions.
  fitted([west, south, east, north]) {
    const width = Math.max(1, this.box.clientWidth - 2 * MARGIN);
    const height = Math.max(1, this.box.clientHeight - 2 * MARGIN);
    const metres = Math.max((east - west) / width, (north - south) / height, LEAST_METRES / width);
    const [e, n] = [(west + east) / 2, (south + north) / 2];
    return [e - (metres * width) / 2, n - (metres * height) / 2, e + (metres * width) / 2, n + (metres * height) / 2];
  }

  show(window) {
    const [west, south, east, north] = this.fitted(window);
    return Plotly.relayout(this.base, { "xaxis.range": [west, east], "yaxis.range": [south, north] });
  }

  whole() {
    return this.show(this.bounds);
  }

  zoom(factor, east = (this.view.west + this.view.east) / 2, north = (this.view.south + this.view.north) / 2) {
    const { west, south, east: right, north: top } = this.view;
    const held = Math.max(factor, LEAST_METRES / (right - west));
    return this.show([
      east - (east - west) * held,
      north - (north - south) * held,
      east + (right - east) * held,
      north + (top - north) * held,
    ]);
  }

  move(shareEast, shareNorth) {
    const { west, south, east, north } = this.view;
    const [e, n] = [(east - west) * shareEast, (north - south) * shareNorth];
    return this.show([west + e, south + n, east + e, north + n]);
  }

  key(event) {
    if (event.target !== this.box || event.ctrlKey || event.metaKey || event.altKey) return;
    const act = {
      ArrowLeft: () => this.move(-0.2, 0),
      ArrowRight: () => this.move(0.2, 0),
      ArrowUp: () => this.move(0, 0.2),
      ArrowDown: () => this.move(0, -0.2),
      "+": () => this.zoom(0.6),
      "=": () => this.zoom(0.6),
      "-": () => this.zoom(1 / 0.6),
      0: () => this.whole(),
    }[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  }

  // Two fingers: the plan stays under them.
  fingers() {
    let start = null;
    let waiting = false;
    const place = (touch) => {
      const box = this.box.getBoundingClientRect();
      return this.metres(touch.clientX - box.left, touch.clientY - box.top);
    };
    this.box.addEventListener(
      "touchstart",
      (event) => {
        if (event.touches.length !== 2) return;
        event.stopPropagation();
        const [a, b] = event.touches;
        start = { gap: Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY) };
      },
      { capture: true, passive: true },
    );
    this.box.addEventListener(
      "touchmove",
      (event) => {
        if (!start || event.touches.length !== 2) return;
        event.preventDefault();
        event.stopPropagation();
        if (waiting) return;
        waiting = true;
        const [a, b] = event.touches;
        const gap = Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
        const [one, two] = [place(a), place(b)];
        requestAnimationFrame(async () => {
          await this.zoom(start ? start.gap / gap : 1, (one[0] + two[0]) / 2, (one[1] + two[1]) / 2);
          if (start) start.gap = gap;
          waiting = false;
        });
      },
      { capture: true, passive: false },
    );
    this.box.addEventListener("touchend", (event) => {
      if (event.touches.length < 2) start = null;
    });
  }

  get metresPerPixel() {
    return (this.view.east - this.view.west) / (this.box.clientWidth - 2 * MARGIN);
  }

  pixels(east, north) {
    const { west, south, east: right, north: top } = this.view;
    const width = this.box.clientWidth - 2 * MARGIN;
    const height = this.box.clientHeight - 2 * MARGIN;
    return [
      MARGIN + ((east - west) / (right - west)) * width,
      MARGIN + ((top - north) / (top - south)) * height,
    ];
  }

  metres(x, y) {
    const { west, south, east, north } = this.view;
    const width = this.box.clientWidth - 2 * MARGIN;
    const height = this.box.clientHeight - 2 * MARGIN;
    return [west + ((x - MARGIN) / width) * (east - west), north - ((y - MARGIN) / height) * (north - south)];
  }
}
