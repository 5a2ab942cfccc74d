"""Values typed on the command line: sizes, points, colours, shares."""

from __future__ import annotations

import re

import click

__all__ = ["COLOUR", "NUMBERS", "POINT", "SIZE", "SPOT"]


class _Numbers(click.ParamType):
    """So many numbers between marks; ``form`` shows how, for the help page and the error."""

    def __init__(self, form: str, example: str, count: int | None, marks: str = ",") -> None:
        self.name, self.example, self.count, self.marks = form, example, count, marks

    def convert(self, value, param, ctx):
        if isinstance(value, tuple):
            return value
        text = value.strip()
        if text.startswith("--") and param is not None and param.nargs > 1:  # a point too few took the next option's name
            self.fail(f"{param.nargs} points are needed, each {self.name}, as {self.example}.", param, ctx)
        pieces = re.split(rf"\s*[{self.marks}]\s*", text, flags=re.IGNORECASE) if text else []
        try:
            numbers = tuple(float(p) for p in pieces)
        except ValueError:
            numbers = ()
        if not numbers or (self.count is not None and len(numbers) != self.count) or any(abs(n) > 1e6 or n != n for n in numbers):
            self.fail(f'"{value[:60]}" is not {self.name}, as {self.example}.', param, ctx)
        return numbers


SIZE = _Numbers("WIDTHxHEIGHT in mm", "600x200", 2, "x×")
POINT = _Numbers("x,y in pixels of the photo", "812,440", 2)
SPOT = _Numbers("x,y,radius in mm on the board", "120,45,10", 3)
COLOUR = _Numbers("a colour as L,a,b", "52,24,38", 3)
NUMBERS = _Numbers("numbers with commas between", "0.25,0.5,1", None)
