"""A client made from the API's description and nothing else carries a change from one tablet to another.

Outside: openapi-python-client.
"""

from __future__ import annotations

import os
import ssl
import subprocess
import sys
import urllib.request
from dataclasses import replace
from pathlib import Path
from typing import Any

from server.config import Config
from server.serving import Serving
from tests.server.apps import QUICK
from tests.server.test_described import config

__all__ = ["config"]

SCRIPT = """
import hashlib, hmac, json, ssl, sys
from pathlib import Path
from invented_client import AuthenticatedClient, Client
from invented_client.api.sync import enrol, hello, pull, push
from invented_client.models import EnrolAsked, Entry, Pushed

address, certificate, *codes = sys.argv[1:]
seen = ssl.create_default_context(cafile=certificate)
fingerprint = hashlib.sha256(ssl.PEM_cert_to_DER_cert(Path(certificate).read_text())).digest()

def let_in(notebook, code):
    secret = code.replace("-", "")[:8].encode()
    salt = b"bonedocket enrolment 1 " + fingerprint
    key = hashlib.scrypt(secret, salt=salt, n=2**14, r=8, p=1, dklen=32, maxmem=2**26)
    prove = lambda *lines: hmac.new(key, "\\n".join(("bonedocket", *lines)).encode(), "sha256").hexdigest()
    with Client(base_url=address, verify_ssl=seen) as stranger:
        body = EnrolAsked(proof=prove("tablet", notebook), notebook=notebook, name="invented")
        found = enrol.sync(client=stranger, body=body)
    relied_on = (found.token, found.letter, str(found.site), found.site_code, found.seal_key, str(found.cabin_notebook))
    assert found.proof == prove("cabin", notebook, *relied_on)
    return found, AuthenticatedClient(base_url=address, token=found.token, verify_ssl=seen)

first, second = "11111111-1111-4111-8111-111111111111", "22222222-2222-4222-8222-222222222222"
said, one = let_in(first, codes[0])
_, other = let_in(second, codes[1])
body = json.dumps({
    "notebook": first, "n": 1, "prev": "", "site": str(said.site), "record": "33333333-3333-4333-8333-333333333333",
    "kind": "docket", "set": {"label": "x", "count": 3}, "over": {}, "at": "2026-06-01T10:00:00+02:00", "format": 1,
    "by": {"person": "p", "name": "Wren (invented)", "role": "recorder"},
}, separators=(",", ":"))
entry = Entry(id=hashlib.sha256(body.encode()).hexdigest(), body=body)
with one, other:
    taken = push.sync(client=one, body=Pushed(changes=[entry]), x_notebook=first)
    assert [each.answer.value for each in taken.answers] == ["taken"], taken
    page = pull.sync(client=other, x_notebook=second, since=1, epoch=taken.epoch)
    assert [(each.id, each.body) for each in page.changes] == [(entry.id, entry.body)], page
    refused = pull.sync(client=other, x_notebook=first)
    assert (refused.code, refused.errors.additional_properties) == (401, {"key": "cabin.not_enrolled"})
assert not {"fieldapp", "server"} & {each.partition(".")[0] for each in sys.modules}
print("carried", page.cursor)
"""


def test_a_client_made_from_the_description_carries_a_change_to_another_tablet(config: Config, tmp_path: Path) -> None:
    beside = Path(sys.executable).parent
    path = {**os.environ, "PATH": f"{beside}{os.pathsep}{os.environ['PATH']}"}
    with Serving(replace(config, testing=False), QUICK) as serving:
        address = f"https://localhost:{serving.port}"
        context = ssl.create_default_context(cafile=str(config.certificate))
        with urllib.request.urlopen(f"{address}/api/openapi.json", context=context, timeout=10) as answer:
            (tmp_path / "openapi.json").write_bytes(answer.read())
        words = ["generate", "--path", "openapi.json", "--meta", "none", "--output-path", "invented_client"]
        made = run([beside / "openapi-python-client", *words, "--fail-on-warning"], tmp_path, path)
        assert "arning" not in made
        (tmp_path / "script.py").write_text(SCRIPT)
        codes = [serving.cabin.devices.open_code().text for _ in range(2)]
        said = run([sys.executable, "-W", "error", "script.py", address, config.certificate, *codes], tmp_path, path)
        assert "carried" in said
        assert serving.cabin.ledger.record("33333333-3333-4333-8333-333333333333").value("count") == 3  # type: ignore[union-attr]


def run(words: list[Any], folder: Path, environment: dict[str, str]) -> str:
    """What a program says, which has to end well."""
    done = subprocess.run(
        [str(one) for one in words], cwd=folder, env=environment, capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout + done.stderr
