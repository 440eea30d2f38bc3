"""The cabin's side of `bonedocket doctor`: its folder, its ledger and keys, and how tablets reach it.

`fits` and `examine` are what the command asks for (entry point `bonedocket.doctor`). Alters nothing, but that opening
a ledger of an older version brings it up to date, as with every command. Not here: mending.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from fieldapp.doctor.machine import local, room, writable
from fieldapp.findings import Finding
from server.config import Config
from server.doctor import holdings, network
from server.unit import configs, is_unit


def fits(folder: Path) -> bool:
    """Whether there is a cabin in the folder, or what is left of one."""
    config = Config(folder)
    return any(path.exists() for path in (config.ledger, config.certificate, config.certificate_key, config.seal_key))


def examine(folder: Path, port: int) -> Iterator[Finding]:
    """Everything about one, while it runs or not."""
    config = Config(folder, port=port)
    yield from writable(folder)
    yield from room(folder)
    yield from local(folder)
    yield from holdings.sqlite()
    for one in configs(config).values() if is_unit(config) else [config]:
        yield from holdings.settings(one)
        yield from holdings.ledger(one)
        yield from holdings.private(one)
        yield from holdings.pictures(one)
        yield from holdings.left_over(one.data)
    yield from network.answering(config)
    yield from network.ways(config)
    yield from network.named()
    yield from network.firewall(port)
