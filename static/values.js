// Shows the values of a published chart beside the pointer, or by the arrow keys. Works from a local copy.
"use strict";
(() => {
  const shown = (value) => (Number.isInteger(value) ? value : Number(value.toPrecision(4))).toLocaleString("en");
  const share = (axis, value) => {
    if (axis.names.length) return (axis.names.indexOf(value) + 0.5) / axis.names.length;
    const on = (number) => (axis.scale === "log" ? Math.log10(Math.max(number, 1e-12)) : number);
    return (on(value) - on(axis.low)) / (on(axis.high) - on(axis.low));
  };
  const words = (axis, value, low, high, bound) => {
    if (typeof value === "string") return value;
    if (axis.scale === "days") return new Date(value * 86400000).toISOString().slice(0, 10);
    const interval = low == null || high == null ? "" : ` (${shown(low)} to ${shown(high)})`;
    return `${bound ? "more than " : ""}${shown(value)}${interval}${axis.unit ? ` ${axis.unit}` : ""}`;
  };

  for (const figure of document.querySelectorAll("figure.chart")) {
    const source = figure.querySelector("script.chart-values");
    const image = figure.querySelector("img");
    if (!source || !image) continue;
    const { x, y, series } = JSON.parse(source.textContent);
    const points = [];
    const ends = {};
    for (const one of series) {
      one.x.forEach((across, place) => {
        const up = one.y[place];
        if (across === null || up === null) return;
        const [low, high] = [one.low[place], one.high[place]];
        const alongX = y.names.length > 0;
        let at = { x: across, y: up };
        if (one.kind === "bar") {
          const key = `${one.stack} ${alongX ? up : across}`;
          ends[key] = (ends[key] ?? 0) + (alongX ? across : up);
          at = alongX ? { x: ends[key], y: up } : { x: across, y: ends[key] };
        }
        const first = words(x, across, alongX ? low : null, alongX ? high : null, alongX && one.bound[place]);
        const second = words(y, up, alongX ? null : low, alongX ? null : high, false);
        points.push({ at, text: alongX ? `${up}, ${one.name}: ${first}` : `${one.name}: ${second} at ${first}` });
      });
    }
    if (!points.length) continue;

    const frame = image.closest("a");
    frame.classList.add("with-values");
    const output = Object.assign(document.createElement("output"), { className: "chart-value", hidden: true });
    const dot = Object.assign(document.createElement("span"), { className: "chart-dot", hidden: true });
    frame.append(dot, output);
    const place = (point) => {
      const narrow = image.currentSrc.includes("-narrow.") || !figure.dataset.wide;
      const [width, left, top, right, bottom] = (narrow ? figure.dataset.narrow : figure.dataset.wide).split(" ").map(Number);
      const scale = image.clientWidth / width;
      const up = y.names.length ? share(y, point.at.y) : 1 - share(y, point.at.y);
      return [(left + share(x, point.at.x) * (right - left)) * scale, (top + up * (bottom - top)) * scale];
    };
    let current = -1;
    const show = (index) => {
      current = index;
      const point = points[index];
      for (const part of [output, dot]) part.hidden = !point;
      if (!point) return;
      const [left, top] = place(point);
      output.textContent = point.text;
      const room = image.clientWidth - output.offsetWidth;
      output.style.left = `${Math.max(0, Math.min(left + 12, room))}px`;
      output.style.top = `${top > 60 ? top - output.offsetHeight - 10 : top + 14}px`;
      dot.style.left = `${left}px`;
      dot.style.top = `${top}px`;
    };
    frame.addEventListener("pointermove", (event) => {
      const box = image.getBoundingClientRect();
      const far = points.map((point) => {
        const [left, top] = place(point);
        return Math.hypot(left - event.clientX + box.left, top - event.clientY + box.top);
      });
      const nearest = far.indexOf(Math.min(...far));
      show(far[nearest] < 60 ? nearest : -1);
    });
    frame.addEventListener("pointerleave", () => show(-1));
    frame.addEventListener("blur", () => show(-1));
    frame.addEventListener("focus", () => show(0));
    frame.addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!step) return;
      event.preventDefault();
      show((current + step + points.length) % points.length);
    });
  }
})();
