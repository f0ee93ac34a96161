/* The preview of an upload follows each choice at once: a dragged mark, a clicked header line, the use of a column, the
   room. The parts of the page that come from the file are asked for again; what is typed meanwhile stays. Without script
   the same buttons load the page again. */
"use strict";

(() => {
  const form = document.getElementById("preview-form");
  if (!form) return;
  const area = document.querySelector(".trial-drawing");
  const FOLLOWED = /^(column_\d+|unit_\d+|box|timezone|date_order|kind|room_id|logger_id|unit_on|smoke_start|fit_start|fit_end|end|background_ug_m3|clear_level_kind|clear_level_value)$/;
  const live = (page) => [...page.querySelectorAll("[data-live]")];
  let asked = 0;

  async function show(button) {
    const query = new URLSearchParams(new FormData(form, button));
    query.delete("progress_key");
    const url = `${form.getAttribute("action")}?${query}`;
    const mine = (asked += 1);
    form.setAttribute("aria-busy", "true");
    const answer = await fetch(url);
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (mine !== asked) return; // a later choice is on its way
    form.removeAttribute("aria-busy");
    const drawing = page.querySelector(".trial-drawing");
    if (live(page).map((part) => part.id).join() !== live(document).map((part) => part.id).join() || !drawing !== !area) {
      location.assign(url); // another kind of page, such as the first that can be read
      return;
    }
    const focus = document.activeElement;
    for (const part of live(document)) part.replaceChildren(...document.importNode(page.getElementById(part.id), true).childNodes);
    if (!focus.isConnected && focus.name) {
      const again = focus.value && focus.tagName === "BUTTON" ? `[name="${focus.name}"][value="${focus.value}"]` : `[name="${focus.name}"]`;
      form.querySelector(again)?.focus({ preventScroll: true });
    }
    history.replaceState(null, "", url);
    form.dispatchEvent(new Event("marks-changed"));
    if (area) {
      area.dataset.figureUrl = drawing.dataset.figureUrl;
      area.dispatchEvent(new Event("figure-changed"));
    }
  }

  form.addEventListener("submit", (event) => {
    if (event.submitter?.formMethod !== "get") return;
    event.preventDefault();
    show(event.submitter);
  });
  form.addEventListener("change", (event) => {
    if (FOLLOWED.test(event.target.name)) show(form.querySelector("[data-shows-effect]") ?? form.querySelector("button[formmethod=get]:not([name])"));
  });
})();
