"""Examples that both documents show: made up, and small; what they name is in the first demo card."""

from __future__ import annotations

from typing import Any

JOB: dict[str, Any] = {
    "format": 1,
    "title": "Cards for a reading room",
    "quantities": [250],
    "client": {"name": "Isaura Penhale", "email": "isaura@gull-street.example"},
    "items": [
        {
            "name": "Card",
            "stock": "cotton-600",
            "size": "127 x 178 mm",
            "front": {
                "impression": "deep",
                "colours": [
                    {
                        "ink": "samphire-green",
                        "form": {
                            "kind": "plate",
                            "supplier": "estuary",
                            "size": "97 x 140 mm",
                            "share_inked": "14 %",
                            "artwork": "to be made ready",
                        },
                    }
                ],
            },
        }
    ],
}
