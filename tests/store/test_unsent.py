"""What was not answered for is found from the end, whatever lies between and however it was saved."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldapp.store import unsent as finding
from fieldapp.store.errors import JournalDamaged
from fieldapp.store.notebook import Edit
from tests.records.makers import ANA, Pen
from tests.store.makers import form, tablet

STEPS = st.lists(st.sampled_from(["one", "three", "pulled", "draft", "life", "answered"]), min_size=1, max_size=25)


@settings(deadline=None, max_examples=60)
@given(STEPS, st.integers(0, 4), st.integers(0, 30))
def test_everything_after_the_last_that_was_answered_for_is_unsent(tmp_path_factory, steps, every, sent):
    """Single saves and several as one, with what others wrote, drafts and new lives between."""
    pen, made = Pen("another"), []
    with pytest.MonkeyPatch.context() as patched, tablet(tmp_path_factory.mktemp("unsent")) as notebook:
        patched.setattr(finding, "LOOK_EVERY", every)
        answered = 0
        for number, step in enumerate(steps):
            if step == "one":
                made.append(notebook.save("docket", f"r{number}", form(number), {}, ANA))
            elif step == "three":
                made += notebook.save_many([Edit("docket", f"r{number}-{n}", form(n)) for n in range(3)], ANA)
            elif step == "pulled":
                notebook.pull([pen.write({"count": number})])
            elif step == "draft":
                notebook.draft("form", {"n": number})
            elif step == "life":
                notebook.new_life("C")
            elif made:
                # As an exchange notes it: the last of each life, in their order.
                answered = max(answered, min(sent, len(made)))
                for last in {one.notebook: one for one in made[:answered]}.values():
                    notebook.mark_pushed("cabin", last)
        wanted = [(one.id, one.body) for one in made[answered:]]
        found = notebook.unsent_bodies("cabin")
        assert [tuple(one) for one in found] == wanted
        assert [tuple(one) for one in found[1:3]] == wanted[1:3]
        assert [one.id for one in notebook.unsent("cabin")] == [one for one, _ in wanted]


@pytest.mark.parametrize("at", range(5))
def test_a_line_that_was_damaged_meanwhile_is_told_and_not_passed_over(tmp_path, at):
    with tablet(tmp_path) as notebook:
        made = [notebook.save("docket", f"r{n}", form(n), {}, ANA) for n in range(5)]
        journal = tmp_path / "journal"
        data = bytearray(journal.read_bytes())
        data[data.index(made[at].body[:40].encode())] ^= 1
        journal.write_bytes(data)
        with pytest.raises(JournalDamaged):
            list(notebook.unsent_bodies("cabin"))
