// Sorts and filters the published ranking. Without this script the plain table remains. Works from a disk.
"use strict";
(() => {
  const table = document.querySelector("table[data-explore]");
  const body = table?.tBodies[0];
  const rows = body ? [...body.rows].filter((row) => row.dataset.unit) : [];
  if (rows.length < 2) return;
  const heads = [...table.tHead.rows[0].cells];
  const cellOf = {};
  let place = 0;
  for (const head of heads) {
    cellOf[head.dataset.column] = place;
    place += head.colSpan;
  }
  const inOrder = [...rows];

  // The first number of a cell; a bound such as "> 172" sorts after the same number, a missing one last.
  const valueOf = (row, column) => {
    const cell = row.cells[cellOf[column]];
    if (!cell) return NaN;
    const text = cell.dataset.value ?? (cell.querySelector(".value") ?? cell).textContent;
    const found = text.replace(/[\u202f\u00a0 ](?=\d{3})/g, "").replace("\u2212", "-").match(/-?\d+(?:\.\d+)?/);
    return found ? Number(found[0]) + (text.includes(">") ? 1e-6 : 0) : NaN;
  };

  const sortBy = (head, descending) => {
    const column = head.dataset.column;
    const byName = cellOf[column] === 0;
    const key = (row) => (byName ? row.cells[0].textContent.trim() : valueOf(row, column));
    const sorted = [...inOrder].sort((a, b) => {
      const [one, other] = [key(a), key(b)];
      if (byName) return one.localeCompare(other) * (descending ? -1 : 1);
      if (Number.isNaN(one) || Number.isNaN(other)) return Number.isNaN(one) - Number.isNaN(other);
      return (one - other) * (descending ? -1 : 1);
    });
    body.append(...sorted);
    for (const each of heads) each.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", descending ? "descending" : "ascending");
  };
  for (const head of heads) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "sort-button";
    button.append(...head.childNodes);
    button.addEventListener("click", () => sortBy(head, head.getAttribute("aria-sort") === "ascending"));
    head.append(button);
  }

  const form = document.createElement("form");
  form.className = "explore";
  form.setAttribute("aria-label", "Filter the ranking");
  const field = (words, input) => {
    const label = document.createElement("label");
    label.append(words, input);
    form.append(label);
    input.addEventListener("input", filter);
    return input;
  };
  const numberInput = () => Object.assign(document.createElement("input"), { type: "number", min: "0", step: "any" });
  const search = field("Search", Object.assign(document.createElement("input"), { type: "search" }));
  const kind = field("Type", document.createElement("select"));
  kind.append(new Option("all types", ""));
  for (const name of [...new Set(rows.map((row) => row.dataset.kind))].sort()) kind.append(new Option(name, name));
  const price = field(`Price up to ${table.dataset.currency}`, numberInput());
  const sound = field("Sound up to dB(A)", numberInput());
  const area = field("Room size m²", numberInput());
  const told = document.createElement("p");
  told.className = "quiet";
  told.setAttribute("role", "status");
  form.append(told);
  form.addEventListener("submit", (event) => event.preventDefault());
  table.parentElement.before(form);

  function filter() {
    const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    const need = Number(area.value) * Number(table.dataset.ratePerM2);
    const atMost = (row, input, column) => !input.value || valueOf(row, column) <= Number(input.value);
    let shown = 0;
    for (const row of rows) {
      const text = `${row.cells[0].textContent} ${row.dataset.kind}`.toLowerCase();
      const passes =
        words.every((word) => text.includes(word)) &&
        (!kind.value || row.dataset.kind === kind.value) &&
        atMost(row, price, "price") &&
        atMost(row, sound, "sound") &&
        (!area.value || (row.dataset.rate !== "" && Number(row.dataset.rate) >= need));
      row.hidden = !passes;
      shown += passes;
    }
    const enough = area.value ? ` A room of ${area.value} m² needs ${need.toFixed(0)} m³/h by the 1.55 rule.` : "";
    told.textContent = `${shown} of ${rows.length} lines.${enough}`;
  }
  filter();
})();
