"""Several sites on one server: kept apart, one certificate, one sign-in for who works at several."""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from werkzeug.test import Client

from fieldapp import assets
from fieldapp.cli import main
from fieldapp.store.notebook import Notebook
from fieldapp.sync.enrol import enrol
from fieldapp.sync.exchange import exchange
from fieldapp.sync.transport import ClientTransport
from server.config import Config
from server.errors import SignInRefused
from server.unit import Unit, making
from tests.server.apps import QUICK
from tests.server.conftest import Clock
from tests.server.tablets import Tablet

BASE = "https://cabin.test"
BY = {"person": "p1", "name": "A. Digger", "role": "recorder"}


@pytest.fixture
def unit(tmp_path: Path, clock: Clock) -> Iterator[Unit]:
    config = Config(tmp_path / "unit", clock=clock, testing=True)
    making.add(config, code="AAA26", name="First field")
    making.add(config, code="BBB26", name="Second field")
    unit = Unit(config, QUICK)
    yield unit
    unit.close()


class Browser:
    """A visitor who fills in forms as they are shown."""

    def __init__(self, unit: Unit) -> None:
        self.client = Client(unit)

    def get(self, path: str):
        return self.client.get(path, base_url=BASE)

    def sign_in(self, code: str, account: str, password: str, back: str = ""):
        page = f"/{code}/review/sign-in"
        csrf = re.search(r'name="csrf" value="([^"]+)"', self.get(page).get_data(as_text=True))
        assert csrf
        form = {"csrf": csrf[1], "account": account, "password": password, "next": back}
        return self.client.post(page, data=form, base_url=BASE)


def notebook_at(tmp_path: Path, name: str, clock: Clock) -> Notebook:
    return Notebook.open(tmp_path / name, clock, lambda: str(uuid.uuid4()))


def way(unit: Unit, root: str, fingerprint: str, notebook: str, token: str = "") -> ClientTransport:
    class Below(Client):
        def open(self, path, *args, **more):  # type: ignore[override]
            return super().open(root + path, *args, **more)

    return ClientTransport(Below(unit), fingerprint, notebook=notebook, token=token)


def enrolled(unit: Unit, code: str, notebook: Notebook) -> ClientTransport:
    cabin = unit.cabins[code]
    found = enrol(
        notebook,
        "cabin",
        cabin.devices.open_code().text,
        meet=lambda _: cabin.fingerprint,
        connect=lambda _, fingerprint, *, notebook, token="": way(unit, f"/{code}", fingerprint, notebook, token),
    )
    return way(unit, f"/{code}", found.fingerprint, notebook.id, found.token)


def test_the_sites_share_a_certificate_and_nothing_else(unit: Unit) -> None:
    first, second = unit.cabins["AAA26"], unit.cabins["BBB26"]
    assert first.fingerprint == second.fingerprint
    assert first.seal_key != second.seal_key
    assert first.ledger.names().site != second.ledger.names().site
    assert first.config.ledger != second.config.ledger


def test_what_a_tablet_brings_to_one_site_is_at_that_site_only(unit: Unit, tmp_path: Path, clock: Clock) -> None:
    notebook = notebook_at(tmp_path, "one", clock)
    transport = enrolled(unit, "BBB26", notebook)
    assert notebook.code == "BBB26"
    record = str(uuid.uuid4())
    notebook.save("docket", record, {"count": 1}, {}, BY)
    assert exchange(notebook, transport).sent == 1
    assert unit.cabins["BBB26"].ledger.record(record) is not None
    assert unit.cabins["AAA26"].ledger.record(record) is None
    assert unit.cabins["AAA26"].devices.all() == []


def test_a_token_of_one_site_opens_nothing_at_another(unit: Unit, tmp_path: Path, clock: Clock) -> None:
    notebook = notebook_at(tmp_path, "one", clock)
    enrolled(unit, "AAA26", notebook)
    kept = notebook.setting("cabin")
    client = Client(unit)
    headers = {"X-Notebook": notebook.id, "Authorization": f"Bearer {kept['token']}"}
    assert client.get("/AAA26/api/v1/pull", headers=headers).status_code == 200
    assert client.get("/BBB26/api/v1/pull", headers=headers).status_code == 401


def test_an_account_of_one_site_is_none_at_another(unit: Unit) -> None:
    account, password = unit.cabins["AAA26"].accounts.add("B. Bone", "zooarchaeologist")
    browser = Browser(unit)
    assert browser.sign_in("AAA26", account.id, password).status_code == 302
    assert browser.get("/AAA26/review/today").status_code == 200
    assert browser.get("/BBB26/review/today").status_code == 302
    assert "Second field" in browser.get("/").get_data(as_text=True)
    assert "you are not let in here" in browser.get("/").get_data(as_text=True)


def test_one_sign_in_opens_every_site_that_a_person_was_lent_to(unit: Unit) -> None:
    first, second = unit.cabins["AAA26"], unit.cabins["BBB26"]
    account, password = first.accounts.add("B. Bone", "zooarchaeologist")
    first.accounts.lend(account.person, "zooarchaeologist", second.accounts)
    browser = Browser(unit)
    browser.sign_in("AAA26", account.id, password)
    for code in unit.cabins:
        assert browser.get(f"/{code}/review/today").status_code == 200
    assert "you are not let in here" not in browser.get("/").get_data(as_text=True)
    assert second.ledger.events(1)[0].what == "person_lent"
    assert first.ledger.authority().grants.keys() == second.ledger.authority().grants.keys()


def test_a_new_password_is_the_password_everywhere_and_switching_off_holds_at_one_site(unit: Unit) -> None:
    first, second = (one.accounts for one in unit.cabins.values())
    account, old = first.add("B. Bone", "director")
    first.lend(account.person, "director", second)
    second.change_password(account.person, "director", old, "a longer new one")
    assert first.sign_in(account.person, "director", "a longer new one").key == account.key
    fresh = first.reset(account.person, "director")
    assert second.sign_in(account.person, "director", fresh).key != account.key
    with pytest.raises(SignInRefused):
        second.sign_in(account.person, "director", "a longer new one")
    first.withdraw(account.person, "director", revoke_keys=False)
    assert second.sign_in(account.person, "director", fresh).active
    with pytest.raises(SignInRefused):
        first.sign_in(account.person, "director", fresh)
    # A lost password does not let somebody in again where they were switched off.
    second.reset(account.person, "director")
    assert [one.active for one in first.all()] == [False]


def test_the_way_back_after_signing_in_stays_at_the_site(unit: Unit) -> None:
    account, password = unit.cabins["AAA26"].accounts.add("B. Bone", "director")
    browser = Browser(unit)
    asked = browser.get("/AAA26/review/holds")
    assert asked.location.endswith("/AAA26/review/sign-in?next=/review/holds")
    answer = browser.sign_in("AAA26", account.id, password, "/review/holds")
    assert answer.location.endswith("/AAA26/review/holds")


def test_a_site_is_found_however_its_code_is_cased(unit: Unit) -> None:
    assert Client(unit).get("/aaa26/api/v1/hello").get_json()["site_code"] == "AAA26"


def test_every_link_on_a_sites_pages_stays_at_the_site(unit: Unit) -> None:
    account, password = unit.cabins["BBB26"].accounts.add("B. Bone", "director")
    browser = Browser(unit)
    browser.sign_in("BBB26", account.id, password)
    for page in ("today", "contexts", "holds", "disagreements", "problems", "beside"):
        text = browser.get(f"/BBB26/review/{page}").get_data(as_text=True)
        links = set(re.findall(r'(?:href|src|action)="([^"#?][^"]*)"', text))
        assert all(one.startswith("/BBB26/review/") or one == "/" for one in links), (page, links)


def test_an_address_without_a_site_says_which_there_are(unit: Unit) -> None:
    answer = Client(unit).get("/api/v1/hello")
    assert answer.status_code == 404
    assert "AAA26, BBB26" in answer.get_json()["message"]
    assert "AAA26, BBB26" in Client(unit).get("/nowhere").get_data(as_text=True)


def test_a_cabin_that_moves_into_a_unit_keeps_its_tablets(tmp_path: Path, clock: Clock, capsys) -> None:
    old = tmp_path / "old"
    assert main(["cabin", "init", "--data", str(old), "--code", "OLD26", "--name", "Old field"]) == 0
    alone = Config(old, clock=clock, testing=True)
    from server import create_app

    app = create_app(alone, QUICK)
    cabin = app.extensions["bonedocket.cabin"]
    notebook = notebook_at(tmp_path, "tablet", clock)
    enrol(
        notebook,
        "cabin",
        cabin.devices.open_code().text,
        meet=lambda _: cabin.fingerprint,
        connect=lambda _, fingerprint, *, notebook, token="": ClientTransport(
            app.test_client(), fingerprint, notebook=notebook, token=token
        ),
    )
    cabin.close()
    home = str(tmp_path / "unit")
    assert main(["cabin", "site", "take", str(old), "--data", home]) == 0
    assert "go on as they are" in capsys.readouterr().out
    assert main(["cabin", "site", "add", "--data", home, "--code", "NEW26", "--name", "New field"]) == 0
    unit = Unit(Config(Path(home), clock=clock, testing=True), QUICK)
    try:
        kept = notebook.setting("cabin")
        assert kept["fingerprint"] == unit.cabins["NEW26"].fingerprint
        # It knows no path, and is led to its site by its notebook.
        notebook.save("docket", str(uuid.uuid4()), {"count": 1}, {}, BY)
        assert exchange(notebook, way(unit, "", kept["fingerprint"], notebook.id, kept["token"])).sent == 1
        assert unit.cabins["OLD26"].ledger.records("docket")
    finally:
        unit.close()
        notebook.close()


def test_the_commands_say_what_a_units_folder_is(tmp_path: Path, capsys) -> None:
    home, alone = str(tmp_path / "unit"), str(tmp_path / "alone")
    main(["cabin", "site", "add", "--data", home, "--code", "AAA26", "--name", "First field"])
    main(["cabin", "site", "add", "--data", home, "--code", "BBB26", "--name", "Second field"])
    capsys.readouterr()
    assert main(["cabin", "person", "list", "--data", home]) == 2
    assert "--data " + home + "/sites/CODE" in capsys.readouterr().err
    site = home + "/sites/AAA26"
    main(["cabin", "person", "add", "B. Bone", "zooarchaeologist", "--data", site])
    first = re.search(r"this once: (\S+)", capsys.readouterr().out)
    lend = ["cabin", "site", "lend", "B. Bone", "zooarchaeologist", "--from", "aaa26", "--to", "BBB26", "--data", home]
    assert main(lend) == 0
    assert main(lend) == 2
    assert main(["cabin", "person", "password", "B. Bone", "zooarchaeologist", "--data", site]) == 0
    second = re.search(r"this once: (\S+)", capsys.readouterr().out)
    assert first
    assert second
    unit = Unit(Config(Path(home)))
    try:
        (there,) = unit.cabins["BBB26"].accounts.all()
        assert unit.cabins["BBB26"].accounts.sign_in(there.person, there.role, second[1]).name == "B. Bone"
    finally:
        unit.close()
    main(["cabin", "init", "--data", alone, "--code", "CCC26", "--name", "Third field"])
    capsys.readouterr()
    assert main(["cabin", "site", "add", "--data", alone, "--code", "DDD26", "--name", "x"]) == 2
    assert "is the cabin of one site" in capsys.readouterr().err
    assert main(["cabin", "site", "list", "--data", home]) == 0
    assert "First field" in capsys.readouterr().out


def test_a_stop_at_one_site_is_on_the_front_page_of_who_works_there_and_of_nobody_else(unit: Unit) -> None:
    first, second = unit.cabins["AAA26"], unit.cabins["BBB26"]
    tablet = Tablet(site=first.ledger.names().site)
    tablet.docket("bone")
    tablet.human("bone", "stop")
    first.ledger.accept(tablet.entries(), tablet.id)
    for cabin, told in ((first, True), (second, False)):
        account, password = cabin.accounts.add("B. Bone", "supervisor")
        browser = Browser(unit)
        assert "may be human" not in browser.get("/").get_data(as_text=True)
        browser.sign_in(str(cabin.ledger.site().value("code")), account.id, password)
        assert ("may be human" in browser.get("/").get_data(as_text=True)) is told


def test_the_front_page_is_dressed_as_its_sites_pages_are_by_day_and_in_the_evening(unit: Unit) -> None:
    browser = Browser(unit)
    theirs, own = (browser.get(page).text for page in ("/AAA26/review/sign-in", "/"))
    sheets = re.findall(r'<link rel="stylesheet"[^>]*>', theirs)
    assert len(sheets) == 2
    assert re.findall(r'<link rel="stylesheet"[^>]*>', own) == sheets
    for one in re.findall(r'href="([^"]+\.css)"', own):
        with browser.get(one) as answer:
            assert answer.status_code == 200


def test_the_front_page_is_turned_to_another_language_which_the_sites_then_speak(unit: Unit) -> None:
    browser = Browser(unit)
    page = browser.get("/").text
    names = [name for one in assets.languages() for name in (assets.language_name(one),)]
    assert re.findall(r'name="to" value="\w+"[^>]*>([^<]+)</button>', page) == names
    csrf = re.search(r'name="csrf" value="([^"]+)"', page)
    assert csrf
    answer = browser.client.post("/language", data={"csrf": csrf[1], "to": "de"}, base_url=BASE)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/")
    for at in ("/", "/AAA26/review/sign-in"):
        assert '<html lang="de">' in browser.get(at).text


def test_a_language_is_not_changed_from_elsewhere_nor_into_one_there_is_not(unit: Unit) -> None:
    browser = Browser(unit)
    csrf = re.search(r'name="csrf" value="([^"]+)"', browser.get("/").text)
    assert csrf
    for told, form in (({}, {"csrf": "x"}), ({"Origin": "https://elsewhere.example"}, {"csrf": csrf[1]})):
        answer = browser.client.post("/language", data={**form, "to": "de"}, base_url=BASE, headers=told)
        assert (answer.status_code, answer.text) == (400, assets.texts()["review.fault.token"])
    browser.client.post("/language", data={"csrf": csrf[1], "to": "xx"}, base_url=BASE)
    assert '<html lang="en">' in browser.get("/").text


@pytest.mark.parametrize("command", [["person", "add"], ["person", "list"], ["enrol"], ["policy"]])
def test_the_help_of_what_is_done_at_one_site_says_how_that_one_is_named(
    command: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["cabin", *command, "--help"])
    assert ended.value.code == 0
    assert "UNIT/sites/CODE" in capsys.readouterr().out
