"""Letters that two tablets have, tablets that were copied or put back, lost and replaced ones: labels stay unique, what
was done about it is told in words, and nothing is lost.
"""

from __future__ import annotations

import shutil
import uuid

import pytest

from fieldapp.domain import labels
from fieldapp.store.notebook import Notebook
from fieldapp.sync import lives
from fieldapp.sync.enrol import enrolled, heard, letter_changed
from fieldapp.sync.errors import ConnectionCut, NotEnrolled, Refused, TokenWithdrawn
from fieldapp.sync.exchange import exchange
from server.ledger.devices import LIVES
from tests.server.tablets import CODE, SITE, an_id
from tests.sync.conftest import AT_ONCE, BY


def labelled(notebook: Notebook, name: str) -> str:
    """A new docket with the next label; the label."""
    label = str(notebook.next_label())
    notebook.save("docket", an_id(name), {"label": label, "count": 1}, {}, BY)
    return label


def known_to(notebook: Notebook) -> set[str]:
    return {one for _, one, _ in notebook.bodies()}


def at_cabin(site) -> set[str]:
    return {row[1] for row in site.ledger.pull(0, 10_000).rows}


# -- two tablets with one letter


@pytest.fixture
def alone(new_notebook):
    """A tablet that was set up without the cabin as B, and has written a label."""
    notebook = new_notebook("alone")
    notebook.identify(site=SITE, code=CODE, letter="B")
    labelled(notebook, "alone 1")
    return notebook


def test_a_letter_that_another_tablet_has_is_not_shared_and_it_is_told(site, new_notebook, alone):
    one, other = new_notebook("one"), new_notebook("other")
    site.enrolled(one)
    site.enrolled(other)
    assert other.letter == "B"
    double = labelled(other, "other 1")
    found = site.enrolled(alone)
    assert found.letter == alone.letter == "C"
    said = letter_changed(alone)
    assert "letter B" in said
    assert "(other)" in said
    assert "writes C" in said
    assert "keep B" in said
    # It stands until somebody has read it, also after a restart.
    alone.close()
    with Notebook.open(alone.folder, alone.clock, alone.new_id) as again:
        assert letter_changed(again) == said
        heard(again)
        assert letter_changed(again) == ""
        assert labels.read(labelled(again, "alone 2")).letter == "C"
        exchange(other, site.way(other))
        first = exchange(again, site.way(again))
        assert any("letter B" in one and "other" in one for one in first.notices)
        labelled(again, "alone 3")
        assert exchange(again, site.way(again)).notices == []
    assert [one.fields["letter"] for one in site.ledger.events(what="letter_of_other")] == ["B"]
    while site.ledger.check_due():
        pass
    repeated = [one for one in site.ledger.problems() if one.rule == "label_repeated"]
    assert {one.record for one in repeated} == {an_id("other 1"), an_id("alone 1")}
    assert all(double in str(one.fields) for one in repeated)


def test_a_letter_that_nobody_has_is_kept_and_nothing_is_said(site, alone):
    assert site.enrolled(alone).letter == "B"
    assert letter_changed(alone) == ""
    assert exchange(alone, site.way(alone)).notices == []


def test_a_letter_that_a_lost_tablet_has_written_with_is_not_given_although_nobody_has_it(site, new_notebook, alone):
    """Its labels came by another way, such as a carry-file; it was never enrolled itself."""
    lost = new_notebook("lost")
    lost.identify(site=SITE, code=CODE, letter="B")
    labelled(lost, "lost 1")
    site.ledger.accept([(one, body) for _, one, body in lost.bodies()], "a file")
    assert site.enrolled(alone).letter not in ("B", "")
    assert "letter B" in letter_changed(alone)


def test_a_tablet_keeps_its_letter_at_a_cabin_that_was_put_back_without_it(site, alone):
    site.enrolled(alone)
    exchange(alone, site.way(alone))
    from sqlalchemy import delete

    from server.ledger import tables

    with site.ledger.database.writing() as connection:
        connection.execute(delete(tables.device))
    assert site.enrolled(alone).letter == "B"
    assert letter_changed(alone) == ""


def test_who_corrects_anothers_label_is_not_told_of_a_letter(site, new_notebook):
    one, other = new_notebook("one"), new_notebook("other")
    site.enrolled(one)
    site.enrolled(other)
    labelled(one, "a")
    exchange(one, site.way(one))
    exchange(other, site.way(other))
    record = other.record("docket", an_id("a"))
    right = str(labels.Label(CODE, "A", 77))
    other.save("docket", record.id, {"label": right}, {"label": record.head_ids()["label"]}, BY)
    assert exchange(other, site.way(other)).notices == []


# -- lost and replaced


def test_the_letter_of_a_withdrawn_tablet_goes_to_nobody_else_and_the_tablet_gets_it_back(site, new_notebook):
    lost, replacement = new_notebook("lost"), new_notebook("replacement")
    site.enrolled(lost)
    labelled(lost, "a")
    site.cabin.devices.withdraw(lost.letter)
    with pytest.raises(TokenWithdrawn, match=r"carry-file.*enrol") as caught:
        exchange(lost, site.way(lost))
    assert "kept on the tablet" in str(caught.value)
    # Somebody sets the replacement up as the lost one.
    replacement.identify(site=SITE, code=CODE, letter="A")
    assert site.enrolled(replacement).letter == "B"
    assert "letter A" in letter_changed(replacement)
    # Found again, and let in again: it is the same notebook, and knows which numbers it gave.
    assert site.enrolled(lost).letter == "A"
    exchange(lost, site.way(lost))
    assert str(labels.Label(CODE, "A", 2)) == labelled(lost, "b")
    assert an_id("a") in {one.id for one in site.ledger.records("docket")}


# -- copies


class Shelf:
    """Copies of a notebook's folder, made while it is closed."""

    def __init__(self, tmp_path) -> None:
        self.tmp_path, self.made, self.opened = tmp_path, 0, []

    def open(self, folder, notebook) -> Notebook:
        self.opened.append(Notebook.open(folder, notebook.clock, lambda: str(uuid.uuid4())))
        return self.opened[-1]

    def copy(self, notebook: Notebook):
        """(the notebook opened again, the folder of its copy)."""
        notebook.close()
        self.made += 1
        folder = self.tmp_path / f"copy {self.made}"
        shutil.copytree(notebook.folder, folder, ignore=shutil.ignore_patterns("lock"))
        return self.open(notebook.folder, notebook), folder


@pytest.fixture
def shelf(tmp_path):
    shelf = Shelf(tmp_path)
    yield shelf
    for one in shelf.opened:
        one.close()


@pytest.fixture
def one(site, new_notebook):
    """An enrolled tablet with a label, exchanged."""
    notebook = new_notebook("one")
    site.enrolled(notebook)
    labelled(notebook, "first")
    exchange(notebook, site.way(notebook))
    return notebook


def labels_at(site) -> list[str]:
    return sorted(one.value("label") for one in site.ledger.records("docket"))


def test_a_copy_goes_on_as_a_new_tablet_in_one_step_and_the_other_as_it_was(site, one, shelf):
    one, folder = shelf.copy(one)
    copy = shelf.open(folder, one)
    same = [labelled(one, "one a"), labelled(copy, "copy a")]
    assert same[0] == same[1]
    exchange(one, site.way(one))
    assert exchange(copy, site.way(copy)).forks
    old = copy.id
    labelled(copy, "copy b")
    assert lives.go_on_as_new(copy, site.way(copy)) == copy.letter == "B"
    assert copy.id != old
    assert not copy.lives_elsewhere
    labelled(copy, "copy c")
    labelled(one, "one b")
    report = exchange(copy, site.way(copy))
    assert not report.forks
    assert copy.unsent_count(site.cabin.fingerprint) == 0
    # The other copy still has its token and its letter, learns of the fork, and may go on too.
    report = exchange(one, site.way(one))
    assert (report.forks, one.letter) == (True, "A")
    assert lives.go_on_as_new(one, site.way(one)) == "C"
    exchange(one, site.way(one))
    exchange(copy, site.way(copy))
    assert known_to(one) == known_to(copy) == at_cabin(site)
    names = ("first", "one a", "copy a", "one b", "copy b", "copy c")
    assert {item.id for item in site.ledger.records("docket")} == {an_id(name) for name in names}
    # Only what both gave before anybody knew stands twice.
    after = [labels.read(labelled(notebook, str(at))).letter for at, notebook in enumerate((one, copy) * 3)]
    assert after == ["C", "B"] * 3
    assert [device.letter for device in site.cabin.devices.all()] == ["A", "B", "C"]
    assert site.cabin.devices.lives() == {copy.id: old, one.id: old}
    assert site.ledger.rebuild_matches()


def test_a_tablet_put_back_from_an_older_copy_goes_on_without_doubling_a_label(site, one, shelf):
    one, older = shelf.copy(one)
    given = {labelled(one, f"later {at}") for at in range(5)}
    exchange(one, site.way(one))
    one.close()
    back = shelf.open(older, one)
    report = exchange(back, site.way(back))
    assert report.forks
    # Whoever does nothing goes on after the numbers that came back.
    assert labelled(back, "as it was") not in given
    exchange(back, site.way(back))
    lives.go_on_as_new(back, site.way(back))
    labelled(back, "as new")
    exchange(back, site.way(back))
    assert known_to(back) == at_cabin(site)
    assert len(labels_at(site)) == len(set(labels_at(site))) == 8


def test_put_back_twice_from_the_same_copy(site, one, shelf):
    one, older = shelf.copy(one)
    labelled(one, "lost from the tablet")
    exchange(one, site.way(one))
    one.close()
    letters = []
    for at in range(2):
        folder = shelf.tmp_path / f"again {at}"
        shutil.copytree(older, folder)
        back = shelf.open(folder, one)
        assert exchange(back, site.way(back)).forks
        letters.append(lives.go_on_as_new(back, site.way(back)))
        labelled(back, f"after {at}")
        exchange(back, site.way(back))
        back.close()
    assert letters == ["B", "C"]
    assert len(labels_at(site)) == len(set(labels_at(site))) == 4


def test_a_copy_of_a_copy(site, one, shelf):
    one, first = shelf.copy(one)
    copy = shelf.open(first, one)
    copy, second = shelf.copy(copy)
    copies = [one, copy, shelf.open(second, one)]
    for at, notebook in enumerate(copies):
        labelled(notebook, f"by {at}")
    for _ in range(2):
        for notebook in copies:
            exchange(notebook, site.way(notebook))
    assert all(notebook.lives_elsewhere for notebook in copies)
    letters = [lives.go_on_as_new(notebook, site.way(notebook)) for notebook in copies]
    assert len(set(letters)) == 3
    for at, notebook in enumerate(copies):
        labelled(notebook, f"after {at}")
    for _ in range(2):
        for notebook in copies:
            assert not exchange(notebook, site.way(notebook)).forks
    for notebook in copies:
        assert known_to(notebook) == at_cabin(site)
    assert len(site.ledger.records("docket")) == 7
    assert len(set(labels_at(site))) == 5  # first; one label three times; three of their own


def test_whoever_does_nothing_goes_on_syncing_and_fetches_only_what_is_new(site, one, shelf):
    one, folder = shelf.copy(one)
    copy = shelf.open(folder, one)
    for at in range(3):
        labelled(one, f"one {at}")
        labelled(copy, f"copy {at}")
        exchange(one, site.way(one))
        exchange(copy, site.way(copy))
    exchange(one, site.way(one))
    assert known_to(one) == known_to(copy) == at_cabin(site)
    fetched = []
    way = site.way(copy)
    ask = way.ask

    def asking(method, path, **more):
        answer = ask(method, path, **more)
        fetched.extend(answer.get("batch", {}).get("bodies", ()))
        return answer

    way.ask = asking
    labelled(one, "one more")
    exchange(one, site.way(one))
    fetched.clear()
    assert exchange(copy, way).forks
    assert len(fetched) == 1


@pytest.mark.parametrize("where", ["asked", "noted", "alive"])
def test_a_tablet_switched_off_in_the_middle_of_it_ends_up_with_one_new_life(site, one, monkeypatch, where):
    class Off(Exception):
        """The battery."""

    old, way = one.id, site.way(one)

    def off(*_args, **_more):
        raise Off

    with monkeypatch.context() as patched:
        if where == "asked":
            ask = way.ask
            patched.setattr(way, "ask", lambda *args, **more: (ask(*args, **more), off())[1], raising=False)
        elif where == "noted":
            patched.setattr(Notebook, "new_life", off)
        else:
            patched.setattr(lives, "asdict", off)
        with pytest.raises(Off):
            lives.go_on_as_new(one, way)
    if where == "asked":
        assert one.id == old
        lives.go_on_as_new(one, site.way(one))
    lives.finish(one)
    lives.finish(one)
    assert one.letter == enrolled(one).letter == "B"
    labelled(one, "after")
    exchange(one, site.way(one))
    assert [device.letter for device in site.cabin.devices.all()] == ["A", "B"]


def test_an_answer_that_is_lost_is_asked_for_again(site, one):
    way, lost = site.way(one), []
    ask = way.ask

    def losing(method, path, **more):
        answer = ask(method, path, **more)
        if len(lost) < 3:
            lost.append(answer["letter"])
            raise ConnectionCut(address="cabin", cause="lost")
        return answer

    way.ask = losing
    assert lives.go_on_as_new(one, way, AT_ONCE) == "B"
    assert lost == ["B"] * 3
    exchange(one, site.way(one))
    assert len(site.cabin.devices.all()) == 2


# -- what the cabin does not give


def test_a_notebook_that_is_somebodys_is_not_given_away(site, one, new_notebook):
    other, stranger = new_notebook("other"), new_notebook("stranger")
    site.enrolled(other)
    stranger.identify(site=SITE, code=CODE, letter="Z")
    stranger.save("docket", an_id("z"), {"count": 1}, {}, BY)
    site.ledger.accept([(each, body) for _, each, body in stranger.bodies()], "a file")
    for taken in (other.id, one.id, stranger.id, site.ledger.names().notebook):
        with pytest.raises(Refused, match="somebody's already"):
            site.way(one).ask("POST", "/api/v1/life", body={"notebook": taken})
    assert exchange(other, site.way(other)) is not None


def test_only_the_token_of_the_same_tablet_opens_a_new_life(site, one, new_notebook):
    other = new_notebook("other")
    site.enrolled(other)
    mixed = site.connect("", site.cabin.fingerprint, notebook=other.id, token=enrolled(one).token)
    with pytest.raises(NotEnrolled):
        mixed.ask("POST", "/api/v1/life", body={"notebook": str(uuid.uuid4())})
    site.cabin.devices.withdraw(one.letter)
    with pytest.raises(TokenWithdrawn):
        lives.go_on_as_new(one, site.way(one))
    with pytest.raises(Refused):
        site.way(other).ask("POST", "/api/v1/life", body={"notebook": "no id"})


def test_letters_are_not_used_up_by_a_tablet_that_asks_without_end(site, one):
    for _ in range(LIVES):
        site.way(one).ask("POST", "/api/v1/life", body={"notebook": str(uuid.uuid4())})
    with pytest.raises(Refused, match="Too many tablets"):
        site.way(one).ask("POST", "/api/v1/life", body={"notebook": str(uuid.uuid4())})
