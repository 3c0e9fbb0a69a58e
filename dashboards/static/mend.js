// Mends a walk without loading the page anew: each step is asked of the same address that a page without script goes
// to, and its answer takes the old one's place. A stop is also dragged by its grip, or moved by arrow keys on it.

const said = document.querySelector("[data-said]");
const inStrip = document.querySelectorAll("[data-with-script]");
for (const element of inStrip) element.hidden = false;

let steps = Promise.resolve();

function draft() {
  return document.getElementById("draft");
}

// One step after the other, each from the draft that the one before made.
function go(step, focus) {
  steps = steps.catch(() => undefined).then(() => take(step, focus));
  return steps;
}

async function take(step, focus) {
  const form = draft();
  const query = new URLSearchParams({ order: form.elements.order.value, pins: form.elements.pins.value, ...step });
  let page;
  try {
    const answer = await fetch(`${form.action}?${query}`, { headers: { Accept: "text/html" } });
    page = new DOMParser().parseFromString(await answer.text(), "text/html");
  } catch {
    said.textContent = "The server gave no answer; nothing was changed.";
    return;
  }
  const fresh = page.querySelector("[data-mend]");
  if (!fresh) {
    location.assign(`${form.action}?${query}`); // a page that says why
    return;
  }
  document.querySelector("[data-mend]").replaceWith(fresh);
  const now = draft().elements;
  const kept = new URLSearchParams({ order: now.order.value, pins: now.pins.value });
  history.replaceState(null, "", `${location.pathname}?${kept}`);
  ready();
  document.dispatchEvent(new CustomEvent("sheet-figures"));
  const words = [...fresh.querySelectorAll("#effect .note, [data-lines] li")].map((line) => line.textContent.trim());
  said.textContent = words.join(" ");
  focusOn(focus, fresh);
}

// The focus stays on what was pressed, or on what stands there now.
function focusOn(wanted, fresh) {
  if (!wanted) return;
  const opposite = { pin: "unpin", unpin: "pin", drop: "back", back: "drop", up: "down", down: "up" };
  const [step, joint] = wanted.split("-");
  const candidates = [wanted, `${opposite[step]}-${joint}`].map((value) => fresh.querySelector(`[value="${CSS.escape(value)}"]`));
  const grip = step === "lift" ? fresh.querySelector(`#joint-${CSS.escape(joint)} [data-lift]`) : null;
  (grip ?? candidates.find((button) => button && !button.disabled) ?? fresh.querySelector("[value=best]")).focus();
}

document.addEventListener("submit", (event) => {
  if (event.target.id !== "draft") return;
  event.preventDefault();
  const step = event.submitter?.value || "add"; // the return key in the field of the tag
  if (step !== "add") {
    go({ do: step }, step);
    return;
  }
  const tag = document.getElementById("add-tag");
  if (!tag.value.trim()) return;
  go({ do: step, tag: tag.value }, "").then(() => {
    if (!document.querySelector("#effect .note")) tag.value = "";
    tag.focus();
  });
});

function reorder(list, focus) {
  const order = [...list.querySelectorAll("[data-joint]")].map((stop) => stop.dataset.joint).join(",");
  go({ order, do: "as-given" }, focus);
}

// ---- lifting a stop

let lift = null;

function ready() {
  for (const grip of document.querySelectorAll("[data-lift]")) {
    grip.hidden = false;
    grip.addEventListener("keydown", step);
    grip.addEventListener("pointerdown", begin);
  }
}

function step(event) {
  const way = { ArrowUp: "up", ArrowDown: "down" }[event.key];
  if (!way) return;
  event.preventDefault();
  const joint = event.target.closest("[data-joint]").dataset.joint;
  go({ do: `${way}-${joint}` }, `lift-${joint}`);
}

function begin(event) {
  if (event.button !== 0) return;
  event.preventDefault();
  const stop = event.target.closest("[data-joint]");
  lift = { stop, list: stop.parentElement, before: stop.nextElementSibling, pointer: event.pointerId };
  stop.classList.add("lifted");
  document.body.classList.add("lifting");
}

// On the document: a stop that changes its place in the list would lose the pointer.
document.addEventListener("pointermove", move);
document.addEventListener("pointerup", drop);
document.addEventListener("pointercancel", giveUp);

function move(event) {
  if (!lift || event.pointerId !== lift.pointer) return;
  const others = [...lift.list.children].filter((each) => each !== lift.stop);
  const below = others.find((each) => {
    const box = each.getBoundingClientRect();
    return event.clientY < box.top + box.height / 2;
  });
  if ((below ?? null) !== lift.stop.nextElementSibling) lift.list.insertBefore(lift.stop, below ?? null);
  const edge = 40;
  if (event.clientY < edge) window.scrollBy(0, -12);
  else if (event.clientY > innerHeight - edge) window.scrollBy(0, 12);
}

function drop(event) {
  if (!lift || event.pointerId !== lift.pointer) return;
  const { list, stop, before } = lift;
  const moved = stop.nextElementSibling !== before;
  finish();
  if (moved) reorder(list, `lift-${stop.dataset.joint}`);
}

function giveUp() {
  if (!lift) return;
  lift.list.insertBefore(lift.stop, lift.before);
  finish();
}

function finish() {
  lift.stop.classList.remove("lifted");
  document.body.classList.remove("lifting");
  lift = null;
}

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") giveUp();
});

ready();
