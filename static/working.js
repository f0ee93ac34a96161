/* A form that takes a while says so, with the seconds that went by, and is sent only once. */
"use strict";

(() => {
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.dataset.working || (event.submitter && event.submitter.formMethod === "get")) return;
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "yes";
    const words = document.createElement("p");
    words.className = "working";
    words.setAttribute("role", "status");
    words.textContent = form.dataset.working;
    form.append(words);
    const began = Date.now();
    const tell = () => {
      words.textContent = `${form.dataset.working} ${Math.round((Date.now() - began) / 1000)} s so far.`;
    };
    setInterval(tell, 1000);
  });
  /* back from another page: the form can be sent again */
  window.addEventListener("pageshow", () => {
    for (const form of document.querySelectorAll("form[data-sent]")) {
      delete form.dataset.sent;
      form.querySelectorAll(".working").forEach((words) => words.remove());
    }
  });
})();
