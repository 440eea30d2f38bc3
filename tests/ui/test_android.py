"""The Android package's recipe names what the tablet needs. The package itself cannot be built without the SDK."""

from __future__ import annotations

import ast
import configparser
import re
import sys
import tomllib
from pathlib import Path

from fieldapp import assets

ROOT = Path(__file__).resolve().parents[2]
SPEC = ROOT / "fieldapp" / "android" / "buildozer.spec"
WITH_RECIPE = {"kivy", "pillow", "cryptography", "cffi", "openssl", "pyjnius", "python3", "pyzbar"}
"""Compiled, and built by python-for-android's own recipes."""


def app() -> configparser.SectionProxy:
    """The spec's section about the app."""
    found = configparser.ConfigParser(interpolation=None)
    found.read(SPEC, encoding="utf-8")
    return found["app"]


def several(key: str) -> set[str]:
    return {one.strip() for one in app()[key].split(",") if one.strip()}


def test_every_dependency_of_the_tablet_is_packed() -> None:
    wanted = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    names = {re.split(r"[\[<>=!~; ]", one)[0].lower() for one in wanted}
    packed = {re.split(r"[<>=]", one)[0].lower() for one in several("requirements")}
    assert names <= packed, names - packed


def test_kivy_is_the_version_that_is_tested() -> None:
    import kivy

    assert f"kivy=={kivy.__version__}" in several("requirements")


def test_every_kind_of_file_that_is_shipped_is_packed() -> None:
    endings = several("source.include_exts")
    for folder in ("fonts", "maps", "plates", "reference", "texts", "translations"):
        assert f"assets/{folder}/*" in several("source.include_patterns")
        for path in (assets.root() / folder).rglob("*"):
            if path.is_file() and path.suffix != ".po":
                assert path.suffix.removeprefix(".") in endings, path
    kinds = {path.suffix.removeprefix(".") for path in (ROOT / "fieldapp").rglob("*") if path.is_file()}
    assert kinds - endings - {"pyc", "spec"} == set()


def test_only_what_the_app_asks_for_is_permitted() -> None:
    network = {"INTERNET", "ACCESS_NETWORK_STATE", "ACCESS_WIFI_STATE", "CHANGE_WIFI_MULTICAST_STATE"}
    assert several("android.permissions") == {*network, "CAMERA", "VIBRATE"}
    # Records of human remains must not go into somebody's cloud with a backup of the system.
    assert app()["android.allow_backup"] == "False"


def test_the_tablet_turns_every_way_and_stays_awake() -> None:
    assert several("orientation") >= {"landscape", "portrait"}
    assert app()["android.wakelock"] == "True"


def test_no_module_of_the_tablet_imports_what_is_not_packed() -> None:
    packed = {re.split(r"[<>=]", one)[0].lower().replace("-", "_") for one in several("requirements")}
    packed |= {"fieldapp", "android", "jnius", "fpdf", "PIL", "fontTools", *sys.stdlib_module_names}
    for path in (ROOT / "fieldapp").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [one.name for one in node.names]
            elif isinstance(node, ast.ImportFrom) and node.module:
                names = [node.module]
            for name in names:
                assert name.partition(".")[0] in packed, (path, name)


def test_no_shipped_folder_has_a_name_that_the_package_drops() -> None:
    """python-for-android leaves out folders called tests, and the like, from what it packs."""
    for path in (ROOT / "fieldapp").rglob("*"):
        assert path.name not in ("tests", "test", "unittest"), path
