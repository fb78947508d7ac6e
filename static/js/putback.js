// What a page gains from a script, and works without: a word before half-typed words are left behind, the
// message of a refused form brought into view, and a sentence when the server cannot be reached.
(() => {
  "use strict";

  const halfTyped = new Set();
  // By the attribute: a field that is itself called "method" hides the form's own property.
  const writes = (form) => form?.getAttribute("method") === "post";

  document.addEventListener("input", (event) => {
    const form = event.target.closest("form");
    if (writes(form)) halfTyped.add(form);
  });

  // A second press within two seconds is a double click, not a second wish.
  const sent = new WeakSet();
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!writes(form)) return;
    if (sent.has(form)) {
      event.preventDefault();
      event.stopImmediatePropagation();
      return;
    }
    sent.add(form);
    setTimeout(() => sent.delete(form), 2000);
  }, true);

  document.addEventListener("submit", (event) => halfTyped.delete(event.target));

  window.addEventListener("beforeunload", (event) => {
    if ([...halfTyped].some((form) => form.isConnected)) event.preventDefault();
  });

  // A form that came back with what was typed, and is not saved yet, is as half-typed as it was.
  const look = (swapped) => {
    const refusal = swapped.querySelector(".error-summary, .both-versions");
    const form = refusal?.closest("form");
    refusal?.focus();
    if (form) halfTyped.add(form);
    for (const unsaved of swapped.querySelectorAll("form[data-unsaved]")) halfTyped.add(unsaved);
  };

  const say = (sentence) => {
    const words = document.createElement("p");
    words.textContent = sentence;
    document.getElementById("notice")?.replaceChildren(words);
  };

  document.addEventListener("DOMContentLoaded", () => look(document));
  document.addEventListener("htmx:afterSwap", (event) => look(event.detail.target));

  const wasRefused = (sentence) => (event) => {
    const form = event.detail.elt.closest("form");
    if (form) {
      halfTyped.add(form);
      sent.delete(form);
    }
    say(sentence);
  };
  document.addEventListener("htmx:sendError", wasRefused(
    "The server did not answer, so look whether this was saved before you try again. What you typed is still here."));
  document.addEventListener("htmx:responseError", wasRefused(
    "The server could not do that. What you typed is still here."));
})();
