"""The audit of what is installed: what fails it, and what is only said. Packages and advisories are invented."""

from __future__ import annotations

import json

import pytest

from tests.audit import judged

GOOD = {"name": "one", "version": "1.0", "vulns": []}
BAD = {"name": "two", "version": "2.0", "vulns": [{"id": "INVENTED-1", "fix_versions": ["2.1"], "aliases": []}]}
UNKNOWN = {"name": "three", "skip_reason": "Dependency not found on PyPI and could not be audited: three (3.0)"}


def answer(*found: dict[str, object]) -> str:
    return json.dumps({"dependencies": found, "fixes": []})


def test_a_known_vulnerability_fails_and_is_named_with_its_cure() -> None:
    code, said = judged(1, answer(GOOD, BAD, UNKNOWN), "Found 1 known vulnerability in 1 package")
    assert code == 1
    assert said[0] == "VULNERABLE: two 2.0: INVENTED-1 (mended in: 2.1)"


def test_nothing_known_passes_and_what_the_index_does_not_know_is_said() -> None:
    code, said = judged(0, answer(GOOD, UNKNOWN), "")
    assert code == 0
    assert "1 packages audited, 0 with" in said[0]
    assert "three" in said[1]


@pytest.mark.parametrize(
    ("code", "out", "err"),
    [
        (0, answer(UNKNOWN, UNKNOWN), ""),
        (1, "", "ERROR:pip_audit._cli:Could not connect to PyPI's vulnerability feed"),
        (1, "", "requests.exceptions.ConnectionError: Max retries exceeded"),
        (1, "", "timed out"),
    ],
)
def test_where_there_are_no_advisories_it_says_that_nothing_was_audited_and_goes_on(
    code: int, out: str, err: str
) -> None:
    found, (said,) = judged(code, out, err)
    assert found == 0
    assert said.startswith("NOT AUDITED")


@pytest.mark.parametrize(("code", "out", "err"), [(1, "", "Traceback"), (0, "", ""), (2, "{}", "usage: pip-audit")])
def test_a_fault_of_the_audit_is_no_pass(code: int, out: str, err: str) -> None:
    assert judged(code, out, err)[0] == 1
