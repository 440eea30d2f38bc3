"""Times of several zones in the order of the moments they stand for; the standard library is asked what that is."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

from hypothesis import given
from hypothesis import strategies as st

from fieldapp.records.moments import moment

ZONES = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
TIMES = st.datetimes(datetime(1, 1, 3), datetime(9999, 12, 29), timezones=ZONES)


@given(TIMES, TIMES)
def test_what_was_earlier_comes_first_whatever_zones_they_were_written_in(one: datetime, other: datetime) -> None:
    assert (moment(one.isoformat()) < moment(other.isoformat())) == (one.astimezone(UTC) < other.astimezone(UTC))


def test_one_moment_is_one_text_however_finely_and_where_it_was_written() -> None:
    assert moment("2026-06-01T10:00:00+02:00") == moment("2026-06-01T08:00:00.000Z") == moment("2026-06-01T08:00:00")


def test_what_is_no_time_or_no_moment_is_sorted_as_it_stands() -> None:
    for odd in ("", "yesterday", "0001-01-01T00:00:00+05:00", "9999-12-31T23:59:59-05:00"):
        assert moment(odd) == odd
