"""A change is its text: read back as written, known by its hash, and whatever is no change is said to be none."""

from __future__ import annotations

import hashlib
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp import assets
from fieldapp.records.changes import BODY_LIMIT, UnreadableChange, canonical, read
from tests.records.makers import Pen

json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)


@given(st.dictionaries(st.text(st.characters(exclude_categories=["Cs"]), max_size=8), json_values, max_size=4))
def test_what_is_written_is_read_back(values):
    written = Pen().write(values)
    again = read(written.body, written.id)
    assert again == written
    assert again.set == values
    assert "\n" not in written.body


def test_the_id_is_the_sha256_of_the_text_as_any_other_program_would_compute_it():
    change = Pen().write({"note/1": {"text": "Kürek kemiği, çukur 12 — žebro"}})
    assert change.id == hashlib.sha256(change.body.encode("utf-8")).hexdigest()


def test_each_change_names_the_one_before_it():
    pen = Pen()
    first, second = pen.write({"count": 1}), pen.write({"count": 2})
    assert (first.prev, second.prev, second.n) == ("", first.id, 2)


@given(st.text())
def test_any_text_is_either_a_change_or_said_to_be_none(text):
    with pytest.raises(UnreadableChange):
        read(text)


@given(json_values)
def test_any_json_is_either_a_change_or_said_to_be_none(value):
    with pytest.raises(UnreadableChange):
        read(json.dumps(value))


@pytest.mark.parametrize(
    "field", ["notebook", "n", "prev", "site", "record", "kind", "set", "over", "by", "at", "format"]
)
def test_a_change_without_one_of_its_fields_is_none_and_says_which(field):
    body = json.loads(Pen().write({"count": 1}).body)
    del body[field]
    with pytest.raises(UnreadableChange, match=f"'{field}'"):
        read(canonical(body))


@pytest.mark.parametrize(
    "body",
    [
        '{"a":' * 100_000,
        "[" * 100_000,
        '{"n":' + "9" * 5_000 + "}",
        '{"n":NaN}',
        "x" * (BODY_LIMIT + 1),
        "\ud800",
    ],
    ids=["deep object", "deep list", "huge number", "NaN", "too long", "half a pair"],
)
def test_hostile_text_is_said_to_be_no_change(body):
    with pytest.raises(UnreadableChange):
        read(body)


def test_a_text_that_was_altered_does_not_match_its_hash():
    change = Pen().write({"human/1": {"answer": "stop"}})
    with pytest.raises(UnreadableChange, match="damaged or altered"):
        read(change.body.replace("stop", "none"), change.id)


def test_true_is_no_number_for_n():
    body = json.loads(Pen().write({"count": 1}).body)
    body["n"] = True
    with pytest.raises(UnreadableChange, match="'n'"):
        read(canonical(body))


def test_a_value_that_json_lacks_cannot_be_written():
    with pytest.raises(UnreadableChange):
        Pen().write({"weight_g": float("nan")})


def test_what_could_be_told_of_an_unreadable_change_is_told():
    body = json.loads(Pen().write({"count": 1}).body)
    body["set"] = ["not", "paths"]
    with pytest.raises(UnreadableChange) as caught:
        read(canonical(body))
    assert (caught.value.notebook, caught.value.n) == (body["notebook"], 1)


@pytest.mark.parametrize(
    ("value", "why"),
    [
        ("1e999", "too large"),
        ('{"text":"\\ud83d"}', "half of a character pair"),
        ("[" * 70 + "]" * 70, "nested"),
    ],
    ids=["infinite", "half a pair as an escape", "deep"],
)
def test_what_can_be_read_and_not_be_written_again_is_no_change(value, why):
    body = Pen().write({"count": 1}).body.replace('"count":1', f'"count":{value}')
    with pytest.raises(UnreadableChange, match=why):
        read(body)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda body: "x" * (BODY_LIMIT + 1),
        lambda body: body + " ",
        lambda body: "{not a change",
        lambda body: "[]",
        lambda body: body.replace('"count":1', '"count":' + "[" * 70 + "]" * 70),
        lambda body: body.replace('"n":1', '"n":"1"'),
        lambda body: body.replace('"n":1', '"n":0'),
        lambda body: body.replace('"over":{}', '"over":{"count":1}'),
        lambda body: body.replace('"count":1', '"count":"\\ud83d"'),
        lambda body: "\ud800",
    ],
    ids=["long", "damaged", "not_json", "no_object", "nested", "field", "number", "over", "half_pair", "half_pair raw"],
)
def test_why_it_is_no_change_is_said_by_key_in_every_language(spoil, request):
    whole = Pen().write({"count": 1})
    with pytest.raises(UnreadableChange) as caught:
        read(spoil(whole.body), whole.id if request.node.callspec.id == "damaged" else None)
    assert caught.value.key == f"cabin.aside.{request.node.callspec.id.split()[0]}"
    said = {assets.texts_in(lang)[caught.value.key] for lang in assets.languages()}
    assert len(said) == len(assets.languages())


def test_an_escaped_whole_pair_is_a_character_like_any_other():
    body = Pen().write({"count": 1}).body.replace('"count":1', '"count":"\\ud83e\\uddb4"')
    assert read(body).set == {"count": "\N{BONE}"}
