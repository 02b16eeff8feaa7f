"""Examples that both documents show: made up, and small."""

from __future__ import annotations

from typing import Any

JOB: dict[str, Any] = {}
