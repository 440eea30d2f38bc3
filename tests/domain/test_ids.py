"""Two tablets that have not met make the same record for the same context."""

from __future__ import annotations

import uuid

from fieldapp.domain.ids import context_id, context_number, hold_id, site_id

SITE = site_id("HLG26")


def test_the_same_number_gives_the_same_record_however_it_was_typed():
    wide = "\uff11\uff10\uff14\uff12\uff21"  # full-width digits and letter, as some keyboards type them
    assert context_id(SITE, "1042a") == context_id(SITE, " 10 42A ") == context_id(SITE, wide)


def test_other_numbers_and_other_sites_give_other_records():
    assert len({context_id(SITE, "1042"), context_id(SITE, "1043"), context_id(site_id("XYZ26"), "1042")}) == 3


def test_a_docket_has_one_hold_whoever_raises_it():
    docket = str(uuid.UUID(int=7))
    assert hold_id(docket) == hold_id(docket) != docket


def test_a_number_is_compared_without_spaces_and_case():
    assert context_number(" 12 b") == "12B"
