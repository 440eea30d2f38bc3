"""What is installed is whole: the wheel carries the assets and finds them, away from the checkout."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


def run(*command: str, cwd: Path) -> str:
    done = subprocess.run(command, cwd=cwd, capture_output=True, text=True, timeout=180, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def installed(tmp_path_factory) -> Path:
    """The wheel, built and unpacked as pip would."""
    folder = tmp_path_factory.mktemp("wheel")
    run(
        sys.executable,
        "-m",
        "pip",
        "wheel",
        "-q",
        "--no-deps",
        "--no-build-isolation",
        "-w",
        str(folder),
        str(ROOT),
        cwd=folder,
    )
    (wheel,) = folder.glob("*.whl")
    zipfile.ZipFile(wheel).extractall(folder / "site")
    return folder / "site"


def test_the_wheel_holds_every_asset(installed):
    shipped = {
        path.relative_to(installed / "fieldapp" / "_assets")
        for path in (installed / "fieldapp" / "_assets").rglob("*.*")
    }
    found = {path.relative_to(ROOT / "assets") for path in (ROOT / "assets").rglob("*.*")}
    # Drafts are what plates are drawn from; who installs the program needs the plates.
    assert shipped == {path for path in found if path.parts[0] != "drafts"}


def test_the_installed_package_reads_its_own_assets_and_not_the_checkout_s(installed, tmp_path):
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]);"
        "from fieldapp import assets; print(assets.root()); print(len(assets.knowledge().taxa), len(assets.texts()))"
    )
    where, counted = run(sys.executable, "-I", "-c", code, str(installed), cwd=tmp_path).splitlines()
    assert Path(where).is_relative_to(installed)
    assert all(int(one) > 0 for one in counted.split())


def test_the_wheel_names_its_commands(installed):
    (names,) = installed.glob("*.dist-info/entry_points.txt")
    text = names.read_text("utf-8")
    for command in ("tablet", "sheet", "check", "rules", "cabin", "demo"):
        assert f"{command} = " in text


def test_an_installed_cabin_makes_a_ledger_and_takes_an_older_one_along(installed, tmp_path):
    code = (
        "import sys, sqlite3; sys.path.insert(0, sys.argv[1]);"
        "from server.ledger import Ledger, migrations; from pathlib import Path;"
        "Ledger.create(Path('new.sqlite'), code='TST26', name='T', seal_key='').close();"
        "file = sqlite3.connect('old.sqlite'); file.executescript(Path(sys.argv[2]).read_text('utf-8')); file.close();"
        "ledger = Ledger.open(Path('old.sqlite')); print(migrations.__file__); print(ledger.rebuild_matches());"
        "ledger.close()"
    )
    old = ROOT / "tests" / "data" / "ledger_before_steps.sql"
    where, matches = run(sys.executable, "-I", "-c", code, str(installed), str(old), cwd=tmp_path).splitlines()
    assert Path(where).is_relative_to(installed)
    assert matches == "True"
    (copy,) = tmp_path.glob("old.before-*.sqlite")
    assert copy.is_file()
