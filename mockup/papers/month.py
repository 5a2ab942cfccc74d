"""A schedule on the leaves of a calendar, to hang on the wall."""

from __future__ import annotations

import calendar
import datetime
from collections.abc import Sequence

from .booklet import SMALL, Booklet
from .describe import listed, unbroken_units
from .face import SEMIBOLD, wrap
from .flow import Style
from .page import INK, PALE, QUIET, Box, Item, Line, Text
from .schedule import Schedule

__all__ = ["month_leaves"]

MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December")
WEEK = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
WORK, WAIT = (226, 236, 228), (240, 240, 240)
ENTRY = Style(7.0, leading=1.22)
HEAD, LEAST_ROW, MOST_LINES = 6.0, 14.0, 16


def month_leaves(book: Booklet, found: Sequence[Schedule], rest: frozenset[int]) -> None:
    """One leaf for each month in which something is done or waited for."""
    operations = [(s, o) for s in found for o in s.operations]
    book.text("Green: work. Grey: the film dries or hardens.", SMALL, after=4)
    day, last = min(o.first for _, o in operations).replace(day=1), max(o.last for _, o in operations)
    while day <= last:
        _leaf(book, day.year, day.month, found, rest, (min(o.first for _, o in operations), last))
        day = (day + datetime.timedelta(days=32)).replace(day=1)


def _leaf(book: Booklet, year: int, month: int, found: Sequence[Schedule], rest: frozenset[int],
          span: tuple[datetime.date, datetime.date]) -> None:
    # Weeks before the first day and after the last have nothing to say.
    weeks = [w for w in calendar.Calendar().monthdatescalendar(year, month) if w[-1] >= span[0] and w[0] <= span[1]]
    cell = book.inner / 7
    rows = []
    for week in weeks:
        cells = [_entries(day, found, cell - 2.0) if day.month == month else ([], "") for day in week]
        rows.append((week, cells, max([LEAST_ROW, *(6.2 + len(lines) * ENTRY.step for lines, _ in cells)])))
    book.heading(f"{MONTHS[month - 1]} {year}", keep=10 + HEAD + sum(high for *_, high in rows))
    x0, y = book.column.x, book.column.y
    items: list[Item] = [Text(x0 + k * cell + 1.2, y + 3.4, name, 7, SEMIBOLD, QUIET) for k, name in enumerate(WEEK)]
    y += HEAD
    for week, cells, high in rows:
        items.append(Line(x0, y, x0 + book.inner, y, 0.15, PALE))
        for k, (day, (lines, kind)) in enumerate(zip(week, cells, strict=True)):
            if day.month != month:
                continue
            x = x0 + k * cell
            if kind:
                items.append(Box(x + 0.3, y + 0.3, cell - 0.6, high - 0.6, WORK if kind == "work" else WAIT))
            items.append(Text(x + 1.2, y + 3.6, str(day.day), 7.5, SEMIBOLD, QUIET if day.weekday() in rest else INK))
            items += [Text(x + 1.2, y + 6.8 + n * ENTRY.step, line, ENTRY.size, ENTRY.weight, INK if kind == "work" else QUIET)
                      for n, line in enumerate(lines)]
        y += high
    items.append(Line(x0, y, x0 + book.inner, y, 0.15, PALE))
    book.put(items, y - book.column.y + 6)


def _entries(day: datetime.date, found: Sequence[Schedule], width: float) -> tuple[list[str], str]:
    """The lines of one day, and whether it is of "work", of "wait" or "" of neither."""
    lines: list[str] = []
    kind = ""
    several = len(found) > 1
    told: dict[str, list[str]] = {}
    for s in found:
        for o in s.operations:
            if o.first <= day <= o.last and (o.kind == "work" or day == o.first):
                told.setdefault(o.title, []).extend(t for t in s.titles if t not in told.get(o.title, []))
            if o.first <= day <= o.last and kind != "work":
                kind = o.kind
    for title, parts in told.items():
        title = unbroken_units(title)
        lines += wrap(f"{listed(parts)}: {title[:1].lower()}{title[1:]}" if several else title, ENTRY.weight, ENTRY.size, width)
    if len(lines) > MOST_LINES:
        lines = [*lines[:MOST_LINES - 1], "and more"]
    return lines, kind
