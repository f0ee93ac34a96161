"""The verdict on one channel as a page shows it: before any number, with links that preview the advised marks."""

from dataclasses import dataclass
from urllib.parse import urlencode

from app.compute.decay.verdict import Verdict
from app.web.forms.typed_form import TypedForm

SHOWN = 2  # reasons and pieces of advice; the notes below have all
STATUS_WORDS = {"usable": "usable", "check": "usable after a check", "unusable": "unusable"}
_MARK_WORDS = {"end": "run end", "fit_start": "fit start"}


@dataclass(frozen=True, slots=True)
class ShownAdvice:
    """A sentence, and the URL of a preview for each mark that it names."""

    words: str
    previews: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class ShownVerdict:
    status: str
    heading: str
    reasons: tuple[str, ...]
    more: int
    advice: tuple[ShownAdvice, ...]


def shown_verdict(verdict: Verdict, label: str, trial_id: int | None = None, marks: TypedForm | None = None,
                  channel: str = "") -> ShownVerdict:  # fmt: skip
    """The verdict on a channel; with a trial and the form of its marks, advice links to their preview."""
    heading = f"{label}: {STATUS_WORDS[verdict.status]}."
    advice = []
    for one in verdict.advice[:SHOWN]:
        previews = []
        if trial_id is not None and marks is not None:
            for mark, at_min in one.marks.items():
                query = {name: texts[0] for name, texts in marks.values.items() if texts and texts[0]}
                query |= {"channel": channel, mark: f"{at_min:.1f}"}
                previews.append((f"Preview {_MARK_WORDS[mark]}", f"/trials/{trial_id}/marks?{urlencode(query)}"))
        advice.append(ShownAdvice(one.words, tuple(previews)))
    return ShownVerdict(
        verdict.status, heading, verdict.reasons[:SHOWN], max(len(verdict.reasons) - SHOWN, 0), tuple(advice)
    )
