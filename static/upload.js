/* Log files dropped anywhere on the page, pasted, or chosen: each is sent at once, and its line says how far it is and
   what was read. Without script the form sends the chosen files itself. */
"use strict";

(() => {
  const form = document.querySelector("form[data-drop]");
  if (!form) return;
  const field = form.querySelector("input[type=file]");
  const list = document.createElement("ul");
  list.className = "uploads";
  list.setAttribute("aria-live", "polite");
  const onward = document.createElement("p");
  onward.hidden = true;
  form.after(list, onward);
  form.querySelector("button[type=submit]").hidden = true; // a file is sent as soon as it is chosen
  const read = []; // addresses of the previews
  let waiting = 0;
  let queue = Promise.resolve(); // one file after the other: the server reads each log as a whole

  const hasFiles = (data) => [...(data?.types ?? [])].includes("Files");
  window.addEventListener("dragover", (event) => {
    if (!hasFiles(event.dataTransfer)) return;
    event.preventDefault();
    document.body.classList.add("dropping");
  });
  for (const ended of ["dragleave", "drop"]) {
    window.addEventListener(ended, (event) => {
      if (ended === "drop" || !event.relatedTarget) document.body.classList.remove("dropping");
    });
  }
  window.addEventListener("drop", (event) => {
    if (!hasFiles(event.dataTransfer)) return;
    event.preventDefault();
    take(event.dataTransfer.files);
  });
  window.addEventListener("paste", (event) => {
    const data = event.clipboardData;
    if (data.files.length) return take(data.files);
    const text = data.getData("text/plain");
    // a table copied from a spreadsheet or a text file; a word pasted into a field is left alone
    if (event.target.closest?.("input, textarea") || text.split("\n").length < 4) return undefined;
    event.preventDefault();
    return take([new File([text], "pasted.txt", { type: "text/plain" })]);
  });
  field.addEventListener("change", () => {
    if (!field.files.length) return;
    take(field.files);
    field.value = "";
  });

  function take(files) {
    for (const file of files) {
      const line = lineOf(file);
      waiting += 1;
      queue = queue.then(() => send(file, line)).then(() => {
        waiting -= 1;
        if (!waiting) settle();
      });
    }
  }

  function lineOf(file) {
    const line = document.createElement("li");
    const name = document.createElement("strong");
    name.textContent = file.name;
    const bar = document.createElement("progress");
    bar.max = 1;
    bar.value = 0;
    bar.setAttribute("aria-label", `Upload of ${file.name}`);
    const words = document.createElement("span");
    words.textContent = "waiting";
    line.append(name, " ", bar, " ", words);
    list.append(line);
    return { line, bar, words };
  }

  function send(file, { line, bar, words }) {
    return new Promise((done) => {
      const data = new FormData(form);
      data.delete(field.name);
      data.set(field.name, file);
      const request = new XMLHttpRequest();
      request.open("POST", form.getAttribute("action") || location.pathname);
      request.responseType = "document";
      request.upload.addEventListener("progress", (event) => {
        if (event.lengthComputable) bar.value = event.loaded / event.total;
        words.textContent = bar.value < 1 ? "uploading" : "reading";
      });
      request.addEventListener("loadend", () => {
        bar.remove();
        verdict(request, file, line, words);
        done();
      });
      request.send(data);
    });
  }

  function verdict(request, file, line, words) {
    const page = request.response;
    const staged = request.responseURL.match(/\/trials\/add\/([A-Za-z0-9_-]{32})/);
    if (!page || !staged) {
      line.className = "failed";
      words.textContent = page?.querySelector(".problems li")?.textContent ?? "The file could not be sent.";
      return;
    }
    read.push({ token: staged[1], address: request.responseURL });
    const problem = page.querySelector(".problems li");
    const stored = page.querySelector(".already-stored");
    line.className = problem ? "failed" : "read";
    words.textContent = [problem ?? page.querySelector(".answer"), stored].filter(Boolean).map((one) => one.textContent.trim()).join(" ").replace(`${file.name}, `, "");
    const link = document.createElement("a");
    link.href = request.responseURL;
    link.textContent = "Open";
    link.setAttribute("aria-label", `Open ${file.name}`);
    line.append(" ", link);
  }

  /* One file leads on by itself; several wait for their table. */
  function settle() {
    if (read.length === 1 && list.children.length === 1) {
      location.assign(read[0].address);
      return;
    }
    if (!read.length) return;
    const query = new URLSearchParams(read.map((one) => ["token", one.token]));
    for (const name of ["profile_id", "timezone", "kind", "unit_under_test_id"]) if (form.elements[name]?.value) query.append(name, form.elements[name].value);
    onward.hidden = false;
    onward.replaceChildren();
    const link = document.createElement("a");
    link.className = "button main";
    link.href = `${form.dataset.drop}?${query}`;
    link.textContent = `Continue with ${read.length} file${read.length === 1 ? "" : "s"}`;
    onward.append(link);
    link.focus();
  }
})();
