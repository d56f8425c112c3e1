"""Moments as the store counts them: microseconds since 1970, UTC, and the zone they were in."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_DAY_S = 86_400
#: The first and last days that can be told; a day within, so that any zone can be told too.
_FIRST, _LAST = (
    datetime.min.replace(tzinfo=UTC) + timedelta(days=1),
    datetime.max.replace(tzinfo=UTC) - timedelta(days=1),
)


def microseconds(moment: datetime) -> int:
    """Since 1970, UTC."""
    return (moment - _EPOCH) // timedelta(microseconds=1)


def moment_of(since_us: int, zone_s: int) -> datetime:
    """The moment in its zone. In a damaged store either may be beyond any calendar: the nearest
    day that can be told is given then, in UTC, and the take stays readable."""
    nearest_us = min(max(since_us, microseconds(_FIRST)), microseconds(_LAST))
    zone = timezone(timedelta(seconds=zone_s)) if abs(zone_s) < _DAY_S else UTC
    return (_EPOCH + timedelta(microseconds=nearest_us)).astimezone(zone)
