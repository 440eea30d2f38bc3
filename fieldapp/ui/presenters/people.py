"""Who is recording: people the cabin has told of, or a name typed here."""

from __future__ import annotations

from fieldapp.domain.alphabet import alphabetical
from fieldapp.store.own import written
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.desk import LOCAL_NAMES, Desk
from fieldapp.ui.presenters.keyed import NAME, Entry
from fieldapp.ui.texts import say, word


class People:
    """The people screen."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.name = Entry(NAME, 40, upper=False)
        self.name.allowed += NAME.lower()

    def choices(self) -> list[Choice]:
        """One button a person: the cabin's first, then names typed here."""
        now = self.desk.person or {}
        found = [
            Choice(
                f"person.{one.id}",
                str(one.value("name") or ""),
                note=word("role", one.value("role")),
                chosen=now.get("person") == one.id,
                sign="person",
            )
            for one in sorted(self.desk.persons(), key=lambda one: alphabetical(str(one.value("name"))))
        ]
        found += [
            Choice(
                f"person.local.{name}",
                name,
                note=word("role", "recorder"),
                chosen=not now.get("person") and now.get("name") == name,
                sign="person",
            )
            for name in self.desk.local_names()
        ]
        return found

    def totals(self) -> str:
        """What the one who records has written today, and what of the tablet's is not sent."""
        name, day = self.desk.by["name"], self.desk.now()[:10]
        if not name:
            return ""
        mine = [one for one in written(self.desk.notebook) if one.by == name and one.at[:10] == day]
        new = {one.record for one in mine if one.new and one.kind == "docket"}
        mended = {one.record for one in mine if one.kind == "docket"} - new
        others = {one.record for one in mine if one.new and one.kind != "docket"}
        return say(
            "people.totals", name=name, new=len(new), mended=len(mended), others=len(others), unsent=self.desk.unsent()
        )

    def choose(self, ident: str) -> None:
        """Takes the person with a button's ident."""
        key = ident.removeprefix("person.")
        if key.startswith("local."):
            self.desk.go(person=self.desk.make_person(key.removeprefix("local.")))
            return
        record = self.desk.record(key)
        if record is not None:
            role = record.value("role") or "recorder"
            self.desk.go(person={"person": record.id, "name": record.value("name") or "", "role": role})

    def add(self) -> bool:
        """Takes the typed name. False while there is none."""
        name = " ".join(self.name.text.split())
        if not name:
            return False
        names = [name, *(one for one in self.desk.local_names() if one != name)][:12]
        self.desk.notebook.set_setting(LOCAL_NAMES, names)
        self.desk.go(person=self.desk.make_person(name))
        self.name.clear()
        return True
