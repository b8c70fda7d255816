"""A point on the map as people write it -> latitude and longitude.

In comes a text such as is copied from a map; out go two numbers [degrees, north and east positive].
"""

from __future__ import annotations

import re

from recommender.errors import BadInput

_NUMBER = re.compile(r"([+-]?\d+(?:\.\d+)?)\s*°?\s*([NSEWnsew]?)")


def point_of(text: str) -> tuple[float, float]:
    """Latitude and longitude of a text with two decimal numbers, latitude first; N, S, E, W may follow them.

    Raises BadInput.

    >>> point_of("51.45, −2.60"), point_of("42.88° S 147.33° E")
    ((51.45, -2.6), (-42.88, 147.33))
    """
    plain = text.replace("−", "-").replace("–", "-").strip()
    found = _NUMBER.findall(plain)
    rest = re.sub(r"[\s,;()°/]+", "", _NUMBER.sub("", plain))
    if len(found) != 2 or rest:
        raise BadInput(
            f"“{text.strip()[:60]}” is not a point on the map",
            remedy="Write latitude and longitude in decimal degrees, such as 51.45, -2.60",
        )
    signed = [
        -abs(float(number)) if side.upper() in "SW" and side else float(number) for number, side in found
    ]
    sides = [side.upper() for _, side in found]
    if sides[0] in ("E", "W") and sides[1] in ("N", "S"):
        signed.reverse()
    lat, lon = signed
    if not (-90 <= lat <= 90 and -180 <= lon <= 360):
        raise BadInput(
            f"{lat:g}, {lon:g} lies beyond the map",
            remedy="Latitude is between -90 and 90 and comes first; longitude is between -180 and 180",
        )
    return lat, lon - 360 if lon > 180 else lon
