"""On the real page, as the browser draws it: no text of a chart touches another, data it does not name, or the edge."""

import pytest

TOUCHING = """
() => [...document.querySelectorAll("[data-figure-url]")].flatMap((area) => {
  const edge = area.getBoundingClientRect();
  const shrunk = (element, by) => {
    const { left, right, top, bottom } = element.getBoundingClientRect();
    return { words: element.textContent, left: left + by, right: right - by, top: top + by, bottom: bottom - by };
  };
  const texts = [...area.querySelectorAll(".annotation-text, .xtick text, .ytick text")]
    .filter((text) => text.textContent.trim() && text.getBoundingClientRect().width)
    .map((text) => shrunk(text, 1));
  const found = [];
  const over = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
  texts.forEach((text, place) => {
    const inside = text.left > edge.left - 1 && text.right < edge.right + 1;
    const within = text.top > edge.top - 1 && text.bottom < edge.bottom + 1;
    if (!inside || !within) found.push(`${text.words} crosses the edge`);
    for (const other of texts.slice(place + 1)) {
      if (over(text, other)) found.push(`${text.words} touches ${other.words}`);
    }
  });
  const marks = area.querySelectorAll(".scatterlayer .point, .barlayer .point path, .errorbar path");
  const ink = [...marks].map((mark) => shrunk(mark, 0.5));
  for (const line of area.querySelectorAll(".scatterlayer .js-line, .shapelayer path")) {
    const matrix = line.getScreenCTM(), length = line.getTotalLength();
    for (let along = 0; along <= length; along += 2) {
      const { x, y } = line.getPointAtLength(along).matrixTransform(matrix);
      ink.push({ left: x, right: x, top: y, bottom: y });
    }
  }
  const size = area._fullLayout._size; // a curve is cut at the end of its axes
  const left = edge.left + size.l - 9, right = edge.left + size.l + size.w + 9;
  const top = edge.top + size.t - 9, bottom = edge.top + size.t + size.h + 1;
  const shown = ink.filter((part) => over(part, { left, right, top, bottom }));
  for (const text of texts) {
    const covered = shown.find((part) => over(text, part));
    if (covered) found.push(`${text.words} lies on a line or a point at ${covered.left}, ${covered.top}`);
  }
  if (!texts.length || !ink.length) found.push("nothing was drawn");
  return found;
})
"""


PAGES = ["/curves", "/curves?scale=log", "/room?room_area_m2=30", "/costs", "/listen", "/units/1", "/trials/5"]


@pytest.mark.parametrize("path", [*PAGES, "/ranking/pictures"])
def test_no_text_touches_anything(browse, path: str):
    page = browse(path, width=360)
    found = {}
    for width in (360, 700, 960, 1280):
        if width != 360:
            page.set_viewport_size({"width": width, "height": 900})
            page.reload(wait_until="load")
        assert page.locator("[data-figure-url]").count() > 0
        page.locator("[data-state='waiting']").first.wait_for(state="detached")
        found[width] = page.evaluate(TOUCHING)
    assert not any(found.values()), found


def test_a_chart_is_laid_out_again_for_another_width(browse):
    page = browse("/curves", width=1280)
    area = page.locator("[data-figure-url]").first
    area.locator(".plot-container").first.wait_for(state="attached")
    assert area.locator(".annotation-text", has_text="Empty room").count() == 1
    wide = page.evaluate("document.querySelector('[data-figure-url]').layout.margin.r")
    page.set_viewport_size({"width": 390, "height": 900})
    page.wait_for_timeout(1500)
    narrow = page.evaluate("document.querySelector('[data-figure-url]').layout")
    assert narrow["margin"]["r"] < wide / 2, "the labels moved from the margin to the key"
    assert narrow["width"] <= 390
    assert page.evaluate(TOUCHING) == []
