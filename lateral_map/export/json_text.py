"""JSON that people, too, can read and compare: one record a line."""

from __future__ import annotations

import json
from typing import Any


def lay_out(record: dict[str, Any]) -> str:
    """Return ``record`` as JSON text: a line for each key, and for each entry of a list under it.

    Raises ``ValueError`` on NaN and infinities, which JSON does not know.
    """
    lines = []
    for key, value in record.items():
        text = _compact(value)
        if isinstance(value, list) and value:
            rows = ",\n  ".join(_compact(row) for row in value)
            text = f"[\n  {rows}\n]"
        lines.append(f"{_compact(key)}: {text}")
    return "{\n" + ",\n".join(lines) + "\n}\n"


def _compact(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
