// Several files sent one after the other, with a line that says how far they are: each is kept by itself, so that one
// that is refused, or a line that breaks off, costs no other. Without this script the form sends all of them at once.
(() => {
  "use strict";

  const NO_ANSWER = "The server did not answer, so look whether it was kept before you send it again.";
  const under_way = new WeakSet();

  const chosen = (form) =>
    [...form.querySelectorAll('input[type="file"]')].flatMap((input) => [...input.files].map((file) => [input.name, file]));

  // What the server says of a file that it did not keep, in the words of its page.
  const reason = (request) => {
    const page = new DOMParser().parseFromString(request.responseText, "text/html");
    // In this order: the first names the file by itself, so that only the reason is left to be told.
    const said = ["[data-refused] li span", ".error-summary li", ".lede"].map((one) => page.querySelector(one)).find(Boolean);
    return said?.textContent.trim() || `The server could not take it (${request.status}).`;
  };

  const send = (form, name, file, moved) => new Promise((resolve) => {
    const data = new FormData(form);
    for (const input of form.querySelectorAll('input[type="file"]')) data.delete(input.name);
    data.append(name, file);
    const request = new XMLHttpRequest();
    request.open("POST", form.getAttribute("action"));
    request.setRequestHeader("HX-Request", "true");
    request.upload.addEventListener("progress", (event) => event.lengthComputable && moved(event.loaded / event.total));
    request.addEventListener("load", () => resolve(
      request.status === 204 ? { on: request.getResponseHeader("HX-Redirect") } : { reason: reason(request) }));
    request.addEventListener("error", () => resolve({ reason: NO_ANSWER }));
    request.send(data);
  });

  const line = (words, attributes = {}) => {
    const made = document.createElement("p");
    made.textContent = words;
    for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
    return made;
  };

  const told = (kept, refused) => {
    const files = (number) => (number === 1 ? "One file" : `${number} files`);
    const kept_words = kept ? `${files(kept)} ${kept === 1 ? "was" : "were"} kept.` : "Nothing was kept.";
    return `${kept_words} ${refused === 1 ? "This file was not:" : `These ${refused} files were not:`}`;
  };

  const list = (refused) => {
    const made = document.createElement("ul");
    for (const [name, why] of refused) {
      const item = document.createElement("li");
      const strong = document.createElement("strong");
      strong.textContent = name;
      item.append(strong, `: ${why}`);
      made.append(item);
    }
    return made;
  };

  const way = (address) => {
    const made = document.createElement("p");
    const link = document.createElement("a");
    link.href = address;
    link.textContent = "Look at what was kept";
    made.append(link);
    return made;
  };

  const upload = async (form) => {
    const files = chosen(form), refused = [], most = Number(form.dataset.most) || Infinity;
    const place = form.querySelector("[data-sending]"), button = form.querySelector('button[type="submit"], button:not([type])');
    const now = line("", { role: "status" }), far = line("", { "aria-hidden": "true", class: "quiet" });
    place.replaceChildren(now, far);
    button.disabled = true;
    let kept = 0, on = "";
    for (const [number, [name, file]] of files.entries()) {
      now.textContent = `Sending ${number + 1} of ${files.length}: ${file.name}.`;
      far.textContent = "";
      const answer = file.size > most ? { reason: form.dataset.tooLarge } : await send(form, name, file, (part) => {
        far.textContent = part < 1 ? `${Math.round(part * 100)} % of it is sent.` : "It is sent, and looked through now.";
      });
      if (answer.on) {
        kept += 1;
        on = answer.on;
      } else refused.push([file.name, answer.reason]);
    }
    if (!refused.length) {
      now.textContent = `${kept === 1 ? "The file was" : `All ${kept} files were`} kept.`;
      window.location.assign(on);
      if (on.split("#")[0] === window.location.pathname + window.location.search) window.location.reload();
      return;
    }
    button.disabled = false;
    for (const input of form.querySelectorAll('input[type="file"]')) input.value = "";
    now.textContent = told(kept, refused.length);
    far.replaceWith(list(refused), ...(on ? [way(on)] : []));
    under_way.delete(form);
  };

  // In the place of htmx's own request; a form without a file goes its ordinary way, and is told what it lacks.
  document.addEventListener("htmx:beforeRequest", (event) => {
    const form = event.detail.elt;
    if (!form.matches("form[data-uploads]") || !chosen(form).length) return;
    event.preventDefault();
    if (under_way.has(form)) return;
    under_way.add(form);
    upload(form);
  });
})();
