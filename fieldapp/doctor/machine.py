"""The machine: its Python, its packages, its clock and zone, the disk under a folder, what the program ships.

Everything works, or says nothing, on Windows, macOS and Linux.
"""

from __future__ import annotations

import importlib.metadata
import os
import platform
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

from fieldapp import assets
from fieldapp.findings import GOOD, NOTE, WRONG, Finding

PYTHON = ((3, 11), (3, 14))
"""From, and not any more."""
LOW, NEARLY = 500_000_000, 2_000_000_000
"""Bytes free below which a disk is too full, and nearly so."""

_REMOTE = ("nfs", "cifs", "smb", "9p", "afs", "fuse.sshfs", "fuse.rclone", "webdav", "davfs", "ceph", "glusterfs")
"""How kinds of file systems begin that lie on another machine. From memory; others may be missing."""


def python(version: tuple[int, ...] = sys.version_info[:3]) -> Iterator[Finding]:
    """Whether this Python is one the program is made for."""
    told = ".".join(map(str, version))
    level = GOOD if PYTHON[0] <= version[:2] < PYTHON[1] else WRONG
    name = "python" if level == GOOD else "python_other"
    yield _finding(level, name, version=told, system=platform.system() or sys.platform)


def packages(distribution: str = "bonedocket") -> Iterator[Finding]:
    """Whether what the program needs is installed; the extras of the cabin are the cabin's own check."""
    try:
        wanted = importlib.metadata.requires(distribution) or []
        version = importlib.metadata.version(distribution)
    except importlib.metadata.PackageNotFoundError:
        yield _finding(WRONG, "not_installed")
        return
    # Those with a condition are an extra's, or another system's.
    names = [found[0] for one in wanted if ";" not in one and (found := re.match(r"[\w.-]+", one))]
    missing = [one for one in names if not _has(one)]
    if missing:
        yield _finding(WRONG, "packages_missing", names=", ".join(missing))
    else:
        yield _finding(GOOD, "packages", version=version)


def _has(distribution: str) -> bool:
    try:
        importlib.metadata.version(distribution)
    except importlib.metadata.PackageNotFoundError:
        return False
    return True


def shipped() -> Iterator[Finding]:
    """Whether tables, texts, fonts and plates are there and can be read."""
    try:
        known, said = assets.knowledge(), assets.texts()
        missing = [path.name for path in (assets.font(), assets.font(bold=True)) if not path.is_file()]
        plates = len(list((assets.root() / "plates").rglob("*.svg")))
    except (assets.AssetError, OSError, LookupError, ValueError) as error:
        yield _finding(WRONG, "shipped_damaged", why=error)
        return
    if missing or not plates or not said:
        yield _finding(WRONG, "shipped_damaged", why=", ".join(missing) or "plates")
    else:
        yield _finding(GOOD, "shipped", elements=len(known.elements), plates=plates)


def zone(now: datetime) -> Iterator[Finding]:
    """Times are shown in this machine's zone."""
    yield _finding(GOOD, "zone", now=now.strftime("%Y-%m-%d %H:%M"), zone=now.strftime("%Z (UTC%z)"))


def writable(folder: Path) -> Iterator[Finding]:
    """Whether a file can be made in a folder. It is taken away again."""
    try:
        with tempfile.NamedTemporaryFile(prefix=".doctor-", dir=folder) as file:
            file.write(b"x")
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        yield _finding(WRONG, "not_writable", folder=folder, why=error.strerror or error)
    else:
        yield _finding(GOOD, "writable", folder=folder)


def room(folder: Path, free: Callable[[Path], int] | None = None) -> Iterator[Finding]:
    """How much room the disk under a folder has."""
    try:
        found = (free or (lambda path: shutil.disk_usage(path).free))(folder)
    except OSError as error:
        yield _finding(NOTE, "room_unknown", folder=folder, why=error.strerror or error)
        return
    level = WRONG if found < LOW else NOTE if found < NEARLY else GOOD
    name = {WRONG: "room_none", NOTE: "room_little", GOOD: "room"}[level]
    yield _finding(level, name, megabytes=found // 1_000_000)


def local(folder: Path, system: str = "", kind: Callable[[Path], str] | None = None) -> Iterator[Finding]:
    """Whether a folder lies on this machine, as far as can be told: locks do not hold on a network drive."""
    path = Path(os.path.abspath(folder))
    found = (kind or _KINDS.get(system or platform.system(), _unknown))(path)
    if not found:
        yield _finding(NOTE, "drive_unknown")
    elif found.lower().startswith(_REMOTE):
        yield _finding(WRONG, "drive_remote", kind=found)
    else:
        yield _finding(GOOD, "drive", kind=found)


def kind_in(mounts: str, path: Path) -> str:
    """The kind of file system a path lies on, by a list such as Linux keeps in /proc/mounts; "" if it is not there."""
    best, found = -1, ""
    for line in mounts.splitlines():
        fields = line.split()
        if len(fields) < 3:
            continue
        # Blanks in names are written as octal numbers there.
        at = Path(re.sub(r"\\(\d{3})", lambda one: chr(int(one[1], 8)), fields[1]))
        if path.is_relative_to(at) and len(at.parts) >= best:
            best, found = len(at.parts), fields[2]
    return found


def _linux(path: Path) -> str:
    try:
        return kind_in(Path("/proc/mounts").read_text("utf-8", "replace"), path.resolve())
    except OSError:
        return ""


def kind_in_mac(said: str, path: Path) -> str:
    """The same by what `mount` prints on a Mac: `/dev/disk1 on /Volumes/x (apfs, local)`."""
    lines = []
    for line in said.splitlines():
        if found := re.fullmatch(r"(.+) on (.+) \((\w+).*\)", line):
            lines.append(f"x {found[2].replace(' ', chr(92) + '040')} {found[3]}")
    return kind_in("\n".join(lines), path)


def _mac(path: Path) -> str:
    try:
        said = subprocess.run(["/sbin/mount"], capture_output=True, text=True, timeout=5, check=False).stdout
    except (OSError, subprocess.SubprocessError):
        return ""
    return kind_in_mac(said, path.resolve())


def _windows(path: Path) -> str:
    if str(path).startswith("\\\\"):
        return "smb"
    try:
        import ctypes

        kind = ctypes.windll.kernel32.GetDriveTypeW(path.anchor)  # type: ignore[attr-defined]
    except (ImportError, AttributeError, OSError):
        return ""
    return {2: "removable", 3: "fixed", 4: "smb"}.get(kind, "")


def _unknown(path: Path) -> str:
    return ""


_KINDS: dict[str, Callable[[Path], str]] = {"Linux": _linux, "Darwin": _mac, "Windows": _windows}


def _finding(level: str, name: str, **fields: object) -> Finding:
    return Finding(level, f"doctor.{name}", fields)
