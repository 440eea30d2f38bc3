"""`python -m tests.audit`: asks whether what is installed has known vulnerabilities (pip-audit), and says so plainly.

Fails on a known vulnerability, and on a fault of the audit. Where the advisories cannot be had, because there is no
network or the index keeps none, it says that nothing was audited, and goes on. Not here: what to do about one.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

UNREACHED = (
    "could not connect", "connection error", "connectionerror", "failed to establish a new connection", "timed out",
    "connecttimeout", "readtimeout", "name or service not known", "temporary failure in name resolution",
    "network is unreachable", "connection refused", "max retries exceeded", "proxyerror", "not redirecting properly",
)  # fmt: skip
"""What pip-audit and what is below it say, in small letters, when the service does not answer."""


def judged(code: int, out: str, err: str) -> tuple[int, list[str]]:
    """(exit code, sentences) for what pip-audit answered with."""
    try:
        found = json.loads(out)["dependencies"]
    except (ValueError, KeyError, TypeError):
        if code and any(one in err.lower() for one in UNREACHED):
            return 0, ["NOT AUDITED: the service with the advisories cannot be reached. Run `make audit` where it can."]
        return 1, ["The audit itself failed:", *err.strip().splitlines()[-5:]]
    asked = [one for one in found if "skip_reason" not in one]
    hit = [one for one in asked if one["vulns"]]
    # Ours is installed from here and on no index.
    unknown = [one["name"] for one in found if "skip_reason" in one and one["name"] != "bonedocket"]
    said = [
        f"VULNERABLE: {one['name']} {one['version']}: {each['id']}"
        f" (mended in: {', '.join(each['fix_versions']) or 'no version yet'})"
        for one in hit
        for each in one["vulns"]
    ]
    if not asked:
        return 0, ["NOT AUDITED: the package index here has no advisories. Run `make audit` where there are some."]
    said.append(f"{len(asked)} packages audited, {len(hit)} with known vulnerabilities.")
    if unknown:
        said.append(f"Not audited, because the index does not know them: {', '.join(sorted(unknown))}.")
    return (1 if hit else 0), said


def main() -> int:
    """Audits this environment."""
    program = Path(sys.executable).with_name("pip-audit")
    words = [str(program), "--format", "json", "--progress-spinner", "off", "--skip-editable", "--timeout", "10"]
    try:
        done = subprocess.run(words, capture_output=True, text=True, timeout=180)
    except subprocess.TimeoutExpired:
        done = subprocess.CompletedProcess(words, 1, "", "timed out")
    code, said = judged(done.returncode, done.stdout, done.stderr)
    print("\n".join(said))
    return code


if __name__ == "__main__":
    sys.exit(main())
