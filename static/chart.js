/* Draws each [data-figure-url] with the drawing library of this machine. Without script the table beside it stays. */
"use strict";

(() => {
  const NARROW = 560;
  const LETTER = 7; // about as wide as a letter of a note, in pixels
  const areas = [...document.querySelectorAll("[data-figure-url]")];
  const dark = window.matchMedia("(prefers-color-scheme: dark)");

  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

  /* The figure names no colours of the page; light or dark, and narrow or wide, are filled in here. */
  function dressed(figure, width, height) {
    const data = dark.matches ? lightened(figure) : structuredClone(figure.data);
    const layout = structuredClone(figure.layout);
    const ink = colour("--ink"), faded = colour("--faded-ink"), hairline = colour("--hairline"), rule = colour("--rule");
    layout.font = { ...layout.font, color: ink, family: getComputedStyle(document.body).fontFamily };
    layout.hoverlabel = { bgcolor: colour("--ink"), bordercolor: colour("--ink"), font: { color: colour("--paper"), size: 14 } };
    for (const axis of ["xaxis", "yaxis"]) {
      Object.assign(layout[axis], { gridcolor: hairline, linecolor: rule, tickcolor: rule });
    }
    for (const shape of layout.shapes) if (shape.name === "reference") shape.line.color = rule;
    for (const note of layout.annotations) {
      if (note.showarrow && !figure.meta.palette.includes(note.arrowcolor)) note.arrowcolor = ink;
      note.font.color = note.name === "end label" ? ink : faded;
      // narrow, a ground would cover points; the words of a level keep theirs, since curves end at it
      note.bgcolor = width < NARROW && note.name !== "level" ? "rgba(0,0,0,0)" : `${colour("--paper")}c0`;
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
    if (width < NARROW) narrowed(figure, data, layout, width, height);
    keepInside(layout, width);
    return { data, layout };
  }

  /* Words to the right of an upright line go to its left where they would be cut off by the edge of the drawing. */
  function keepInside(layout, width) {
    const [low, high] = layout.xaxis.range ?? [];
    if (low === undefined) return;
    const room = width - layout.margin.l - layout.margin.r;
    for (const note of layout.annotations) {
      if (note.name === "end label" || note.xref === "paper" || note.xanchor !== "left" || !(note.xshift > 0)) continue;
      const begins = (room * (note.x - low)) / (high - low) + note.xshift;
      if (begins + LETTER * note.text.length > room + layout.margin.r) Object.assign(note, { xanchor: "right", xshift: -note.xshift });
    }
  }

  /* On a dark ground the curves' colours are mixed with a third of white, so that thin lines and points are seen. */
  function lightened(figure) {
    let text = JSON.stringify(figure.data);
    for (const hex of figure.meta.palette ?? []) {
      const parts = [1, 3, 5].map((start) => parseInt(hex.slice(start, start + 2), 16));
      const light = parts.map((part) => Math.round(part + (255 - part) / 3));
      text = text.replaceAll(hex, `rgb(${light})`).replaceAll(`rgba(${parts},`, `rgba(${light},`);
    }
    return JSON.parse(text);
  }

  /* Too narrow for names at the ends of the curves: they go into a legend below. */
  function narrowed(figure, data, layout, width, height) {
    const labelled = new Set(figure.meta.labelled_traces);
    if (labelled.size) {
      layout.annotations = layout.annotations.filter((note) => note.name !== "end label");
      let number = 0;
      data.forEach((trace, index) => {
        trace.showlegend = labelled.has(index) || trace.showlegend === true;
        if (!labelled.has(index)) return;
        trace.name = trace.name.replace(/, fit$|, reading$/, "");
        if (trace.mode === "markers") numbered(trace, ++number);
      });
      layout.showlegend = true;
      layout.margin.b = 76 + 20 * labelled.size;
      const plotted = height - layout.margin.t - layout.margin.b;
      layout.legend = { ...layout.legend, y: -64 / plotted, yanchor: "top", orientation: "v", font: { size: 13 } };
    }
    layout.margin.r = 14;
    layout.margin.l = Math.min(layout.margin.l, 58);
    layout.font.size = 13;
    if (layout.yaxis.type === "category") {
      layout.yaxis.tickmode = "array";
      layout.yaxis.tickvals = layout.yaxis.categoryarray.map((_, place) => place);
      layout.yaxis.ticktext = layout.yaxis.categoryarray.map((name) => inLines(name, 19));
      layout.yaxis.tickfont = { size: 12 };
      layout.yaxis.automargin = false;
      layout.margin.l = 128;
      layout.legend = { ...layout.legend, x: -0.5 };
    }
    const words = layout.xaxis.title.text;
    layout.xaxis.title.text = inLines(words, Math.floor((width - layout.margin.l - layout.margin.r) / 8.5));
    layout.margin.b += 20 * (layout.xaxis.title.text.split("<br>").length - 1);
  }

  /* Points that look alike are told apart by a number at the point and before the name. */
  function numbered(trace, number) {
    trace.mode = "markers+text";
    trace.hovertext = trace.text;
    trace.hovertemplate = trace.hovertemplate.replace("%{text}", "%{hovertext}");
    trace.text = trace.x.map(() => String(number));
    trace.textposition = "middle left";
    trace.name = `${number}  ${trace.name}`;
  }

  /* Words in at most three lines of so many letters, alike in length where that fits; what is longer is cut. */
  function inLines(words, letters) {
    const needed = Math.ceil(words.length / letters);
    const alike = filled(words, Math.min(letters, Math.ceil(words.length / needed) + 3));
    const lines = alike.every((line) => line.length <= letters) ? alike : filled(words, letters);
    return lines.map((line) => (line.length > letters + 2 ? line.slice(0, letters) + "…" : line)).join("<br>");
  }

  function filled(words, letters) {
    const lines = [""];
    for (const word of words.split(" ")) {
      const longer = lines.at(-1) ? `${lines.at(-1)} ${word}` : word;
      if (longer.length <= letters || !lines.at(-1) || lines.length === 3) lines[lines.length - 1] = longer;
      else lines.push(word);
    }
    return lines;
  }

  async function load(area) {
    area.dataset.state = "waiting";
    try {
      const answer = await fetch(area.dataset.figureUrl, { headers: { Accept: "application/json" } });
      if (!answer.ok) throw new Error(`the server returned ${answer.status}`);
      const figure = await answer.json();
      area.textContent = "";
      suggest(area, figure.meta.alt_text);
      draw(area, figure);
      window.addEventListener("resize", () => draw(area, figure));
      dark.addEventListener("change", () => draw(area, figure));
    } catch (problem) {
      area.dataset.state = "failed";
      area.textContent = `The chart could not be drawn (${problem.message}). The table below shows the same data.`;
    }
  }

  /* The finding in words, for whoever takes the picture into an article. */
  function suggest(area, words) {
    const place = area.closest("figure")?.querySelector("[data-alt-text]");
    if (!place) return;
    place.textContent = words;
    place.parentElement.hidden = false;
  }

  function draw(area, figure) {
    delete area.dataset.state;
    const { data, layout } = dressed(figure, area.clientWidth, area.clientHeight);
    layout.width = area.clientWidth;
    layout.height = area.clientHeight;
    window.Plotly.react(area, data, layout, { displayModeBar: false, doubleClick: "reset", staticPlot: false });
    // a picture holds nothing that can be reached; the handles of marks can
    area.setAttribute("role", area.dataset.marksForm ? "group" : "img");
    area.setAttribute("aria-label", figure.meta.alt_text);
    area.dataset.state = "drawn";
  }

  areas.forEach(load);
})();
