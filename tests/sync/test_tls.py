"""The same over real sockets: the cabin's own certificate on 127.0.0.1, pins, cuts, wrong doors."""

from __future__ import annotations

import contextlib
import gzip
import hashlib
import io
import json
import os
import socket
import ssl
import threading
import time
import warnings
from contextlib import closing
from dataclasses import replace

import pytest
import requests
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec

from fieldapp.records import enrolment
from fieldapp.store.notebook import Notebook
from fieldapp.sync import enrol as enrolling
from fieldapp.sync.enrol import enrol, enrolled, transport_for
from fieldapp.sync.errors import (
    CertificateChanged,
    CodeRefused,
    ConnectionCut,
    FalseCabin,
    NotACode,
    NotEnrolled,
    NotReachable,
    NotUnderstood,
    OtherSite,
    Refused,
    WrongCabin,
)
from fieldapp.sync.exchange import exchange
from fieldapp.sync.transport import HttpsTransport, certificate_at, parse_address
from server import keys
from server.cabin import set_up
from server.config import Config
from server.ledger.devices import Enrolled
from server.serving import TIMEOUT, Serving, addresses
from tests.server.apps import QUICK
from tests.server.tablets import an_id
from tests.sync.conftest import AT_ONCE, BY


def address_of(serving: Serving) -> str:
    return f"127.0.0.1:{serving.port}"


@pytest.fixture
def notebook(serving: Serving, new_notebook) -> Notebook:
    """A notebook that is enrolled at the cabin."""
    notebook = new_notebook("one")
    enrol(notebook, address_of(serving), serving.cabin.devices.open_code().text, "tablet one")
    return notebook


def docket(notebook: Notebook, name: str, **values):
    return notebook.save("docket", an_id(name), values, {}, BY)


class Relay:
    """Sits between a tablet and a cabin and can close the door after so many bytes towards the cabin."""

    def __init__(self, port: int, lets_through: int | None = None) -> None:
        self.to, self.lets_through, self.passed = port, lets_through, 0
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port = self._door.getsockname()[1]
        self._open: list[socket.socket] = []
        self._closing = False
        self._threads = [threading.Thread(target=self._accept)]
        self._threads[0].start()

    def _accept(self) -> None:
        while True:
            inside, _ = self._door.accept()
            if self._closing:
                inside.close()
                return
            outside = socket.create_connection(("127.0.0.1", self.to), 10)
            self._open += [inside, outside]
            for source, target, counted in ((inside, outside, True), (outside, inside, False)):
                thread = threading.Thread(target=self._carry, args=(source, target, counted))
                self._threads.append(thread)
                thread.start()

    def _carry(self, source: socket.socket, target: socket.socket, counted: bool) -> None:
        try:
            while data := source.recv(1000):
                if counted:
                    self.passed += len(data)
                    if self.lets_through is not None and self.passed > self.lets_through:
                        break
                target.sendall(data)
        except OSError:
            pass  # the other end was closed, which is what a cut is
        for one in (source, target):
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        self._closing = True
        # Wakes the accept that is still waiting.
        socket.create_connection(("127.0.0.1", self.port), 5).close()
        self._threads[0].join(5)
        self._door.close()
        for one in self._open:
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()
        for thread in self._threads:
            thread.join(5)


def test_a_tablet_is_enrolled_and_exchanges_over_tls(serving, notebook):
    docket(notebook, "a", count=1)
    with transport_for(notebook) as way:
        report = exchange(notebook, way)
    assert (report.sent, report.received) == (1, 1)
    assert serving.cabin.ledger.record(an_id("a")).value("count") == 1
    assert (notebook.letter, notebook.code) == ("A", "TST26")


def test_the_certificate_is_ec_p256_and_lasts_twenty_years(serving, config):
    read = x509.load_pem_x509_certificate(config.certificate.read_bytes())
    assert isinstance(read.public_key(), ec.EllipticCurvePublicKey)
    assert read.public_key().curve.name == "secp256r1"
    assert read.not_valid_after_utc.year - time.gmtime().tm_year in (19, 20)
    assert certificate_at(address_of(serving)) == serving.cabin.fingerprint
    # Against another reader of certificates: the standard library's.
    der = ssl.PEM_cert_to_DER_cert(config.certificate.read_text())
    assert hashlib.sha256(der).hexdigest() == serving.cabin.fingerprint


def test_key_files_are_their_owners_only_and_never_written_over(config):
    for path in (config.certificate_key, config.seal_key):
        assert path.stat().st_mode & 0o777 == 0o600
        before = path.read_bytes()
        keys.make_certificate(config.certificate, config.certificate_key)
        keys.make_seal_key(config.seal_key)
        assert path.read_bytes() == before
        with pytest.raises(FileExistsError):
            keys.write_secret(path, b"x")


def other_cabin(config: Config, tmp_path, port: int = 0) -> Serving:
    """Another cabin, of another site unless told, with a certificate of its own."""
    second = replace(config, data=tmp_path / "second", port=port)
    set_up(second, code="TST26", name="Test field")
    return Serving(replace(second, testing=False), QUICK)


def test_a_changed_certificate_is_refused_both_are_shown_and_nothing_is_sent(serving, notebook, config, tmp_path):
    docket(notebook, "a", count=1)
    with other_cabin(config, tmp_path) as second:
        relay = Relay(second.port)
        found = enrolled(notebook)
        notebook.set_setting("cabin", {**notebook.setting("cabin"), "address": f"127.0.0.1:{relay.port}"})
        heard: list[str] = []
        second.app.before_request(lambda: heard.append("anything"))
        with transport_for(notebook) as way, pytest.raises(CertificateChanged) as caught:
            exchange(notebook, way)
        relay.close()
        assert enrolment.in_pairs(found.fingerprint) in str(caught.value)
        assert enrolment.in_pairs(second.cabin.fingerprint) in str(caught.value)
        assert "Nothing was sent" in str(caught.value)
        assert heard == []
        assert second.cabin.ledger.names().head == 1
    assert notebook.unsent_count(found.fingerprint) == 1


def test_no_byte_of_a_request_reaches_a_door_with_another_certificate(serving, config, tmp_path):
    """The library used is requests over urllib3; what it does with the pin is watched at the socket."""
    with other_cabin(config, tmp_path) as second:
        heard = []
        second.app.before_request(lambda: heard.append("anything"))
        with HttpsTransport(address_of(second), serving.cabin.fingerprint, notebook="n", token="secret") as way:
            with pytest.raises(CertificateChanged):
                way.ask("POST", "/api/v1/push", body={"changes": []})
        assert heard == []


def test_a_code_for_another_certificate_stops_before_anything_is_sent(serving, config, tmp_path, new_notebook):
    notebook = new_notebook("two")
    with other_cabin(config, tmp_path) as second:
        heard = []
        second.app.before_request(lambda: heard.append("anything"))
        with pytest.raises(WrongCabin, match="Nothing was sent"):
            enrol(notebook, address_of(second), serving.cabin.devices.open_code().text)
        assert heard == []
    assert enrolled(notebook) is None


def overheard(serving: Serving) -> list[str]:
    """Every body that reaches a cabin from now on, unpacked."""
    heard: list[str] = []
    inner = serving.app.wsgi_app

    def listening(environ, start):
        data = environ["wsgi.input"].read(int(environ.get("CONTENT_LENGTH") or 0))
        heard.append(gzip.decompress(data).decode() if data else "")
        environ["wsgi.input"] = io.BytesIO(data)
        return inner(environ, start)

    serving.app.wsgi_app = listening
    return heard


def test_somebody_in_between_with_a_fitting_short_fingerprint_learns_nothing_and_is_not_believed(
    serving, config, tmp_path, new_notebook, monkeypatch
):
    """Thirty bits can be matched by building certificates; here the match is granted, and still the proof fails."""
    notebook = new_notebook("two")
    code = serving.cabin.devices.open_code()
    secret, _ = enrolment.parse(code.text)
    with other_cabin(config, tmp_path) as second:
        monkeypatch.setattr(enrolling.enrolment, "short", lambda _: enrolment.parse(code.text)[1])
        sent = overheard(second)
        with pytest.raises(CodeRefused):
            enrol(notebook, address_of(second), code.text)
        assert secret not in "".join(sent)
        # The proof that was caught opens nothing at the true cabin.
        proof = json.loads(sent[-1])["proof"]
        with HttpsTransport(address_of(serving), serving.cabin.fingerprint, notebook=notebook.id) as way:
            with pytest.raises(CodeRefused):
                way.ask("POST", "/api/v1/enrol", body={"proof": proof, "notebook": notebook.id})
        # And a false cabin that lets anybody in cannot show that it knows the code.
        monkeypatch.setattr(second.cabin.devices, "enrol", lambda *_: Enrolled("token", "A", bytes(32)))
        with pytest.raises(FalseCabin):
            enrol(notebook, address_of(second), code.text)
    assert enrolled(notebook) is None
    assert notebook.letter == ""


def test_wrong_used_and_old_codes_are_refused_in_words(serving, notebook, new_notebook, clock, monkeypatch):
    second = new_notebook("two")
    used = serving.cabin.devices.open_code().text
    with monkeypatch.context() as cut:
        # The answer was lost, and so its token was not used for anything.
        cut.setattr("fieldapp.sync.enrol.carry_keys.register", lambda *_: None)
        enrol(second, address_of(serving), used)
        with pytest.raises(CodeRefused, match="wrong, was used before, or is older"):
            enrol(new_notebook("three"), address_of(serving), used)
        # The notebook that used it may ask again; until its token was used.
        enrol(second, address_of(serving), used)
    with transport_for(second) as way:
        exchange(second, way)
    with pytest.raises(CodeRefused, match="wrong, was used before, or is older"):
        enrol(second, address_of(serving), used)
    old = serving.cabin.devices.open_code().text
    clock.forward(minutes=16)
    with pytest.raises(CodeRefused):
        enrol(second, address_of(serving), old)
    fresh = serving.cabin.devices.open_code().text
    wrong = ("0" if fresh[0] != "0" else "1") + fresh[1:]
    with pytest.raises(CodeRefused):
        enrol(second, address_of(serving), wrong)
    with pytest.raises(NotACode, match="Nothing was sent"):
        enrol(second, address_of(serving), "not a code")
    typed = fresh.lower().replace("-", " ").replace("0", "o").replace("1", "l")
    assert enrol(second, address_of(serving), typed).letter == second.letter


def test_a_notebook_of_another_site_is_stopped_before_its_code_is_used(serving, new_notebook):
    notebook = new_notebook("two")
    notebook.identify(site=an_id("elsewhere"), code="ELS26")
    code = serving.cabin.devices.open_code().text
    with pytest.raises(OtherSite, match="ELS26"):
        enrol(notebook, address_of(serving), code)
    assert serving.cabin.devices.all() == []


def test_nobody_at_the_address_is_told_as_that(serving, notebook):
    with closing(socket.create_server(("127.0.0.1", 0))) as taken:
        port = taken.getsockname()[1]
    with HttpsTransport(f"127.0.0.1:{port}", serving.cabin.fingerprint, notebook="n") as way:
        with pytest.raises(NotReachable, match="kept on this tablet"):
            way.ask("GET", "/api/v1/hello")
    with pytest.raises(NotReachable):
        certificate_at(f"127.0.0.1:{port}")


@pytest.mark.parametrize("lets_through", [0, 300, 700, 1500, 4000, 20_000, 40_000])
def test_a_connection_cut_while_sending_is_told_and_sending_again_doubles_nothing(serving, notebook, lets_through):
    for number in range(300):
        docket(notebook, f"d{number}", count=number, note=os.urandom(200).hex())
    relay = Relay(serving.port, lets_through)
    found = enrolled(notebook)
    with HttpsTransport(f"127.0.0.1:{relay.port}", found.fingerprint, notebook=notebook.id, token=found.token) as way:
        with pytest.raises((ConnectionCut, NotReachable)) as caught:
            exchange(notebook, way, means=AT_ONCE)
    relay.close()
    first = caught.value.report
    with transport_for(notebook) as way:
        second = exchange(notebook, way)
    assert first.sent + first.known + second.sent + second.known == 300
    assert serving.cabin.ledger.names().head == 301
    assert len(serving.cabin.ledger.records("docket")) == 300


def test_proxies_and_certificates_of_the_environment_are_not_followed(serving, notebook, monkeypatch, tmp_path):
    for name in ("HTTPS_PROXY", "https_proxy", "ALL_PROXY", "HTTP_PROXY"):
        monkeypatch.setenv(name, "http://127.0.0.1:9")
    monkeypatch.setenv("REQUESTS_CA_BUNDLE", str(tmp_path / "none.pem"))
    with transport_for(notebook) as way:
        exchange(notebook, way)


def test_a_door_that_somebody_keeps_half_open_keeps_nobody_waiting(serving, notebook):
    with contextlib.ExitStack() as half_open:
        for _ in range(4):
            half_open.enter_context(socket.create_connection(("127.0.0.1", serving.port), 5))
        start = time.monotonic()
        with transport_for(notebook) as way:
            exchange(notebook, way)
        assert time.monotonic() - start < TIMEOUT / 2


@pytest.mark.parametrize(
    "first", [b"", b"\x16\x03", b"GET / HTTP/1.1\r\n\r\n", bytes(100)], ids=["nothing", "half", "http", "noughts"]
)
def test_a_visitor_who_speaks_no_tls_is_let_go_and_the_next_is_served(serving, notebook, first, capfd):
    with socket.create_connection(("127.0.0.1", serving.port), 5) as one:
        one.sendall(first)
        with contextlib.suppress(OSError):  # it may have been let go already
            one.shutdown(socket.SHUT_WR)
            while one.recv(1000):
                pass
    with transport_for(notebook) as way:
        exchange(notebook, way)
    assert "Traceback" not in capfd.readouterr().err


def test_a_redirect_is_not_followed(serving, notebook):
    with transport_for(notebook) as way, pytest.raises((Refused, NotUnderstood)):
        way.ask("GET", "/")


def test_plain_http_is_not_spoken(serving):
    with pytest.raises(requests.exceptions.RequestException):
        requests.get(f"http://127.0.0.1:{serving.port}/api/v1/hello", timeout=5).raise_for_status()


def speaks(port: int, version: ssl.TLSVersion) -> str:
    """The version that is agreed with somebody who knows only one, and is not choosy."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    context.set_ciphers("ALL:@SECLEVEL=0")
    with warnings.catch_warnings(action="ignore", category=DeprecationWarning):
        context.minimum_version = context.maximum_version = version
    with socket.create_connection(("127.0.0.1", port), 5) as plain, context.wrap_socket(plain) as one:
        return str(one.version())


def test_nothing_older_than_tls_1_2_is_spoken(serving, config):
    assert speaks(serving.port, ssl.TLSVersion.TLSv1_2) == "TLSv1.2"
    assert speaks(serving.port, ssl.TLSVersion.TLSv1_3) == "TLSv1.3"
    for old in (ssl.TLSVersion.TLSv1, ssl.TLSVersion.TLSv1_1):
        with pytest.raises((ssl.SSLError, ConnectionError)):
            speaks(serving.port, old)
    # It is the cabin that refuses: the same visitor is let in where anything goes.
    lax = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    lax.load_cert_chain(config.certificate, config.certificate_key)
    lax.set_ciphers("ALL:@SECLEVEL=0")
    with warnings.catch_warnings(action="ignore", category=DeprecationWarning):
        lax.minimum_version = ssl.TLSVersion.TLSv1
    with closing(socket.create_server(("127.0.0.1", 0))) as door:

        def serve() -> None:
            with (
                contextlib.suppress(OSError),
                door.accept()[0] as plain,
                lax.wrap_socket(plain, server_side=True) as one,
            ):
                one.recv(1)

        thread = threading.Thread(target=serve)
        thread.start()
        assert speaks(door.getsockname()[1], ssl.TLSVersion.TLSv1_1) == "TLSv1.1"
        thread.join(5)


def test_a_notebook_that_is_not_enrolled_has_no_way(new_notebook):
    with pytest.raises(NotEnrolled):
        transport_for(new_notebook("two"))


def test_leaving_a_cabin_forgets_the_token_only(serving, notebook):
    docket(notebook, "a", count=1)
    enrolling.forget(notebook)
    assert enrolled(notebook) is None
    assert (notebook.letter, len(notebook.records("docket"))) == ("A", 1)


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("cabin", ("cabin", 8443, "")),
        (" https://cabin.local:9000/ ", ("cabin.local", 9000, "")),
        ("192.168.4.1:8443", ("192.168.4.1", 8443, "")),
        ("[fe80::1]:8444", ("fe80::1", 8444, "")),
        ("cabin.local/TST26/", ("cabin.local", 8443, "/TST26")),
        ("https://192.168.4.1:8443/bones/TST26", ("192.168.4.1", 8443, "/bones/TST26")),
    ],
)
def test_an_address_is_read_as_people_type_it(typed, read):
    assert parse_address(typed) == read


@pytest.mark.parametrize("typed", ["", "  ", "a b", "cabin:port", "https://"])
def test_what_is_no_address_is_told_as_not_reachable(typed):
    with pytest.raises(NotReachable):
        parse_address(typed)


def test_the_cabin_says_where_it_can_be_reached():
    assert addresses("192.168.4.1") == ["192.168.4.1"]
    assert addresses("cabin.local") == ["cabin.local"]
    assert all(addresses("0.0.0.0"))
