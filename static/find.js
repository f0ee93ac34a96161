// The sign "/" goes to the search, as long as nobody is typing; Escape leaves it again.
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

// On a phone the places are one line that scrolls: the place of this page is brought into sight.
{
  const places = document.querySelector(".places");
  const here = places?.querySelector("[aria-current]");
  if (here && places.scrollWidth > places.clientWidth) {
    const box = places.getBoundingClientRect(), link = here.getBoundingClientRect();
    places.scrollLeft += link.left + link.width / 2 - (box.left + box.width / 2);
  }
}

// The name of who measures is remembered in this browser, and filled into empty fields for it.
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
