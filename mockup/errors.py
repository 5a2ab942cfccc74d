"""One family of errors: where, what was found, what to do.

Each outer layer adds its part of the *where*; the command line and the page
each catch one type. Several mistakes travel together in one error, so that a
maker mends a scene in one go.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

__all__ = ["MockupError", "Problem", "listed", "nearest"]


@dataclass(frozen=True, slots=True)
class Problem:
    """One mistake: ``where: found fix`` in one line."""

    found: str
    fix: str = ""
    where: str = ""

    def __str__(self) -> str:
        text = f"{self.found} {self.fix}".strip()
        return f"{self.where}: {text}" if self.where else text


class MockupError(ValueError):
    """Bad input, in words a maker can act on.

    ``MockupError("Strength is 4.", fix="Use 0 to 1.", where="stain.strength")``
    holds one problem; ``MockupError.several(problems)`` holds many.
    """

    def __init__(self, found: str, *, fix: str = "", where: str = "") -> None:
        self.problems: tuple[Problem, ...] = (Problem(found, fix, where),)
        super().__init__(str(self.problems[0]))

    @classmethod
    def several(cls, problems: Iterable[Problem]) -> MockupError:
        """One error from many problems, kept in the order given, each once."""
        unique = tuple(dict.fromkeys(problems))
        if not unique:
            raise ValueError("several() needs at least one problem")
        error = cls(unique[0].found, fix=unique[0].fix, where=unique[0].where)
        error.problems = unique
        error.args = (str(error),)
        return error

    def within(self, where: str, *, joint: str = ".") -> MockupError:
        """The same problems seen from one layer further out."""
        return MockupError.several(
            replace(p, where=f"{where}{joint}{p.where}" if p.where else where) for p in self.problems
        )

    def __str__(self) -> str:
        return "\n".join(str(p) for p in self.problems)


def nearest(name: str, names: Iterable[str]) -> str:
    """A sentence that offers the valid names, the most alike first; '' if there are none.

    Names that cannot be printed in a line are not offered.
    """
    names = sorted(n for n in names if n.isprintable())
    if not names:
        return ""
    close = difflib.get_close_matches(str(name), names, n=1, cutoff=0.5)
    if close:
        return f'Did you mean "{close[0]}"?'
    shown = ", ".join(names[:12])
    return f"Use one of: {shown}{' …' if len(names) > 12 else ''}."


def listed(words: Sequence[str]) -> str:
    """Words joined by commas and a final "and"."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
