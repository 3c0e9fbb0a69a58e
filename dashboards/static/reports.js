// A report carries the moment it is sent, unless it is sent again: then it must say the same, so that it counts once.
// The server's clock counts, moved on by the time since the page was opened: a phone's own clock may be wrong.
const opened = Date.now();

for (const form of document.querySelectorAll("form[data-report]")) {
  let sent = false;
  form.addEventListener("submit", (event) => {
    if (sent) {
      event.preventDefault();
      return;
    }
    sent = true;
    const moment = form.elements.opened_at;
    moment.value = new Date(Date.parse(moment.value) + Date.now() - opened).toISOString();
    for (const button of form.querySelectorAll("button")) button.setAttribute("aria-disabled", "true");
  });
}

// A page out of the browser's memory would send its old number again.
addEventListener("pageshow", (event) => {
  if (event.persisted) location.reload();
});
