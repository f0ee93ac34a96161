/* The workspace of a unit: a form of another page is opened in place, sent from here, and its errors are shown here. */
"use strict";

(() => {
  const list = document.querySelector("[data-checklist]");
  if (!list) return;
  const OPEN = "checklist open";
  const SAVED = "saved in place";
  if (sessionStorage.getItem(SAVED) === location.pathname) {
    sessionStorage.removeItem(SAVED);
    document.querySelector(".undo button")?.focus({ preventScroll: true });
  }
  list.open = sessionStorage.getItem(OPEN) === location.pathname;
  list.addEventListener("toggle", (event) => {
    if (event.target !== list) return;
    if (list.open) sessionStorage.setItem(OPEN, location.pathname);
    else sessionStorage.removeItem(OPEN);
  });

  /* The form that adds an entry says so itself; of a long one only the part that was asked for is shown. */
  function formOf(page, part) {
    const form = page.querySelector("form[data-in-place]");
    if (form && part) for (const one of form.querySelectorAll("[data-part]")) one.hidden = one.dataset.part !== part;
    return form;
  }

  /* Names stay; ids are told apart from those of the other forms. */
  function adopted(form, address, number) {
    const copy = document.importNode(form, true);
    copy.setAttribute("action", form.getAttribute("action") || address);
    const ids = new Map([...copy.querySelectorAll("[id]")].map((one) => [one.id, `in-place-${number}-${one.id}`]));
    for (const one of copy.querySelectorAll("[id]")) one.id = ids.get(one.id);
    for (const name of ["for", "list", "aria-describedby"]) {
      for (const one of copy.querySelectorAll(`[${name}]`)) {
        const told = one.getAttribute(name).trim().split(/\s+/).map((id) => ids.get(id) ?? id);
        one.setAttribute(name, told.join(" "));
      }
    }
    return copy;
  }

  async function show(box, page, number) {
    const form = formOf(page, box.dataset.part);
    if (!form) return;
    const problems = page.querySelector(".problems");
    const shown = adopted(form, box.dataset.formUrl, number);
    box.querySelectorAll("form, .problems").forEach((one) => one.remove());
    if (problems) box.append(document.importNode(problems, true));
    box.append(shown);
    window.rememberNames?.(shown);
    shown.addEventListener("submit", (event) => send(event, box, shown, number));
    (problems ? box.querySelector(".problems") : [...shown.querySelectorAll("select, textarea, input:not([type=hidden])")].find((one) => one.offsetParent))?.focus();
  }

  async function send(event, box, form, number) {
    event.preventDefault();
    const button = event.submitter;
    if (button) button.disabled = true;
    const answer = await fetch(form.action, { method: "POST", body: new FormData(form, button) });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    // a log leads on to its preview; everything else is stored, and can be undone below
    if (answer.ok && answer.url.includes("/trials/add/")) location.assign(answer.url);
    else if (answer.ok) {
      sessionStorage.setItem(SAVED, location.pathname);
      location.reload();
    }
    else await show(box, page, number);
  }

  document.querySelectorAll("[data-form-url]").forEach((box, number) => {
    box.addEventListener("toggle", async () => {
      if (!box.open || box.querySelector("form")) return;
      const answer = await fetch(box.dataset.formUrl);
      if (answer.ok) await show(box, new DOMParser().parseFromString(await answer.text(), "text/html"), number);
    });
  });
})();
