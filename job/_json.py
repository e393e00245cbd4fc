"""What JSON cannot say."""

from __future__ import annotations

import math


def number(value: float | None) -> float | None:
    """JSON knows no NaN and no infinity: what is not known is null."""
    return value if value is not None and math.isfinite(value) else None
