// Runs before the page is drawn: the reader's choice of paper or blueprint, and the mark that scripts are at work.
(() => {
  "use strict";
  const root = document.documentElement;
  const wish = window.matchMedia("(prefers-color-scheme: dark)");
  const stored = () => {
    try {
      return localStorage.getItem("sheet-theme");
    } catch {
      return null; // storage may be forbidden; then the system's wish holds
    }
  };
  const theme = () => stored() || (wish.matches ? "dark" : "light");
  const apply = () => {
    root.dataset.theme = theme();
    document.dispatchEvent(new CustomEvent("sheet-theme"));
  };
  root.classList.add("js");
  root.dataset.theme = theme();
  wish.addEventListener("change", apply);
  document.addEventListener("DOMContentLoaded", () => {
    const button = document.querySelector("[data-theme-switch]");
    if (!button) return;
    const name = () => {
      button.textContent = root.dataset.theme === "dark" ? "Paper" : "Blueprint";
      button.setAttribute("aria-label", `Show as ${button.textContent.toLowerCase()}`);
    };
    button.hidden = false;
    button.addEventListener("click", () => {
      try {
        localStorage.setItem("sheet-theme", root.dataset.theme === "dark" ? "light" : "dark");
      } catch {
        root.dataset.theme = root.dataset.theme === "dark" ? "light" : "dark";
      }
      apply();
      name();
    });
    document.addEventListener("sheet-theme", name);
    name();
    for (const print of document.querySelectorAll("[data-print]")) {
      print.hidden = false;
      print.addEventListener("click", () => window.print());
    }
    // An empty filter says nothing; leaving it out keeps the address short enough to send.
    for (const form of document.querySelectorAll("form[data-filters]")) {
      form.addEventListener("formdata", (event) => {
        for (const [name, value] of [...event.formData]) if (value === "") event.formData.delete(name);
      });
    }
  });
})();
