"""The earlier outline that lies over the live one, and the single stops that are asked for again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from silhouette.live.looking import Look
from silhouette.live.messages import GhostFit


@dataclass
class Asked:
    """What is asked of the model besides turning on."""

    wanted: list[dict[str, Any]] = field(default_factory=list)

    def see(self, look: Look, seconds: float) -> None: ...

    def fit(self, look: Look) -> GhostFit | None:
        return None

    def just_fits(self) -> bool:
        return False

    def accepts(self) -> bool:
        return True

    def place(self) -> tuple[str, str]:
        return "", ""

    def want(self, stops: Sequence[dict[str, Any]]) -> None: ...

    def found(self, instead: str, after: str) -> None: ...

    def hear(self, masks: Sequence[tuple[str, str]]) -> None: ...

    def lay(self, name: str | None, pose: str = "") -> bool:
        return True

    def news(self) -> tuple[str, ...] | None:
        return None
