/* Draws each [data-figure-url] with the charting library. Without script the table beside it remains. */
"use strict";

(() => {
  const areas = [...document.querySelectorAll("[data-figure-url]")];
  const dark = window.matchMedia("(prefers-color-scheme: dark)");

  /* The library takes longer to start than the page to be read, so it starts once the page has been painted. */
  const source = document.currentScript.dataset.library;
  const library = new Promise((ready, failed) => {
    const start = () => {
      const script = document.createElement("script");
      script.src = source;
      script.onload = ready;
      script.onerror = () => failed(new Error("the drawing library did not arrive"));
      document.head.append(script);
    };
    if (document.hidden) start();
    else requestAnimationFrame(() => setTimeout(start));
  });

  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

  /* The server places everything for the width of the area; the colours of the page are filled in here. */
  function dressed(figure) {
    const data = dark.matches ? lightened(figure, figure.data) : structuredClone(figure.data);
    const layout = dark.matches ? lightened(figure, figure.layout) : structuredClone(figure.layout);
    const ink = colour("--ink"), faded = colour("--faded-ink"), hairline = colour("--hairline"), rule = colour("--rule");
    layout.font = { ...layout.font, color: ink, family: getComputedStyle(document.body).fontFamily };
    layout.hoverlabel = { bgcolor: colour("--ink"), bordercolor: colour("--ink"), font: { color: colour("--paper"), size: 14 } };
    for (const axis of ["xaxis", "yaxis"]) {
      Object.assign(layout[axis], { gridcolor: hairline, linecolor: rule, tickcolor: rule });
    }
    for (const shape of layout.shapes) {
      if (shape.name === "reference") shape.line.color = rule;
      if (shape.name === "key ink") Object.assign(shape, shape.fillcolor ? { fillcolor: ink } : { line: { ...shape.line, color: ink } });
    }
    for (const note of layout.annotations) {
      if (note.showarrow && note.arrowcolor === figure.meta.ink) note.arrowcolor = ink;
      note.font.color = note.name === "level" || note.name === "mark" ? faded : ink;
    }
    for (const index of figure.meta.ink_traces) {
      const trace = data[index];
      if (trace.line) trace.line.color = ink;
      if (trace.fill) trace.fillcolor = hairline + "66";
      if (trace.marker) {
        trace.marker.color = ink;
        if (trace.marker.line) trace.marker.line.color = ink;
      }
      for (const bars of ["error_x", "error_y"]) if (trace[bars]) trace[bars].color = faded;
    }
    return { data, layout };
  }

  /* On a dark background the curves' colours are mixed with a third of white, so that thin lines and points are seen. */
  function lightened(figure, part) {
    let text = JSON.stringify(part);
    for (const hex of figure.meta.palette ?? []) {
      const parts = [1, 3, 5].map((start) => parseInt(hex.slice(start, start + 2), 16));
      const light = parts.map((part) => Math.round(part + (255 - part) / 3));
      text = text.replaceAll(hex, `rgb(${light})`).replaceAll(`rgba(${parts},`, `rgba(${light},`);
    }
    return JSON.parse(text);
  }

  const sized = (area) => {
    const url = new URL(area.dataset.figureUrl, document.baseURI);
    url.searchParams.set("width_px", area.clientWidth);
    url.searchParams.set("height_px", area.dataset.height);
    return url;
  };

  async function asked(area) {
    const width = area.clientWidth;
    const answer = await fetch(sized(area), { headers: { Accept: "application/json" } });
    if (!answer.ok) throw new Error(`the server returned ${answer.status}`);
    area.dataset.width = width;
    return answer.json();
  }

  async function load(area) {
    area.dataset.state = "waiting";
    area.dataset.height = area.clientHeight;
    try {
      let [figure] = await Promise.all([asked(area), library]);
      area.textContent = "";
      suggest(area, figure.meta.alt_text);
      draw(area, figure);
      let pause = 0;
      window.addEventListener("resize", () => {
        clearTimeout(pause);
        pause = setTimeout(async () => {
          if (String(area.clientWidth) === area.dataset.width) return;
          area.style.height = "";
          area.dataset.height = area.clientHeight;
          figure = await asked(area);
          draw(area, figure);
        }, 150);
      });
      dark.addEventListener("change", () => draw(area, figure));
      area.addEventListener("figure-changed", async () => {
        figure = await asked(area);
        draw(area, figure);
      });
    } catch (problem) {
      area.dataset.state = "failed";
      area.textContent = `The chart could not be drawn (${problem.message}). The table below shows the same data.`;
    }
  }

  /* The finding in words, for whoever uses the picture in an article. */
  function suggest(area, words) {
    const place = area.closest("figure")?.querySelector("[data-alt-text]");
    if (!place) return;
    place.textContent = words;
    place.parentElement.hidden = false;
  }

  function draw(area, figure) {
    delete area.dataset.state;
    const { data, layout } = dressed(figure);
    area.style.height = `${layout.height}px`; // higher than reserved only where a long key needs it
    window.Plotly.react(area, data, layout, { displayModeBar: false, doubleClick: "reset", staticPlot: false });
    // a picture holds nothing that can be reached; the handles of marks can
    area.setAttribute("role", area.dataset.marksForm ? "group" : "img");
    area.setAttribute("aria-label", figure.meta.alt_text);
    area.dataset.state = "drawn";
  }

  areas.forEach(load);
})();
