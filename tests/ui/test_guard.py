"""Which contacts count as taps."""

from __future__ import annotations

from fieldapp.ui.guard import TouchGuard


class Seconds:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def tap(guard: TouchGuard, contact: str = "a", target: str = "x", at: tuple[float, float] = (10.0, 10.0)) -> bool:
    """Whether one contact on a target is a tap."""
    down = guard.down(contact)
    return guard.up(contact) and down and guard.accepts(target, *at)


def test_a_single_contact_is_a_tap() -> None:
    assert tap(TouchGuard(Seconds()))


def test_a_bounce_on_the_same_target_is_not_a_second_tap() -> None:
    clock = Seconds()
    guard = TouchGuard(clock)
    assert tap(guard)
    clock.now = 0.2
    assert not tap(guard)
    clock.now = 0.3
    assert tap(guard)


def test_a_bounce_on_what_has_come_under_the_finger_is_not_a_tap() -> None:
    clock = Seconds()
    guard = TouchGuard(clock)
    assert tap(guard, target="old")
    clock.now = 0.1
    assert not tap(guard, target="new", at=(12.0, 9.0))


def test_a_quick_tap_elsewhere_counts() -> None:
    clock = Seconds()
    guard = TouchGuard(clock)
    assert tap(guard, target="key.1")
    clock.now = 0.1
    assert tap(guard, target="key.2", at=(28.0, 10.0))


def test_three_contacts_are_a_hand_and_none_of_them_taps() -> None:
    clock = Seconds()
    guard = TouchGuard(clock)
    assert guard.down("a")
    assert guard.down("b")
    assert not guard.down("c")
    assert not guard.up("a")
    assert not guard.up("b")
    assert not guard.up("c")
    clock.now = 1.0
    assert tap(guard)


def test_a_finger_beside_the_last_of_a_hand_is_still_no_tap() -> None:
    guard = TouchGuard(Seconds())
    for contact in "abc":
        guard.down(contact)
    guard.up("a")
    guard.up("b")
    assert not guard.down("d")


def test_two_contacts_are_two_fingers() -> None:
    guard = TouchGuard(Seconds())
    guard.down("palm")
    assert tap(guard, "finger")
