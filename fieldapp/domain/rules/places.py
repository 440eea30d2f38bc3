"""Rules about where a record belongs: its label, its bag, its context, and the dockets it is joined to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from fieldapp.domain import labels
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.readings import compare
from fieldapp.domain.rules.findings import Around, Docket, Finding, Record, by_name, number, shown, text


def place_missing(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Neither a bag nor a context: nobody can say where it is from."""
    if text(docket.values.get("bag")) is None and text(docket.values.get("context")) is None:
        yield "bag", {}


def bag_of_other_context(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """In a bag of one context, and said to be from another."""
    own, bag = text(docket.values.get("context")), around.bag
    bags = text(bag.get("context")) if bag is not None else None
    if own is not None and bags is not None and own != bags:
        yield "context", {}


def context_closed(record: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Made now, for a context that has been closed."""
    if around.new and around.context is not None and around.context.get("state") == "closed":
        path = "bag" if text(record.values.get("bag")) else "context"
        yield path, {"context": shown(around.context.get("number") or around.context_id)}


def label_check_wrong(record: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A label whose check character does not fit: a character was misread or mistyped."""
    if record.label is not None:
        try:
            labels.read(record.label)
        except labels.LabelError as error:
            if error.reason == "check":
                yield "label", {"label": shown(record.label)}


def label_repeated(record: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A label that another record carries too."""
    if record.label is not None and around.labels.get(record.label, 0) > 1:
        yield "label", {"label": shown(record.label), "number": str(around.labels[record.label])}


def possible_double(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """The same weight and the same reading as another docket of the bag: one bone recorded twice, perhaps. Those that
    were said to be one bone, its pieces or two bones are not among the siblings any more (records.checking)."""
    weight = number(docket.values.get("weight_g"))
    if weight is None or docket.element is None or not docket.present:
        return  # Scraps of which nothing more is written are alike by the dozen.
    for other in around.siblings:
        if number(other.get("weight_g")) == weight and isinstance(other.get("reading"), Mapping):
            if compare(docket.reading, other["reading"], know) == "same":
                yield "weight_g", docket.names(other=shown(other.get("label") or "?"))
                return


def joined_to_itself(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Said to be one bone with itself."""
    if around.record and docket.values.get(f"same_as/{around.record}") is True:
        yield f"same_as/{around.record}", {}


def joined_but_conflicting(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Said to be one bone with another docket, whose reading contradicts this one."""
    for other, values in around.joined.items():
        # Pieces of one bone that the dig broke hold other portions of it: rules.breakage looks at those.
        pieces = isinstance(docket.values.get(f"joins/{other}"), Mapping)
        if docket.values.get(f"same_as/{other}") is True and other != around.record and not pieces:
            reading = values.get("reading")
            if isinstance(reading, Mapping) and compare(docket.reading, reading, know) == "conflict":
                yield f"same_as/{other}", {"other": shown(values.get("label") or other)}


def burrower(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """An animal that digs itself in: perhaps later than the context. Quiet where it is said how the deposit lay."""
    if docket.taxon_row is not None and docket.taxon_row.burrows == "yes" and around.context is not None:
        if around.context.get("deposit") not in ("sealed", "open", "disturbed"):
            yield "reading/taxon", docket.names(context=shown(around.context.get("number") or around.context_id))


RULES = by_name(
    place_missing,
    bag_of_other_context,
    context_closed,
    label_check_wrong,
    label_repeated,
    possible_double,
    joined_to_itself,
    joined_but_conflicting,
    burrower,
)
NEEDS = {
    "bag_of_other_context": "context",
    "label_check_wrong": "label",
    "label_repeated": "label",
    "possible_double": "weight_g",
    "joined_to_itself": "same_as",
    "joined_but_conflicting": "same_as",
}
"""{rule: what it looks at, without which it is passed by}: see rules.NEEDS."""
