// Moves a bundle of checks to another week or crew: dragged by its grip, or chosen in the dialog. What that does is
// shown before it is kept, in the same words either way.
import { asker, write } from "./effects.js";

const board = document.querySelector("[data-board]");
const dialog = document.querySelector("[data-move-dialog]");
const carried = document.querySelector("[data-carried]");
const form = dialog?.querySelector("form");
const address = dialog?.dataset.effectAddress;

for (const element of document.querySelectorAll("[data-with-script], [data-move], [data-grip]")) {
  element.hidden = false;
  element.removeAttribute("hidden");
}

// ---- the dialog

const shown = dialog?.querySelector("[data-effect]");
const keep = dialog?.querySelector("[data-keep]");
const over = dialog?.querySelector("[data-over]");

const inDialog = asker(address, (said) => {
  write(shown, said);
  keep.disabled = said === null || said.refused.length > 0;
  over.hidden = !said?.over;
  form.elements.over_time.required = Boolean(said?.over);
});

function openDialog(bundle, week, crew) {
  const named = new URLSearchParams(bundle.dataset.bundle);
  dialog.querySelector("[data-what]").textContent = bundle.dataset.words;
  const names = dialog.querySelector("[data-names]");
  names.replaceChildren(
    ...[...named].map(([name, value]) => Object.assign(document.createElement("input"), { type: "hidden", name, value })),
  );
  choose(form.elements.to_week, week ?? named.get("week"));
  if (!week) form.elements.to_week.selectedIndex += form.elements.to_week.selectedIndex < form.elements.to_week.length - 1;
  choose(form.elements.to_crew, crew ?? named.get("crew"));
  form.elements.over_time.checked = false;
  dialog.showModal();
  askInDialog();
  form.elements.to_week.focus();
}

function choose(select, value) {
  select.value = value;
  if (select.selectedIndex < 0) select.selectedIndex = 0;
}

function askInDialog() {
  const query = new URLSearchParams([...dialog.querySelectorAll("[data-names] input")].map((each) => [each.name, each.value]));
  query.set("to_week", form.elements.to_week.value);
  query.set("to_crew", form.elements.to_crew.value);
  inDialog.ask(query);
  aimAt(cellOf(form.elements.to_week.value, form.elements.to_crew.value));
}

if (dialog) {
  form.elements.to_week.addEventListener("change", askInDialog);
  form.elements.to_crew.addEventListener("change", askInDialog);
  dialog.querySelector("[data-leave]").addEventListener("click", () => dialog.close());
  dialog.addEventListener("close", () => {
    inDialog.stop();
    aimAt(null);
  });
  for (const button of document.querySelectorAll("[data-move]")) {
    button.addEventListener("click", () => openDialog(button.closest("[data-bundle]")));
  }
}

function cellOf(week, crew) {
  return board.querySelector(`[data-week="${CSS.escape(week)}"][data-crew="${CSS.escape(crew)}"]`);
}

let aimed = null;

function aimAt(cell, kind = "aimed-at") {
  aimed?.classList.remove("aimed-at", "refuses");
  aimed = cell;
  cell?.classList.add(kind);
}

// ---- dragging

let lift = null; // the bundle in hand, where it began, the cell under the pointer and what the server said of it

const inHand = asker(address, (said) => {
  if (!lift) return;
  lift.said = said;
  write(carried, said);
  carried.prepend(words(`To ${lift.cell.dataset.words}`));
  place();
  if (said) aimAt(lift.cell, said.refused.length ? "refuses" : "aimed-at");
});

function words(text) {
  const made = document.createElement("strong");
  made.textContent = text;
  return made;
}

for (const bundle of document.querySelectorAll("[data-bundle]")) {
  bundle.addEventListener("pointerdown", (event) => {
    // A mouse lifts a card anywhere, a finger by its grip alone: elsewhere it scrolls.
    const grip = event.target.closest("[data-grip]");
    if (event.button !== 0 || event.target.closest("a, button") || (event.pointerType !== "mouse" && !grip)) return;
    event.preventDefault();
    lift = { bundle, pointer: event.pointerId, x: event.clientX, y: event.clientY, moving: false, cell: null, said: null };
    bundle.setPointerCapture(event.pointerId);
  });
  bundle.addEventListener("pointermove", (event) => {
    if (!lift || event.pointerId !== lift.pointer) return;
    if (!lift.moving && Math.hypot(event.clientX - lift.x, event.clientY - lift.y) < 5) return;
    if (!lift.moving) begin();
    lift.x = event.clientX;
    lift.y = event.clientY;
    carry();
  });
  bundle.addEventListener("pointerup", (event) => {
    if (!lift || event.pointerId !== lift.pointer) return;
    const { cell, said, moving } = lift;
    end();
    // Let go before the server has answered, the dialog asks again and shows it there.
    if (moving && cell && !said?.refused.length) openDialog(bundle, cell.dataset.week, cell.dataset.crew);
  });
  bundle.addEventListener("pointercancel", end);
}

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && lift) end();
});

function begin() {
  lift.moving = true;
  lift.bundle.classList.add("lifted");
  document.body.classList.add("lifting");
  carried.hidden = false;
  carried.replaceChildren(words(lift.bundle.dataset.words));
  lift.scrolling = setInterval(scroll, 16);
}

function end() {
  if (!lift) return;
  clearInterval(lift.scrolling);
  inHand.stop();
  lift.bundle.classList.remove("lifted");
  document.body.classList.remove("lifting");
  carried.hidden = true;
  lift = null;
  aimAt(null);
}

// Beside the pointer, wherever there is room.
function place() {
  const { x, y } = lift;
  const left = Math.max(4, Math.min(x + 18, innerWidth - carried.offsetWidth - 4));
  const below = y + 18 + carried.offsetHeight < innerHeight;
  carried.style.transform = `translate(${left}px, ${Math.max(4, below ? y + 18 : y - 18 - carried.offsetHeight)}px)`;
}

function carry() {
  place();
  const { x, y } = lift;
  const cell = document.elementFromPoint(x, y)?.closest("[data-week]") ?? null;
  if (cell === lift.cell) return;
  lift.cell = cell;
  lift.said = null;
  aimAt(cell);
  if (!cell) {
    inHand.stop();
    carried.replaceChildren(words(lift.bundle.dataset.words));
    return;
  }
  const query = new URLSearchParams(lift.bundle.dataset.bundle);
  query.set("to_week", cell.dataset.week);
  query.set("to_crew", cell.dataset.crew);
  inHand.ask(query);
}

// Near an edge the board, or the page, goes on.
function scroll() {
  const edge = 36;
  const frame = board.getBoundingClientRect();
  const side = lift.x < frame.left + edge ? -8 : lift.x > frame.right - edge ? 8 : 0;
  const up = lift.y < edge ? -10 : lift.y > innerHeight - edge ? 10 : 0;
  if (side) board.scrollLeft += side;
  if (up) window.scrollBy(0, up);
  if (side || up) carry();
}
