/* The ranking: counts the selected rows, and fetches the rank intervals where the page came without them. */
"use strict";

(() => {
  const form = document.getElementById("selection");
  const words = document.querySelector("[data-selected]");
  const buttons = [...document.querySelectorAll("[form=selection]")];

  function count() {
    const number = form.querySelectorAll("[name=setting_id]:checked").length;
    words.textContent = number ? `${number} selected:` : "Select rows to:";
    buttons[0].disabled = number === 1 || number > 8;
    buttons[1].disabled = number > 8;
    for (const button of buttons) button.title = number > 8 ? "Select at most eight rows" : button.disabled ? "Select at least two rows" : "";
  }

  /* The same page with its rank intervals; its ranks and its finding take the place of these. */
  async function fetchRanks(body) {
    const answer = await fetch(body.dataset.ranksUrl);
    if (!answer.ok) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const [here, there] = [document, page].map((one) => [...one.querySelectorAll("td.rank")]);
    if (here.length !== there.length) return;
    here.forEach((cell, index) => cell.replaceWith(there[index]));
    const finding = page.querySelector(".answer");
    if (finding) document.querySelector(".answer").textContent = finding.textContent;
  }

  if (!form) return;
  form.addEventListener("change", count);
  window.addEventListener("pageshow", count);
  count();
  const body = form.querySelector("[data-ranks-url]");
  if (body) fetchRanks(body);
})();
