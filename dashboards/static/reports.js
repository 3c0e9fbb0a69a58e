// A report carries the moment it is sent, unless it is sent again: then it must say the same, so that it counts once.
for (const form of document.querySelectorAll("form[data-report]")) {
  let sent = false;
  form.addEventListener("submit", (event) => {
    const moment = form.elements.opened_at;
    if (sent) {
      event.preventDefault();
      return;
    }
    sent = true;
    moment.value = `${new Date().toISOString().slice(0, 19)}+00:00`;
    for (const button of form.querySelectorAll("button")) button.setAttribute("aria-disabled", "true");
  });
  addEventListener("pageshow", (event) => {
    if (event.persisted) location.reload(); // a page out of the browser's memory would send an old number again
  });
}
