/* A form that takes a while says so, shows how far its work is, and is sent only once.

   The form carries a key that is made here; under it the server tells the steps done, from which the bar is drawn.
   Without progress (short work, or an older answer) it shows the seconds that went by. */
"use strict";

(() => {
  const randomKey = () =>
    Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");

  const withKey = (form) => {
    const key = randomKey();
    let field = form.querySelector("input[name=progress_key]");
    if (!field) {
      field = document.createElement("input");
      field.type = "hidden";
      field.name = "progress_key";
      form.append(field);
    }
    field.value = key;
    return key;
  };

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.dataset.working || (event.submitter && event.submitter.formMethod === "get")) return;
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "yes";
    const key = withKey(form);
    const box = document.createElement("div");
    box.className = "working";
    box.setAttribute("role", "status");
    const bar = document.createElement("progress");
    bar.hidden = true;
    const words = document.createElement("p");
    words.textContent = form.dataset.working;
    box.append(bar, words);
    form.append(box);
    const began = Date.now();
    const tell = async () => {
      const seconds = `${Math.round((Date.now() - began) / 1000)} s elapsed.`;
      let progress = {};
      try {
        const answer = await fetch(`/progress/${key}`, { cache: "no-store" });
        if (answer.ok) progress = await answer.json();
      } catch {
        /* the work continues; only its progress could not be read */
      }
      if (progress.total) {
        bar.hidden = false;
        bar.max = progress.total;
        bar.value = progress.done;
        words.textContent = `${progress.done} of ${progress.total} ${progress.what}. ${seconds}`;
      } else {
        words.textContent = `${form.dataset.working} ${seconds}`;
      }
    };
    form.dataset.teller = String(setInterval(tell, 700));
  });
  /* back from another page: the form can be sent again */
  window.addEventListener("pageshow", () => {
    for (const form of document.querySelectorAll("form[data-sent]")) {
      clearInterval(Number(form.dataset.teller));
      delete form.dataset.sent;
      form.querySelectorAll(".working").forEach((box) => box.remove());
    }
  });
})();
