"""What a wiring description can be refused for."""

from __future__ import annotations

from analysis._errors import AnalysisError


class WiringError(AnalysisError):
    """Something in the wiring that cannot be solved; `element` names the part to put right."""

    def __init__(self, element: str, message: str) -> None:
        super().__init__(message)
        self.element = element
