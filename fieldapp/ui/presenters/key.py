"""A specialist's own key on this tablet: fetched while the cabin is near, so that an assessment can be signed without.

Not here: signing (presenters.assess), and the fetching itself (sync.personal_key), which is passed in as the cabin.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from fieldapp.sync import personal_key
from fieldapp.sync.errors import NotEnrolled
from fieldapp.ui.presenters.cabin import Cabin
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.texts import say, word

ROLES = ("zooarchaeologist", "human_osteologist")
"""The roles that sign on a tablet. A director signs a release at the desk."""


@dataclass
class Key:
    """The key screen. `running` while it is fetched elsewhere; `told`: how that went."""

    desk: Desk
    cabin: Cabin
    running: bool = False
    told: str = ""
    back: str = field(default="sync", repr=False)

    def wanted(self) -> bool:
        """Whether the one who records signs anything on a tablet."""
        return self.desk.by["role"] in ROLES and bool(self.desk.by["person"])

    def kept(self) -> personal_key.PersonalKey | None:
        """The key of the one who records, if it is here."""
        by = self.desk.by
        found = personal_key.kept(self.desk.notebook)
        return next((one for one in found if (one.person, one.role) == (by["person"], by["role"])), None)

    def words(self) -> list[str]:
        """How it stands."""
        by = self.desk.by
        whose = say("key.whose", name=by["name"] or say("nobody"), role=word("role", by["role"]))
        here = say("key.here" if self.kept() else "key.not_here")
        return [whose, here, say("key.why"), *([self.told] if self.told else [])]

    def begin(self, password: str) -> bool:
        """Marks it as running. False, with `told` saying why, where it cannot begin."""
        if self.running:
            return False
        if not self.wanted():
            self.told = say("key.no_role")
        elif not self.desk.cabin.get("address"):
            self.told = str(NotEnrolled())
        elif not password:
            self.told = say("key.need_password")
        else:
            self.running, self.told = True, ""
        return self.running

    def run(self, password: str, heard: Callable[[], None]) -> None:
        """Fetches it, for a thread of its own."""
        by = self.desk.by
        trouble = self.cabin.fetch_key(by["person"], by["role"], password)
        self.told = trouble or say("key.fetched")
        self.running = False
        heard()

    def forget(self) -> None:
        """Takes the key off this tablet."""
        found = self.kept()
        if found is not None:
            personal_key.forget(self.desk.notebook, found)
            self.told = say("key.forgotten")
