"""Plain data as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from typing import Any

__all__ = ["csv_bytes"]


def csv_bytes(rows: Sequence[Mapping[str, Any]]) -> bytes:
    """Rows as CSV in UTF-8 (RFC 4180), a head of the keys first; None and tables within rows become text or nothing."""
    out = io.StringIO()
    keys = list(dict.fromkeys(k for row in rows for k in row))
    writer = csv.DictWriter(out, keys, lineterminator="\r\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({k: "; ".join(f"{a} {b}" for a, b in v.items()) if isinstance(v, Mapping) else v for k, v in row.items()})
    return out.getvalue().encode("utf-8")
