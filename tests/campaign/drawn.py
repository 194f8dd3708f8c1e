"""Examples that Hypothesis draws, twenty to a case; run again alone, a case makes the first one that fails small."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import hypothesis
from campaign.harness import Case
from hypothesis import strategies as st

EXAMPLES = 20


class Broken(Exception):
    """A promise was broken by this example."""


def examples(case: Case, drawn: st.SearchStrategy[Any], attack: Callable[[Any], None], count: int = EXAMPLES) -> None:
    """Call ``attack`` on ``count`` examples, the same ones for the same case; findings gather in the case."""
    phases = [hypothesis.Phase.generate, *([hypothesis.Phase.shrink] if case.loud else [])]
    kept = case.findings

    @hypothesis.seed(case.dice.getrandbits(64))
    @hypothesis.settings(
        max_examples=count,
        database=None,
        deadline=None,
        phases=phases,
        report_multiple_bugs=False,
        suppress_health_check=list(hypothesis.HealthCheck),
        print_blob=False,
    )
    @hypothesis.given(drawn)
    def each(example: Any) -> None:
        case.findings = []
        attack(example)
        found = case.findings
        if case.loud and found:
            raise Broken(found[0].sign)
        kept.extend(found)

    try:
        each()
    except Broken:
        kept.extend(case.findings)  # of the smallest example: it is the last one run
    case.findings = kept
