"""axe-core in the browser: the violations of WCAG 2.2 A and AA on a page, one sentence each."""

import os
from pathlib import Path

import pytest

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
_ASK = """async ([asked, coloursOnly]) => {
  // the line in the margin is a picture behind the page, beside all text; beside any picture axe judges no contrast
  document.body.style.backgroundImage = 'none';
  // nor does it within a drawing, whose elements take most of its time
  if (coloursOnly) document.querySelectorAll('.plot-container').forEach(drawing => drawing.remove());
  // all rules run; what passed is counted, and only a violation's elements are described
  const found = await axe.run(document, {runOnly: asked, resultTypes: ['violations']});
  return {passes: found.passes.length, violations: found.violations.map(one => ({
    id: one.id, help: one.help,
    nodes: one.nodes.slice(0, 4).map(
      node => node.html.slice(0, 160) + ' | ' + (node.failureSummary || '').slice(0, 240)),
    count: one.nodes.length,
  }))};
}"""


def axe_script() -> str:
    """The script of axe-core, whose path the environment tells; without it the test is skipped, in CI it fails."""
    path = os.environ.get("HAZEFALL_AXE", "")
    if path and Path(path).is_file():
        return Path(path).read_text(encoding="utf-8")
    words = "axe-core is not there; set HAZEFALL_AXE to the path of its axe.min.js (npm install axe-core)."
    if os.environ.get("CI"):
        pytest.fail(words)
    pytest.skip(words)


def violations(page, script: str, *, colours_only: bool = False) -> list[str]:
    """Violations on the open page; also makes sure that axe looked at something.

    colours_only : of the contrast alone, for the second colour scheme of a page: nothing else differs there. The page
        has no charts afterwards
    """
    if page.evaluate("typeof axe") == "undefined":
        page.evaluate(script)
    asked = {"type": "rule", "values": ["color-contrast"]} if colours_only else {"type": "tag", "values": TAGS}
    found = page.evaluate(_ASK, [asked, colours_only])
    assert found["passes"] > (0 if colours_only else 5), "axe looked at nothing"
    return [
        f"{one['id']} ({one['count']}): {one['help']}: {node}" for one in found["violations"] for node in one["nodes"]
    ]
