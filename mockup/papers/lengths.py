"""Lengths, areas, volumes and liquids in words, in mm and inches; the maker's own unit first."""

from __future__ import annotations

__all__ = ["BOARD_FOOT", "FLUID_OUNCE", "INCH", "SQ_FT_A_GALLON", "area_words", "board_feet", "length_lines", "length_words", "liquid_words", "size_words",
           "spread_words", "volume_words"]

INCH = 25.4                      # mm, exact (international yard, 1959)
BOARD_FOOT = 144 * INCH**3       # mm³: 12 x 12 x 1 in
FLUID_OUNCE = 29.5735295625      # ml, US, exact
SQ_FT_A_GALLON = 3.785411784 / 0.09290304  # of 1 m² a litre; US gallon and foot, exact
NBSP = "\u00a0"


def _mm(mm: float) -> str:
    return f"{mm:.1f}"


def _inches(mm: float) -> str:
    return f"{mm / INCH:.3f}"


def _first(units: str, metric: str, inch: str) -> str:
    return f"{inch}{NBSP}({metric})" if units == "in" else f"{metric}{NBSP}({inch})"


def length_words(mm: float, units: str = "mm") -> str:
    """ "44.5 mm (1.750 in)", or inches first."""
    return _first(units, f"{_mm(mm)}{NBSP}mm", f"{_inches(mm)}{NBSP}in")


def length_lines(mm: float, units: str = "mm") -> str:
    """The same on two lines, for a narrow column of a table."""
    pair = (f"{_mm(mm)}{NBSP}mm", f"{_inches(mm)}{NBSP}in")
    return "\n".join(pair[::-1] if units == "in" else pair)


def size_words(sizes: tuple[float, ...], units: str = "mm") -> str:
    """Lengths with crosses between them, in one unit a line, the maker's own first."""
    metric = f"{NBSP}×{NBSP}".join(_mm(v) for v in sizes) + f"{NBSP}mm"
    inch = f"{NBSP}×{NBSP}".join(f"{v / INCH:.2f}" for v in sizes) + f"{NBSP}in"
    return f"{inch}\n{metric}" if units == "in" else f"{metric}\n{inch}"


def board_feet(mm3: float) -> float:
    """Board feet of a volume in mm³."""
    return mm3 / BOARD_FOOT


def volume_words(mm3: float, units: str = "mm") -> str:
    """ "0.00803 m³\n3.40 board feet", or the other way round."""
    pair = (f"{mm3 / 1e9:.5f}{NBSP}m³", f"{board_feet(mm3):.2f}{NBSP}board{NBSP}feet")
    return "\n".join(pair[::-1] if units == "in" else pair)


def area_words(mm2: float, units: str = "mm") -> str:
    """ "0.31 m² (3.3 sq ft)", or feet first."""
    return _first(units, f"{mm2 / 1e6:.2f}{NBSP}m²", f"{mm2 / (12 * INCH) ** 2:.1f}{NBSP}sq{NBSP}ft")


def spread_words(spread: float, units: str = "mm") -> str:
    """ "14 m²/l\n570 sq ft/gal", or the other way round."""
    pair = (f"{spread:g}{NBSP}m²/l", f"{round(spread * SQ_FT_A_GALLON / 10) * 10:g}{NBSP}sq{NBSP}ft/gal")
    return "\n".join(pair[::-1] if units == "in" else pair)


def liquid_words(ml: float, units: str = "mm") -> str:
    """ "120 ml (4.1 fl oz)", or ounces first; rounded up to what a cup can measure."""
    import math

    step = 5 if ml < 200 else 10
    metric = f"{math.ceil(ml / step) * step}{NBSP}ml"
    return _first(units, metric, f"{math.ceil(ml / FLUID_OUNCE * 10) / 10:.1f}{NBSP}fl{NBSP}oz")
