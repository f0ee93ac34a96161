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
