"""Imports run one way: ui → sync → store → records → assets → domain; sheets → records; server → sheets, records.

Read from the source with ast, so that an import inside a function counts too.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

# What a package of ours may import of ours, beside itself.
MAY = {
    "fieldapp.domain": set(),
    "fieldapp.assets": {"fieldapp.domain"},
    "fieldapp.records": {"fieldapp.assets", "fieldapp.domain"},
    "fieldapp.store": {"fieldapp.records", "fieldapp.assets", "fieldapp.domain", "fieldapp.durable"},
    "fieldapp.sync": {"fieldapp.store", "fieldapp.records", "fieldapp.assets", "fieldapp.domain"},
    "fieldapp.sheets": {"fieldapp.records", "fieldapp.assets", "fieldapp.domain"},
    "fieldapp.ui": {
        "fieldapp.sheets",
        "fieldapp.sync",
        "fieldapp.store",
        "fieldapp.records",
        "fieldapp.assets",
        "fieldapp.domain",
        "fieldapp.durable",
    },
    "fieldapp.cli": {"fieldapp.assets"},
    "fieldapp.durable": set(),
    "fieldapp.findings": {"fieldapp.assets"},
    "fieldapp.doctor": {
        "fieldapp.findings",
        "fieldapp.sync",
        "fieldapp.store",
        "fieldapp.assets",
    },
    "fieldapp.commands": {"fieldapp"},
    "server": {
        "fieldapp.sheets",
        "fieldapp.records",
        "fieldapp.assets",
        "fieldapp.domain",
        "fieldapp.cli",
        "fieldapp.durable",
        "fieldapp.findings",
        "fieldapp.doctor.machine",
        "demo_data",
    },
    # The demonstration plays the tablet, in a process of its own.
    "server.demo": {"fieldapp", "server", "demo_data"},
    "demo_data": {"fieldapp.records", "fieldapp.assets", "fieldapp.domain"},
}
DOMAIN_MAY = {
    "__future__", "bisect", "collections", "copy", "dataclasses", "enum", "functools", "hashlib", "heapq", "itertools",
    "math", "operator", "re", "typing", "types", "unicodedata", "uuid", "xml", "json", "string", "fractions",
    "statistics",
}  # fmt: skip
"""The domain's outside: the parts of the standard library that do no I/O and read no clock."""
ONLY = {
    "kivy": "fieldapp.ui",
    "flask": "server",
    "flask_smorest": "server",
    "sqlalchemy": "server",
    "tinydb": "fieldapp.store",
    "polars": "server.analysis",
    "matplotlib": "server.analysis",
    "docx": "server.analysis",
}
"""Libraries that belong to one package (the demonstration, which plays the tablet, may use kivy too)."""

FILES = sorted(p for top in ("fieldapp", "server", "demo_data") for p in (ROOT / top).rglob("*.py"))


def module_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import; write the whole name"
            found.add(node.module or "")
            if node.module in ("fieldapp", "server"):
                found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def within(name: str, package: str) -> bool:
    return name == package or name.startswith(package + ".")


def home(module: str) -> str | None:
    return max((package for package in MAY if within(module, package)), key=len, default=None)


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_module_imports_only_what_lies_below_it(path):
    module = module_of(path)
    package = home(module)
    for name in imports(path):
        if within(name, "fieldapp") or within(name, "server") or within(name, "demo_data"):
            if name in ("fieldapp", "server") or package is None:
                continue
            allowed = MAY[package] | {package}
            assert any(within(name, one) for one in allowed), f"{module} imports {name}"
        elif package == "fieldapp.domain":
            assert name.partition(".")[0] in DOMAIN_MAY, f"{module} imports {name}: the domain is plain Python"
        else:
            owner = ONLY.get(name.partition(".")[0])
            assert owner is None or within(module, owner) or within(module, "server.demo"), f"{module} imports {name}"


@pytest.mark.parametrize(
    "path", [p for p in FILES if within(module_of(p), "fieldapp.domain")], ids=lambda path: str(path.relative_to(ROOT))
)
def test_the_domain_opens_no_file_and_asks_for_no_input(path):
    called = {node.func.id for node in ast.walk(ast.parse(path.read_text("utf-8")))
              if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)}  # fmt: skip
    assert not called & {"open", "input", "print", "exec", "eval", "__import__"}


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_module_opens_with_what_it_is_for(path):
    assert ast.get_docstring(ast.parse(path.read_text("utf-8"))), f"{path} has no docstring"


def test_the_packages_of_the_layout_are_all_seen():
    packages = {home(module_of(path)) for path in FILES}
    assert set(MAY) <= packages | {None}


def test_the_test_would_notice_a_wrong_import():
    assert not any(within("kivy.clock", one) for one in DOMAIN_MAY)
    assert home("server.demo.drive") == "server.demo"
    assert not any(within("fieldapp.store.journal", one) for one in MAY["server"])
