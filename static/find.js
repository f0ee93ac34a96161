// The key "/" moves to the search unless a field has the focus; Escape leaves it again.
"use strict";

document.addEventListener("keydown", (event) => {
  const search = document.getElementById("find");
  if (!search) return;
  if (event.key === "Escape" && document.activeElement === search) {
    search.blur();
    return;
  }
  if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey) return;
  const here = event.target instanceof Element ? event.target.closest("input, textarea, select, [contenteditable]") : null;
  if (here) return;
  event.preventDefault();
  search.focus();
  search.select();
});

// On a phone the navigation is one line that scrolls: the entry of this page is scrolled into view.
{
  const places = document.querySelector(".places");
  const here = places?.querySelector("[aria-current]");
  if (here && places.scrollWidth > places.clientWidth) {
    const box = places.getBoundingClientRect(), link = here.getBoundingClientRect();
    places.scrollLeft += link.left + link.width / 2 - (box.left + box.width / 2);
  }
}

// The name of the tester is remembered in this browser, and filled into empty fields for it.
{
  const NAMES = "[name=tested_by], [name=measured_by], [name=who], [name$=_measured_by], [name=recorded_by]";
  const KEPT = "tester's name";
  window.rememberNames = (part) => {
    const kept = localStorage.getItem(KEPT);
    if (kept) for (const field of part.querySelectorAll(NAMES)) field.value ||= kept;
  };
  window.rememberNames(document);
  document.addEventListener("submit", (event) => {
    const typed = [...event.target.querySelectorAll(NAMES)].map((field) => field.value.trim()).find(Boolean);
    if (typed) localStorage.setItem(KEPT, typed);
  });
}
