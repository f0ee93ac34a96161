/* The page of a live run: state and readings arrive as server-sent events, and the chart grows. A browser that loses
   the connection asks again by itself with the id of the last event. Without script the page reloads. */
"use strict";

(() => {
  const page = document.querySelector(".live");
  const area = page && page.querySelector(".live-chart");
  if (!area) return;
  const SVG = "http://www.w3.org/2000/svg";
  const LEFT = 58, RIGHT = 12, TOP = 22, BOTTOM = 40;
  const MOST_POINTS = 4000;
  const place = (name) => page.querySelector(`[data-live="${name}"]`);
  const points = new Map(); // milliseconds on the logger's clock to level
  let clearLevel = Number(area.dataset.clearLevel) || 0;
  let unit = area.dataset.unit;
  const events = JSON.parse(area.dataset.events || "[]");
  let aheadMs = Infinity;
  let lastState = "";

  /* the clock of this device goes along with every tap, so that the bench can place it */
  for (const form of page.querySelectorAll("form.taps")) {
    const tap = () => crypto.getRandomValues(new Uint32Array(4)).join("-");
    form.elements.tap.value = tap();
    form.addEventListener("submit", () => {
      form.elements.sent_at.value = new Date().toISOString();
    });
  }

  const words = (name, text) => {
    const at = place(name);
    if (at && at.textContent !== text) at.textContent = text;
  };

  function showState(state) {
    const standing = state.events.filter((event) => !event.undone_at).map((event) => event.id);
    const signature = `${state.status} [${standing.join(", ")}] ${state.file_requested ? "True" : "False"}`;
    if (signature !== page.dataset.signature) {
      location.reload();
      return;
    }
    words("summary", state.summary);
    const latest = JSON.stringify(state.advice);
    if (latest !== lastState) {
      lastState = latest;
      place("advice").replaceChildren(
        ...state.advice.map((each) => {
          const item = document.createElement("li");
          item.className = "note";
          item.textContent = each.message;
          return item;
        }),
      );
    }
    if (state.clear_level) clearLevel = state.clear_level;
    /* an answer can only arrive late, so the smallest difference is the best */
    aheadMs = Math.min(aheadMs, Date.now() - Date.parse(state.at));
    const logger = state.logger_ahead_s === null ? null : aheadMs - 1000 * state.logger_ahead_s;
    const compared = [apart(aheadMs, "the bench’s clock")];
    if (logger !== null) compared.push(apart(logger, "the logger’s clock"));
    words("device-clock", `This device’s clock ${compared.join(" and ")}; taps are placed accordingly.`);
  }

  function apart(milliseconds, what) {
    const seconds = Math.round(Math.abs(milliseconds) / 1000);
    if (seconds < 2) return `agrees with ${what}`;
    const span = seconds < 120 ? `${seconds} s` : `${Math.round(seconds / 60)} min`;
    return `is ${span} ${milliseconds > 0 ? "ahead of" : "behind"} ${what}`;
  }

  function addReadings(news) {
    if (news.whole) points.clear();
    unit = news.unit;
    words("channel", `${news.label}, ${unit}`);
    news.times_ms.forEach((time, number) => points.set(time, news.levels[number]));
    draw();
  }

  function part(name, attributes, text) {
    const made = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    if (text !== undefined) made.textContent = text;
    return made;
  }

  function draw() {
    const width = area.clientWidth, height = area.clientHeight;
    const all = [...points].filter(([, level]) => level > 0).sort((a, b) => a[0] - b[0]);
    if (all.length < 2 || !width) return;
    const every = Math.ceil(all.length / MOST_POINTS);
    const shown = all.filter((_, number) => number % every === 0 || number === all.length - 1);
    const on = events.filter(([kind]) => kind === "unit on").at(-1);
    const zero = on ? on[1] : all[0][0];
    const begin = all[0][0], end = Math.max(all.at(-1)[0], begin + 60_000);
    const levels = shown.map(([, level]) => level).concat(clearLevel > 0 ? [clearLevel] : []);
    const low = Math.floor(Math.log10(Math.min(...levels))), high = Math.ceil(Math.log10(Math.max(...levels)) + 1e-9);
    const x = (time) => LEFT + ((width - LEFT - RIGHT) * (time - begin)) / (end - begin);
    const y = (level) => height - BOTTOM - ((height - TOP - BOTTOM) * (Math.log10(level) - low)) / Math.max(high - low, 1);
    const svg = part("svg", { width, height, viewBox: `0 0 ${width} ${height}`, "aria-hidden": "true" });
    for (let decade = low; decade <= high; decade += 1) {
      const at = y(10 ** decade);
      svg.append(part("line", { class: "grid", x1: LEFT, x2: width - RIGHT, y1: at, y2: at }));
      svg.append(part("text", { x: LEFT - 6, y: at + 5, "text-anchor": "end" }, String(Number((10 ** decade).toPrecision(1)))));
    }
    svg.append(part("text", { x: LEFT, y: 14 }, unit));
    const minutes = (end - begin) / 60_000;
    const step = [1, 2, 5, 10, 15, 30, 60, 120, 240, 480, 1440].find((each) => minutes / each <= width / 80) || 2880;
    for (let minute = Math.ceil((begin - zero) / 60_000 / step) * step; minute <= (end - zero) / 60_000; minute += step) {
      svg.append(part("text", { x: x(zero + 60_000 * minute), y: height - BOTTOM + 18, "text-anchor": "middle" }, String(minute)));
    }
    svg.append(part("text", { x: width - RIGHT, y: height - 4, "text-anchor": "end" }, on ? "minutes from unit on" : "minutes from the first reading"));
    if (clearLevel > 0) svg.append(part("line", { class: "clear", x1: LEFT, x2: width - RIGHT, y1: y(clearLevel), y2: y(clearLevel) }));
    for (const [, time] of events) {
      if (time < begin || time > end) continue;
      svg.append(part("line", { class: "event", x1: x(time), x2: x(time), y1: TOP, y2: height - BOTTOM }));
    }
    svg.append(part("polyline", { points: shown.map(([time, level]) => `${x(time).toFixed(1)},${y(level).toFixed(1)}`).join(" ") }));
    area.replaceChildren(svg);
    area.setAttribute("aria-label", `Level from ${Math.round(minutes)} minutes, now ${all.at(-1)[1]} ${unit}`);
  }

  /* a replay goes on while its page is open */
  if (page.dataset.demonstration && page.dataset.status === "open") {
    const replay = setInterval(async () => {
      const answer = await fetch(`/live/${page.dataset.run}/replay`, { method: "POST", redirect: "manual" }).catch(() => null);
      if (answer && answer.status >= 400) clearInterval(replay);
    }, 1000);
  }

  window.addEventListener("resize", draw);
  const source = new EventSource(`/api/runs/${page.dataset.run}/stream`);
  source.addEventListener("state", (event) => showState(JSON.parse(event.data)));
  source.addEventListener("readings", (event) => addReadings(JSON.parse(event.data)));
  source.addEventListener("end", () => source.close());
  window.addEventListener("pagehide", () => source.close());
})();
