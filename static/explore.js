// Sorts, filters and switches the published ranking, and computes what a unit costs at the reader's own price of
// electricity. Without this script the plain table remains. Works from a local copy.
"use strict";
(() => {
  let table = document.querySelector("table[data-explore]");
  if (!table) return;
  const currency = table.dataset.currency;
  const switches = table.dataset.switches;
  let rows, heads, cellOf, inOrder;

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
    table.tBodies[0].append(...sorted);
    for (const each of heads) each.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", descending ? "descending" : "ascending");
  };
  const addButton = (head) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "sort-button";
    button.append(...head.childNodes);
    button.addEventListener("click", () => sortBy(head, head.getAttribute("aria-sort") === "ascending"));
    head.append(button);
  };
  const read = () => {
    rows = [...table.tBodies[0].rows].filter((row) => row.dataset.unit);
    heads = [...table.tHead.rows[0].cells];
    inOrder = [...rows];
    cellOf = {};
    let place = 0;
    for (const head of heads) {
      cellOf[head.dataset.column] = place;
      place += head.colSpan;
    }
    heads.forEach(addButton);
  };
  read();
  if (rows.length < 2) return;

  const form = document.createElement("form");
  form.className = "explore";
  form.setAttribute("aria-label", "Filter the ranking");
  const field = (words, input, act = filter) => {
    const label = document.createElement("label");
    const text = document.createElement("span");
    text.textContent = words;
    label.append(text, input);
    form.append(label);
    input.addEventListener("input", act);
    return input;
  };
  const numberInput = () => Object.assign(document.createElement("input"), { type: "number", min: "0", step: "any" });
  const choice = (...options) => {
    const select = document.createElement("select");
    select.append(...options.map(([key, words]) => new Option(words, key)));
    return select;
  };
  const search = field("Search", Object.assign(document.createElement("input"), { type: "search" }));
  const kind = field("Type", choice(["", "all types"]));
  for (const name of [...new Set(rows.map((row) => row.dataset.kind))].sort()) kind.append(new Option(name, name));
  let setting, system;
  if (switches) {
    const settings = [["highest", "highest of each"], ["quietest", "quietest of each"], ["every", "every setting"]];
    setting = field("Setting", choice(...settings), change);
    system = field("Units of measure", choice(["metric", "m³/h, m²"], ["us", "cfm, ft²"]), change);
  }
  const price = field(`Price up to ${currency}`, numberInput());
  const sound = field("Sound up to dB(A)", numberInput());
  const area = field("Room size m²", numberInput());
  const tariff = field(`Your electricity price, ${currency}/kWh`, numberInput());
  const hours = field("Hours a day", Object.assign(numberInput(), { max: "24", value: table.dataset.hours }));
  const summary = document.createElement("p");
  summary.className = "quiet";
  summary.setAttribute("role", "status");
  form.append(summary);
  form.addEventListener("submit", (event) => event.preventDefault());
  table.parentElement.before(form);

  // The other tables are a script, because a page from a disk can load nothing else.
  function change() {
    const show = () => {
      const other = document.createElement("template");
      other.innerHTML = window.hazefallTables[`${setting.value} ${system.value}`];
      const found = other.content.querySelector("table");
      table.replaceWith(found);
      table = found;
      read();
      area.previousSibling.textContent = `Room size ${table.dataset.area}`;
      filter();
    };
    if (window.hazefallTables) return show();
    const script = Object.assign(document.createElement("script"), { src: switches });
    script.addEventListener("load", show);
    document.head.append(script);
  }

  // Electricity alone, for a year, with its 95 % interval: the price as typed, the power as measured.
  const addCosts = () => {
    for (const cell of table.querySelectorAll("[data-own]")) cell.remove();
    if (!tariff.value) return;
    const perWatt = (365 * Number(hours.value) * Number(tariff.value)) / 1000;
    const head = Object.assign(document.createElement("th"), { scope: "col", className: "number" });
    head.dataset.column = "own";
    head.dataset.own = "";
    head.append(`Electricity at your price ${currency} per year`);
    table.tHead.rows[0].append(head);
    heads = [...table.tHead.rows[0].cells];
    cellOf.own = heads.slice(0, -1).reduce((sum, one) => sum + one.colSpan, 0);
    addButton(head);
    for (const row of rows) {
      const cell = row.insertCell();
      cell.className = "number";
      cell.dataset.own = "";
      cell.dataset.label = "Electricity at your price";
      const [watts, uncertainty] = row.dataset.watts.split(" ").map(Number);
      if (!row.dataset.watts) {
        cell.append("–");
        continue;
      }
      const [cost, half] = [watts * perWatt, 1.96 * uncertainty * perWatt];
      const digits = cost - half >= 10 ? 0 : 2;
      const value = Object.assign(document.createElement("span"), { className: "value" });
      value.append(cost.toFixed(digits));
      const between = half > 0 ? ` (${Math.max(0, cost - half).toFixed(digits)} to ${(cost + half).toFixed(digits)})` : "";
      cell.append(value, between);
    }
  };

  function filter() {
    addCosts();
    const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    const metres = Number(area.value) / Number(table.dataset.areaFactor);
    const need = metres * Number(table.dataset.ratePerM2);
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
    const { area: square, flow, flowFactor } = table.dataset;
    const needed = (need * Number(flowFactor)).toFixed(0);
    const enough = area.value ? ` A room of ${area.value} ${square} needs ${needed} ${flow} by the 1.55 rule.` : "";
    const own = tariff.value ? ` Electricity for ${hours.value} h a day; parts and standby are not included.` : "";
    summary.textContent = `${shown} of ${rows.length} rows.${enough}${own}`;
  }
  filter();
})();
