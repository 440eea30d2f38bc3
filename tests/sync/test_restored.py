"""A cabin put back from a backup while it runs, and real notebooks that sync with it before and after.

Nothing that a tablet wrote or fetched is lost or doubled; the invented tablets know nothing of the backup.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

from sqlalchemy import select

from fieldapp.sync.enrol import enrol, transport_for
from fieldapp.sync.errors import NotEnrolled
from fieldapp.sync.exchange import exchange
from server.keeping import archive
from server.keeping.backing_up import back_up
from server.keeping.pictures import PictureFolder
from server.keeping.restoring import replace_with, restore
from server.keeping.verifying import verify
from server.ledger import CABIN, tables
from server.serving import Serving
from tests.server.apps import QUICK
from tests.server.tablets import an_id
from tests.sync.conftest import BY


def docket(notebook, name: str, **values):
    return notebook.save("docket", an_id(name), {"count": 1, **values}, {}, BY)


def bodies(ledger) -> Counter[str]:
    with ledger.database.reading() as connection:
        return Counter(connection.scalars(select(tables.change.c.body)))


def put_back(path: Path, config, before: Path) -> None:
    with archive.reading(path) as backup:
        replace_with(backup, config, pictures=PictureFolder(config.data), before=before)


def whole(cabin) -> None:
    assert [
        one for one in verify(cabin.config, cabin.ledger, PictureFolder(cabin.config.data)) if one.level == "wrong"
    ] == []


def test_what_came_after_the_backup_comes_back_from_the_tablets_once(site, config, new_notebook, tmp_path):
    one, two = new_notebook("one"), new_notebook("two")
    for notebook in (one, two):
        site.enrolled(notebook)
        for number in range(20):
            docket(notebook, f"{notebook.folder.name} {number}")
        exchange(notebook, site.way(notebook))
    exchange(one, site.way(one))
    back_up(config, site.ledger, tmp_path / "b.zip", pictures=None)
    # After the backup: both write, one fetches what the desk wrote and what the other wrote.
    for notebook in (one, two):
        for number in range(20, 35):
            docket(notebook, f"{notebook.folder.name} {number % 25}", note=str(number))
        exchange(notebook, site.way(notebook))
    desk = site.ledger.write("docket", an_id("desk"), {"count": 7}, {}, CABIN)
    exchange(one, site.way(one))
    unfetched = site.ledger.write("docket", an_id("desk unfetched"), {"count": 8}, {}, CABIN)
    site_changes = bodies(site.ledger)
    put_back(tmp_path / "b.zip", config, tmp_path / "before.zip")
    assert len(bodies(site.ledger)) < len(site_changes)
    docket(one, "written after the restore")
    reports = [exchange(notebook, site.way(notebook)) for notebook in (one, two, one)]
    assert [report.epoch_changed for report in reports] == [True, True, False]
    assert not any(report.forks for report in reports)
    now = bodies(site.ledger)
    assert set(now.values()) == {1}
    # All but what only the desk knew; that is in the backup that was made before.
    assert set(site_changes) - set(now) == {unfetched.body}
    assert desk.body in now
    for notebook in (one, two):
        own = Counter(change.body for change in notebook.changes())
        assert set(own.values()) == {1}
        assert all(body in now for body in own)
        assert notebook.verify().problems == []
    whole(site.cabin)
    kept = replace(config, data=tmp_path / "kept")
    with archive.reading(tmp_path / "before.zip") as backup:
        restore(backup, kept)
    (kept_file,) = kept.data.glob("ledger.sqlite")
    assert unfetched.body.encode() in kept_file.read_bytes()
    # Nothing more is said afterwards.
    for notebook in (one, two):
        report = exchange(notebook, site.way(notebook))
        assert (report.sent, report.received, report.epoch_changed) == (0, 0, False)


def test_a_tablet_that_was_enrolled_after_the_backup_keeps_its_records_and_enrols_again(
    site, config, new_notebook, tmp_path
):
    back_up(config, site.ledger, tmp_path / "b.zip", pictures=None)
    late = new_notebook("late")
    site.enrolled(late)
    docket(late, "late")
    exchange(late, site.way(late))
    put_back(tmp_path / "b.zip", config, tmp_path / "before.zip")
    try:
        exchange(late, site.way(late))
        raise AssertionError("a token that the backup does not know was let in")
    except NotEnrolled:
        pass
    site.enrolled(late)
    report = exchange(late, site.way(late))
    assert report.sent == 1
    assert site.ledger.record(an_id("late")) is not None
    whole(site.cabin)


def test_over_tls_the_running_cabin_is_put_back_and_no_tablet_notices_but_by_the_epoch(
    serving: Serving, new_notebook, tmp_path
):
    notebook = new_notebook("one")
    enrol(notebook, f"127.0.0.1:{serving.port}", serving.cabin.devices.open_code().text, "tablet one")
    docket(notebook, "a")
    with transport_for(notebook) as transport:
        exchange(notebook, transport)
        back_up(serving.cabin.config, serving.cabin.ledger, tmp_path / "b.zip", pictures=None)
        docket(notebook, "b")
        exchange(notebook, transport)
        put_back(tmp_path / "b.zip", serving.cabin.config, tmp_path / "before.zip")
        assert serving.cabin.ledger.record(an_id("b")) is None
        report = exchange(notebook, transport)
    # Known: its own first one, and the site's record that it had fetched.
    assert (report.epoch_changed, report.sent, report.known) == (True, 1, 2)
    assert serving.cabin.ledger.record(an_id("b")) is not None
    whole(serving.cabin)


def test_a_new_machine_with_the_backup_is_the_same_cabin_to_the_tablets(site, config, new_notebook, tmp_path):
    notebook = new_notebook("one")
    site.enrolled(notebook)
    docket(notebook, "a")
    exchange(notebook, site.way(notebook))
    back_up(config, site.ledger, tmp_path / "b.zip", pictures=None)
    docket(notebook, "b")
    exchange(notebook, site.way(notebook))
    moved = replace(config, data=tmp_path / "new machine", testing=False)
    with archive.reading(tmp_path / "b.zip") as backup:
        restore(backup, moved)
    with Serving(moved, QUICK) as serving, transport_for_at(notebook, serving) as transport:
        report = exchange(notebook, transport)
        assert report.epoch_changed
        assert serving.cabin.ledger.record(an_id("b")) is not None
        whole(serving.cabin)


def transport_for_at(notebook, serving: Serving):
    """The notebook's way, to where the cabin listens now; pinned certificate and token are those of before."""
    from fieldapp.sync.enrol import enrolled
    from fieldapp.sync.transport import HttpsTransport

    found = enrolled(notebook)
    assert found is not None
    return HttpsTransport(f"127.0.0.1:{serving.port}", found.fingerprint, notebook=notebook.id, token=found.token)
