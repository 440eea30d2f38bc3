"""The lab session: what typed words do, what callipers and a balance type, and how fast it goes by arithmetic."""

from __future__ import annotations

import pytest

from fieldapp.domain import human
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.fields import measures
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.presenters.lab import Lab, sentence, take
from tests.ui.conftest import Tablet, save_as_other

M, KEY = 1.35, 0.28
"""Seconds of a decision and of a key of a practised typist (keystroke-level model; written down from memory)."""


def begun(desk: Desk) -> Form:
    return Form.new(desk, desk.context or "", desk.bag, depth="lab")


def test_a_line_of_words_is_a_whole_fragment(desk: Desk) -> None:
    form = begun(desk)
    told = take(form, 'hum l cattle +d -* d:f Bd80.5 w120 x2 ?n "gnawed')
    assert told.wrong == []
    answers = form.answers
    assert (answers["material"], answers["element"], answers["side"], answers["taxon"]) == (
        "bone", "humerus", "left", "cattle",
    )  # fmt: skip
    assert answers["portion.trochlea"] == answers["portion.distal_metaphysis"] == "most"
    assert answers["portion.head"] == "absent"
    assert answers["fusion.distal"] == "fused"
    assert [one["mm"] for _, one in measures.taken(form).values()] == [80.5]
    assert (answers["weight_g"], answers["count"], answers["human"], answers["note"]) == (
        120.0, 2, human.NO_SIGN, "gnawed",
    )  # fmt: skip
    record = desk.record(form.save().docket)
    assert record is not None
    assert record.value("reading")["stage"] == "analysis"


def test_what_is_wrong_is_said_and_the_rest_is_taken(desk: Desk) -> None:
    form = begun(desk)
    told = take(form, "meta l xyzzy =")
    assert "metacarpal" in sentence(told.wrong[0])
    assert [sentence(one) for one in told.wrong[1:]] == [
        "xyzzy is no word known here.", "=: there is no docket before this one.",
    ]  # fmt: skip
    assert "element" not in form.answers
    assert form.answers["side"] == "left"


def test_a_code_waits_for_the_callipers_and_w_for_the_balance(desk: Desk) -> None:
    form, lab = begun(desk), Lab(desk)
    for line in ("humerus cattle Bd", "80.5", "w", "120.4"):
        lab.type(line)
        assert lab.take(form)
    assert [one["mm"] for _, one in measures.taken(form).values()] == [80.5]
    assert form.answers["weight_g"] == 120.4


def test_the_site_s_own_code_goes_before_everything(desk: Desk) -> None:
    save_as_other(desk, "site", desk.site, {"short/l": {"slot": "taxon", "key": "sheep"}}, {})
    form = begun(desk)
    # Only the cabin writes a site's record: what another tablet says of it is kept aside or taken by its rules.
    take(form, "tibia l")
    assert form.answers["taxon"] == "sheep"
    assert "side" not in form.answers


def test_an_empty_line_means_that_the_docket_is_done(desk: Desk) -> None:
    form, lab = begun(desk), Lab(desk)
    assert not lab.take(form)
    lab.type("tibia")
    lab.rub()
    assert lab.line == "tibi"
    assert lab.take(form)


def test_words_offered_follow_what_was_typed_before_them(desk: Desk) -> None:
    form, lab = begun(desk), Lab(desk)
    lab.type("hum l she")
    assert "sheep" in lab.offers(form)
    assert "shell" not in lab.offers(form)


def test_a_stop_typed_in_the_lab_stops(desk: Desk) -> None:
    form = begun(desk)
    take(form, "femur ?s")
    assert form.state.stop


def test_nothing_typed_behind_a_stop_lowers_it(desk: Desk) -> None:
    form = begun(desk)
    take(form, "femur ?s ?n")
    assert form.state.stop
    assert form.answers["human"] == human.STOP


def test_the_same_bone_again_is_one_sign(desk: Desk) -> None:
    form = begun(desk)
    take(form, "humerus l cattle")
    form.save()
    form = begun(desk)
    assert take(form, "= r +d").wrong == []
    assert [form.answers[one] for one in ("material", "element", "taxon", "side")] == [
        "bone", "humerus", "cattle", "right",
    ]  # fmt: skip


@pytest.mark.ui
def test_a_fragment_is_typed_and_saved_by_keyboard_alone(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("go.more", "go.lab")
    keys = "hum l cattle +d d:f"
    tablet.hand.type(keys)
    tablet.hand.key("enter")
    tablet.hand.key("enter")
    record = tablet.app.notebook.records("docket")[-1]
    assert record.value("reading")["element"] == "humerus"
    assert tablet.screen == "lab"
    # By arithmetic: one look that knows what it is, and keys.
    assert M + (len(keys) + 2) * KEY <= 8


def test_it_goes_on_in_the_full_form(desk: Desk) -> None:
    form = begun(desk)
    take(form, "tibia")
    form.deepen()
    assert form.state.depth == "full"
    assert form.answers["element"] == "tibia"
