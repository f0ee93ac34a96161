/* Handles on the drawing of a trial: a mark is dragged, or moved by the arrow keys, and the page then shows what it
   would change. Nothing is saved here; the form below takes the same numbers by hand. */
"use strict";

(() => {
  const area = document.querySelector(".trial-drawing");
  const form = area && document.getElementById(area.dataset.marksForm);
  if (!form) return;
  const STEP_MIN = 0.1;
  const KNOB_PX = 24;
  let handles = [];

  const axis = () => area._fullLayout && area._fullLayout.xaxis;
  const leftOf = (minutes) => axis()._offset + axis().l2p(minutes);
  const minutesAt = (clientX) => axis().p2l(clientX - area.getBoundingClientRect().left - axis()._offset);
  const within = (minutes) => Math.min(Math.max(minutes, 0), axis().range[1]);
  const shown = (minutes) => String(Math.round(minutes * 100) / 100);

  function place(handle) {
    const minutes = Number(handle.dataset.minutes);
    const size = area._fullLayout._size;
    handle.style.left = `${leftOf(minutes)}px`;
    handle.style.setProperty("--span", `${size.h}px`);
    handle.classList.toggle("to-the-left", minutes > (axis().range[0] + axis().range[1]) / 2);
    handle.hidden = minutes < axis().range[0] || minutes > axis().range[1];
    handle.setAttribute("aria-valuenow", shown(minutes));
    handle.setAttribute("aria-valuetext", `${shown(minutes)} minutes after the first reading`);
  }

  /* Marks at about the same time: the knob of the later one is lifted, so that each can be grasped. */
  function spread() {
    const open = handles.filter((handle) => !handle.hidden).sort((one, other) => one.dataset.minutes - other.dataset.minutes);
    let lift = 0;
    open.forEach((handle, place) => {
      const before = place && leftOf(Number(open[place - 1].dataset.minutes));
      lift = place && leftOf(Number(handle.dataset.minutes)) - before < KNOB_PX ? lift + 1 : 0;
      handle.style.setProperty("--lift", lift);
      handle.style.top = `${area._fullLayout._size.t + area._fullLayout._size.h - KNOB_PX * (lift + 1)}px`;
    });
  }

  function move(handle, minutes) {
    handle.dataset.minutes = within(minutes);
    form.elements[handle.dataset.field].value = shown(within(minutes));
    place(handle);
    spread();
  }

  /* The form of a stored trial leads to a page of its own; that of an upload has a button that shows the effect here. */
  const showEffect = () => {
    const button = form.querySelector("[data-shows-effect]");
    if (button) {
      form.requestSubmit(button);
      return;
    }
    form.action = `${form.getAttribute("action").split("#")[0]}#effect`;
    form.requestSubmit();
  };

  function handleFor(mark) {
    const handle = document.createElement("div");
    handle.className = "mark-handle";
    handle.tabIndex = 0;
    handle.setAttribute("role", "slider");
    handle.setAttribute("aria-label", mark.dataset.words);
    handle.setAttribute("aria-valuemin", "0");
    handle.dataset.field = mark.dataset.field;
    handle.dataset.minutes = mark.value || mark.getAttribute("value");
    const words = document.createElement("span");
    words.textContent = mark.dataset.words;
    handle.append(words);
    let moved = false;
    handle.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      event.stopPropagation();
      handle.focus();
      handle.setPointerCapture(event.pointerId);
      moved = false;
    });
    handle.addEventListener("pointermove", (event) => {
      if (!handle.hasPointerCapture(event.pointerId)) return;
      moved = true;
      move(handle, minutesAt(event.clientX));
    });
    handle.addEventListener("pointerup", () => moved && showEffect());
    handle.addEventListener("keydown", (event) => {
      const steps = { ArrowLeft: -1, ArrowRight: 1, PageDown: -10, PageUp: 10 }[event.key];
      if (steps) {
        event.preventDefault();
        move(handle, Number(handle.dataset.minutes) + steps * STEP_MIN);
      } else if (event.key === "Enter") {
        event.preventDefault();
        showEffect();
      }
    });
    return handle;
  }

  /* chart.js draws into the area, and again when its size changes; the handles follow it. */
  const settle = () => {
    if (area.dataset.state !== "drawn" || !axis()) return;
    if (!handles.length) handles = [...form.querySelectorAll("data.mark")].map(handleFor);
    for (const handle of handles) {
      if (handle.parentNode !== area) area.append(handle);
      handle.setAttribute("aria-valuemax", shown(axis().range[1]));
      place(handle);
    }
    spread();
  };
  form.addEventListener("marks-changed", () => {
    for (const handle of handles) {
      const mark = form.querySelector(`data.mark[data-field="${handle.dataset.field}"]`);
      if (mark) handle.dataset.minutes = mark.getAttribute("value");
    }
    settle();
  });
  new MutationObserver(settle).observe(area, { attributes: true, attributeFilter: ["data-state"] });
  area.addEventListener("plotly_relayout", settle);
  window.addEventListener("resize", () => requestAnimationFrame(settle));
  settle();
})();
