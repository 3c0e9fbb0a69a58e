// The joints over the plan, or cells with counts far out. A canvas redraws 4,000 marks in a few milliseconds, where marks in
// the plan's own figure would take half a second each time the view moves.
import { ink } from "./inks.js";

const STATES = ["later", "due_soon", "overdue"]; // drawn in this order, so that what is overdue lies on top

export class JointLayer {
  constructor(canvas, view) {
    this.canvas = canvas;
    this.view = view;
    this.data = null;
    this.leaks = [];
    this.names = null;
    this.hovered = null;
    this.colours();
  }

  colours() {
    this.fills = [1, 2, 3, 4, 5].map((band) => ink(`risk-${band}`));
    this.onFills = [1, 2, 3, 4, 5].map((band) => ink(`on-risk-${band}`));
    this.inkColour = ink("ink");
    this.paper = ink("paper");
    this.lettering = ink("lettering");
  }

  draw() {
    const { canvas, view } = this;
    const ratio = window.devicePixelRatio || 1;
    const [width, height] = [canvas.clientWidth, canvas.clientHeight];
    if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) {
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(height * ratio);
    }
    const pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, width, height);
    if (!view.view) return;
    pen.lineJoin = "round";
    if (this.data?.kind === "cells") this.cells(pen);
    if (this.data?.kind === "joints") this.joints(pen);
    this.openLeaks(pen);
    if (this.names) this.areaNames(pen);
  }

  areaNames(pen) {
    pen.font = `600 13px ${this.lettering}`;
    pen.textAlign = "left";
    pen.textBaseline = "bottom";
    pen.lineWidth = 4;
    pen.strokeStyle = this.paper;
    pen.fillStyle = this.inkColour;
    const { x: east, y: north, text, customdata: widths } = this.names;
    for (let i = 0; i < text.length; i += 1) {
      // A name that is wider than its area would lie over its neighbour's.
      if (pen.measureText(text[i]).width > widths[i] / this.view.metresPerPixel) continue;
      const [x, y] = this.view.pixels(east[i], north[i]);
      pen.strokeText(text[i], x + 2, y - 3);
      pen.fillText(text[i], x + 2, y - 3);
    }
  }

  get radius() {
    const metres = this.view.metresPerPixel;
    return metres > 0.4 ? 4 : metres > 0.12 ? 5.5 : 7.5;
  }

  // A square stands for the joints of its cell: its size grows with their number, its colour is the worst risk among them.
  cells(pen) {
    const { columns, cell_m: size } = this.data;
    const cell = size / this.view.metresPerPixel;
    const most = Math.max(...columns.joints);
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    for (let i = 0; i < columns.east_m.length; i += 1) {
      const [x, y] = this.view.pixels(columns.east_m[i], columns.north_m[i]);
      const band = columns.band[i] - 1;
      const count = columns.joints[i];
      const side = Math.max(4, cell * (0.3 + 0.62 * Math.sqrt(count / most)));
      pen.fillStyle = this.fills[band];
      pen.fillRect(x - side / 2, y - side / 2, side, side);
      pen.strokeStyle = this.inkColour;
      pen.lineWidth = i === this.hovered ? 2.5 : 0.7;
      pen.strokeRect(x - side / 2, y - side / 2, side, side);
      pen.fillStyle = this.onFills[band];
      const words = count > 9999 ? `${Math.round(count / 1000)}k` : String(count);
      const letters = Math.min(12, (side - 3) / (0.52 * words.length), side * 0.5);
      const marked = side >= 15;
      if (letters >= 7.5) {
        pen.font = `600 ${letters}px ${this.lettering}`;
        pen.fillText(words, x, y + (marked ? side * 0.1 : 0));
      }
      const state = columns.overdue[i] ? "overdue" : columns.due_soon[i] ? "due_soon" : null;
      if (state && marked) {
        const mark = Math.min(4, side * 0.14);
        outline(pen, state, x + side / 2 - mark - 2, y - side / 2 + mark + 2, mark);
        pen.fill();
      }
    }
  }

  joints(pen) {
    const { columns } = this.data;
    const r = this.radius;
    const [width, height] = [this.canvas.clientWidth, this.canvas.clientHeight];
    pen.strokeStyle = this.inkColour;
    for (const state of STATES) {
      for (let i = 0; i < columns.tag.length; i += 1) {
        if (columns.state[i] !== state) continue;
        const [x, y] = this.view.pixels(columns.east_m[i], columns.north_m[i]);
        if (x < -r || y < -r || x > width + r || y > height + r) continue;
        outline(pen, state, x, y, r);
        pen.fillStyle = this.fills[columns.band[i] - 1];
        pen.fill();
        pen.lineWidth = i === this.hovered ? 3 : 1;
        pen.stroke();
      }
    }
  }

  // A leak that is open now is never hidden in a cell.
  openLeaks(pen) {
    const [near, far] = this.canvas.clientWidth < 500 ? [5, 9] : [9, 14];
    for (const leak of this.leaks) {
      const [x, y] = this.view.pixels(leak.east_m, leak.north_m);
      pen.beginPath();
      for (let turn = 0; turn < 8; turn += 1) {
        const [c, s] = [Math.cos((turn * Math.PI) / 4), Math.sin((turn * Math.PI) / 4)];
        pen.moveTo(x + c * near, y + s * near);
        pen.lineTo(x + c * far, y + s * far);
      }
      pen.strokeStyle = this.paper;
      pen.lineWidth = 4.5;
      pen.stroke();
      pen.strokeStyle = this.inkColour;
      pen.lineWidth = 2;
      pen.stroke();
    }
  }

  // What lies under a place on the screen: a cell, or every joint within reach, nearest first.
  at(x, y, reach = 9) {
    if (!this.data || !this.view.view) return [];
    const { kind, columns } = this.data;
    const found = [];
    const near = kind === "cells" ? this.data.cell_m / this.view.metresPerPixel / 2 : Math.max(reach, this.radius + 2);
    for (let i = 0; i < columns.east_m.length; i += 1) {
      const [px, py] = this.view.pixels(columns.east_m[i], columns.north_m[i]);
      const [dx, dy] = [Math.abs(px - x), Math.abs(py - y)];
      if (dx > near || dy > near) continue;
      found.push({ index: i, distance: dx * dx + dy * dy, band: columns.band[i] });
    }
    // Joints stacked over one another: the riskiest first.
    found.sort((a, b) => Math.round((a.distance - b.distance) / 9) || b.band - a.band);
    return found.map((item) => item.index);
  }
}

function outline(pen, state, x, y, r) {
  pen.beginPath();
  if (state === "overdue") {
    const big = r * 1.25;
    pen.moveTo(x, y - big);
    pen.lineTo(x + big, y + big * 0.85);
    pen.lineTo(x - big, y + big * 0.85);
    pen.closePath();
  } else if (state === "due_soon") {
    const big = r * 1.2;
    pen.moveTo(x, y - big);
    pen.lineTo(x + big, y);
    pen.lineTo(x, y + big);
    pen.lineTo(x - big, y);
    pen.closePath();
  } else {
    pen.arc(x, y, r * 0.9, 0, Math.PI * 2);
  }
}
