"""Units at the edge. Inside, everything is SI (degC, m, L, kg, hours); imperial is a view.

Each conversion stands once, here. Factors are exact by definition (international yard and pound, 1959;
US liquid gallon of 231 cubic inches).
"""

from __future__ import annotations

METRES_PER_FOOT = 0.3048
METRES_PER_INCH = 0.0254
LITRES_PER_US_GALLON = 3.785411784
KILOGRAMS_PER_POUND = 0.45359237


def fahrenheit(celsius: float) -> float:
    """degC -> degF.

    >>> fahrenheit(-40.0), fahrenheit(100.0)
    (-40.0, 212.0)
    """
    return celsius * 9.0 / 5.0 + 32.0


def celsius(fahrenheit: float) -> float:
    """degF -> degC.

    >>> celsius(32.0)
    0.0
    """
    return (fahrenheit - 32.0) * 5.0 / 9.0
