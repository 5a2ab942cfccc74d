"""A schedule as an iCalendar file (RFC 5545): one all-day event for each thing to do or to wait for."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Sequence

from .practice import cautions
from .schedule import Schedule

__all__ = ["ics_bytes"]

DEFER = "The product's safety data sheet and local rules go before this."


def ics_bytes(found: Sequence[Schedule], *, title: str, today: str) -> bytes:
    """The calendar of schedules; the same schedules give the same bytes.

    today  ISO 8601, when it is made.
    """
    stamp = today.replace("-", "") + "T000000Z"
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//mockup//finish schedule//EN", "CALSCALE:GREGORIAN", "METHOD:PUBLISH",
             f"NAME:{_escaped(title)}", f"X-WR-CALNAME:{_escaped(title)}"]  # RFC 7986, and what calendars knew before it
    for schedule in found:
        parts = ", ".join(schedule.titles)
        for number, o in enumerate(schedule.operations, 1):
            # An all-day event ends on the morning after its last day (3.6.1).
            end = o.last + datetime.timedelta(days=1)
            warned = [f"{cautions()[key].title}: {cautions()[key].text}" for key in o.cautions]
            text = "\n".join([o.detail, f"Basis: {o.basis}.", *warned, *([DEFER] if warned else [])])
            name = hashlib.sha256(f"{title}|{parts}|{number}|{o.first}|{o.title}".encode()).hexdigest()[:32]
            lines += ["BEGIN:VEVENT", f"UID:{name}@mockup", f"DTSTAMP:{stamp}", f"DTSTART;VALUE=DATE:{o.first:%Y%m%d}",
                      f"DTEND;VALUE=DATE:{end:%Y%m%d}", f"SUMMARY:{_escaped(f'{parts}: {o.title}')}", f"DESCRIPTION:{_escaped(text)}",
                      f"CATEGORIES:{o.kind.upper()}", "TRANSP:TRANSPARENT" if o.kind == "wait" else "TRANSP:OPAQUE", "END:VEVENT"]
    lines.append("END:VCALENDAR")
    return b"".join(_folded(line) for line in lines)


def _escaped(text: str) -> str:
    """Text as 3.3.11 wants it."""
    return text.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\r", "").replace("\n", "\\n")


def _folded(line: str) -> bytes:
    """Lines of at most 75 octets, never broken inside a character (3.1)."""
    pieces, piece = [], b""
    for character in line:
        more = character.encode("utf-8")
        if len(piece) + len(more) > (75 if not pieces else 74):
            pieces.append(piece)
            piece = b""
        piece += more
    return b"\r\n ".join([*pieces, piece]) + b"\r\n"
