"""The ledger's tables (SQLAlchemy Core). Only columns and keys; what they mean in use lies in the modules beside it.

A column's `doc` is for who reads this file; databases are not told, so that a word may change without a migration.

`change` and `unread` hold what came, verbatim, and are never altered. `record`, `disagreement`, `problem`, `link` and
the lines of lists are worked out from `change` and can be rebuilt. The rest is the cabin's own: people, tablets, what
was noticed.
"""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    UniqueConstraint,
)

from server.ledger.columns import Integer, Text

metadata = MetaData()

# -- what came ------------------------------------------------------------------------------------------------------

change = Table(
    "change",
    metadata,
    Column("seq", Integer, primary_key=True, doc="the ledger's own count, handed out under the writer's lock"),
    Column("id", Text, nullable=False, unique=True),
    Column("notebook", Text, nullable=False),
    Column("n", Integer, nullable=False),
    Column("record", Text, nullable=False, index=True),
    Column("kind", Text, nullable=False),
    Column("site", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("closed", Boolean, nullable=False, doc="sealed places only: never handed to other tablets"),
    Column("received_at", Text, nullable=False),
    Column("source", Text, nullable=False, doc="who brought it: a notebook's id, or a file's name"),
    # Not unique: a notebook that forked has two changes of one number, and both are kept.
    Index("change_of_notebook", "notebook", "n"),
)

unread = Table(
    "unread",
    metadata,
    Column("nr", Integer, primary_key=True),
    Column("id", Text, nullable=False, doc="the id it came with, which may not be its hash"),
    Column("digest", Text, nullable=False, doc="SHA-256 of `body`"),
    Column("answer", Text, nullable=False, doc="kept_unread or set_aside"),
    Column("why", Text, nullable=False),
    Column("notebook", Text),
    Column("n", Integer),
    Column("body", LargeBinary, nullable=False, doc="UTF-8; halves of pairs written as they came"),
    Column("received_at", Text, nullable=False),
    Column("source", Text, nullable=False),
    UniqueConstraint("id", "digest"),
    Index("unread_of_notebook", "notebook", "n"),
)

notebook = Table(
    "notebook",
    metadata,
    Column("id", Text, primary_key=True),
    Column("reached", Integer, nullable=False, doc="every number up to here has come"),
    Column("highest", Integer, nullable=False),
    Column("gap_noted", Integer, doc="the `reached` at which its gap was last noted"),
)

# -- what is worked out of it ---------------------------------------------------------------------------------------

record = Table(
    "record",
    metadata,
    Column("id", Text, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("site", Text, nullable=False),
    Column("life", Text, nullable=False),
    Column("label", Text, doc="label, number or name"),
    Column("context", Text, doc="the id it names itself; a docket in a bag takes the bag's"),
    Column("bag", Text),
    Column("docket", Text, doc="of a hold: the docket it follows"),
    Column("answer", Text, doc="where its own human readings leave it; null where the question is not its own"),
    Column("assessed", Boolean, nullable=False, doc="its answer depends on who may assess"),
    Column("due", Boolean, nullable=False, doc="changed since the rules last looked at it"),
    # The long one last: lists read what stands before it without touching it.
    Column("state", Text, nullable=False, doc="the fold, as folding.state_text writes it"),
    Index("record_in_context", "context", "kind"),
    Index("record_by_label", "label"),
    Index("record_in_bag", "bag"),
    Index("record_by_answer", "answer", "life"),
    Index("record_by_kind", "kind", "life"),
    Index("record_due", "due", "bag"),
)

link = Table(
    "link",
    metadata,
    Column("record", Text, nullable=False),
    Column("sort", Text, nullable=False, doc="one of folding.LINKS, about, or picture"),
    Column("other", Text, nullable=False, doc="a record that may not have come yet; of a picture, its SHA-256"),
    PrimaryKeyConstraint("record", "sort", "other"),
    Index("link_from", "other"),
)

disagreement = Table(
    "disagreement",
    metadata,
    Column("record", ForeignKey("record.id"), nullable=False),
    Column("path", Text, nullable=False),
    Column("nature", Text, nullable=False),
    PrimaryKeyConstraint("record", "path"),
)

problem = Table(
    "problem",
    metadata,
    Column("nr", Integer, primary_key=True),
    Column("record", ForeignKey("record.id"), nullable=False, index=True),
    Column("rule", Text, nullable=False),
    Column("level", Text, nullable=False),
    Column("path", Text, nullable=False),
    Column("fields", Text, nullable=False, doc="JSON: what fills the rule's sentence"),
    Column("sort", Text, doc="the record's label, as in the lines of lists"),
    Index("problem_by_level", "level", "sort"),
)

docket_line = Table(
    "docket_line",
    metadata,
    Column("record", Text, primary_key=True),
    Column("context", Text, doc="where it lies: that of its bag, once the bag has come"),
    Column("sort", Text, nullable=False, doc="its label, so that 99 comes before 100"),
    Column("find", Text, nullable=False, doc="its own words, folded: label, find number, finder"),
    Column("element", Text),
    Column("taxon", Text),
    Column("side", Text),
    Column("stage", Text),
    Column("pieces", Integer, nullable=False, doc="its count, 1 where it says none"),
    Column("asks", Boolean, nullable=False, doc="whoever recorded it asks what it is"),
    Column("mark", Text, nullable=False, doc="fieldapp.records.checked.state_of"),
    Column("conflicts", Integer, nullable=False),
    Column("precisions", Integer, nullable=False),
    Column("problems", Integer, nullable=False),
    Column("gravest", Integer, nullable=False, doc="lines.GRAVITY of the gravest problem, 0 for none"),
    Column("place", Text, doc="its context's number, as in `sort`"),
    Column("weight_g", Float),
    Column("hard", Boolean, doc="not easily read: fieldapp.records.second.is_hard, or the rules have found something"),
    Index("docket_line_by_sort", "sort", "record"),
    # With what a list of contexts adds up: asked of the index alone.
    Index("docket_line_in_context", "context", "sort", "conflicts", "precisions", "problems"),
)

context_line = Table(
    "context_line",
    metadata,
    Column("record", Text, primary_key=True),
    Column("sort", Text, nullable=False, doc="its number, so that 99 comes before 100"),
    Column("type", Text),
    Column("trench", Text),
    Column("phase", Text),
    Column("grave_like", Text),
    Column("state", Text),
    Column("disagreements", Integer, nullable=False, doc="of its own record"),
    Column("problems", Integer, nullable=False),
)

bag_line = Table(
    "bag_line",
    metadata,
    Column("record", Text, primary_key=True),
    Column("context", Text),
    Column("place", Text, doc="its context's number, as in `sort`"),
    Column("sort", Text, nullable=False),
    Column("recovery", Text),
    Column("mesh_mm", Float),
    Column("weight_g", Float),
    Column("box", Text),
    Column("held_by", Text),
    Column("steps", Text, nullable=False, doc="the words ticked, parted by spaces"),
)

WORKED_OUT = frozenset({"record", "link", "disagreement", "problem", "docket_line", "context_line", "bag_line"})
"""Tables that are made from the changes and can be made again: a backup holds all others."""

# -- the cabin's own ------------------------------------------------------------------------------------------------

meta = Table("meta", metadata, Column("key", Text, primary_key=True), Column("value", Text, nullable=False))

account = Table(
    "account",
    metadata,
    Column("id", Text, primary_key=True),
    Column("person", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("role", Text, nullable=False),
    Column("key", Text, nullable=False, doc="id of the key granted in the person's record"),
    Column("password", Text, nullable=False, doc="argon2id"),
    Column("private", Text, nullable=False, doc="PKCS8 PEM, encrypted under the password"),
    Column("active", Boolean, nullable=False),
    Column("wrong", Integer, nullable=False, doc="wrong passwords in a row"),
    Column("locked_until", Text),
    UniqueConstraint("person", "role"),
)

session = Table(
    "session",
    metadata,
    Column("id", Text, primary_key=True, doc="SHA-256 of the id in the cookie, hex"),
    Column("account", Text, nullable=False, index=True),
    Column("began_at", Text, nullable=False),
)

guess = Table(
    "guess",
    metadata,
    Column("id", Text, primary_key=True),
    Column("place", Text, nullable=False, doc="an IPv4 address, or the network of an IPv6 one"),
    Column("at", Text, nullable=False, index=True),
    Index("guess_by_place", "place", "at"),
)

enrolment = Table(
    "enrolment",
    metadata,
    Column("id", Text, primary_key=True),
    Column("key", Text, nullable=False, doc="scrypt of the typed secret, hex"),
    Column("letter", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("expires_at", Text, nullable=False),
    Column("used_by", Text, doc="the notebook that used it"),
)

device = Table(
    "device",
    metadata,
    Column("notebook", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("letter", Text, nullable=False, unique=True),
    Column("token", Text, nullable=False, unique=True, doc="SHA-256 of the token, hex"),
    Column("enrolled_at", Text, nullable=False),
    Column("seen_at", Text),
    Column("withdrawn_at", Text),
)

photo = Table(
    "photo",
    metadata,
    Column("sha256", Text, primary_key=True, doc="of the picture itself, also where it lies sealed"),
    Column("size", Integer, nullable=False, doc="bytes of the file as it lies in the store"),
    Column("sealed", Boolean, nullable=False, doc="only the cabin's seal key opens it"),
    Column("sort", Text, nullable=False, doc="jpeg, png or webp, by its own first bytes; else other"),
    Column("received_at", Text, nullable=False),
    Column("notebook", Text, nullable=False, doc="of the tablet that brought it"),
)

carry_key = Table(
    "carry_key",
    metadata,
    Column("notebook", Text, nullable=False),
    Column("sign", Text, nullable=False, doc="Ed25519, base64: its carry-files are signed with it"),
    Column("seal", Text, nullable=False, doc="X25519, base64: answers are sealed to it"),
    Column("at", Text, nullable=False),
    # Not the notebook alone: a second key means a copy of it, and both are kept.
    PrimaryKeyConstraint("notebook", "sign"),
)

carried = Table(
    "carried",
    metadata,
    Column("file", Text, primary_key=True, doc="the carry-file's own id"),
    Column("notebook", Text, nullable=False, index=True),
    Column("made_at", Text, nullable=False, doc="as the tablet's clock had it"),
    Column("loaded_at", Text, nullable=False, doc="the first time"),
)

life = Table(
    "life",
    metadata,
    Column("notebook", Text, primary_key=True, doc="a tablet that found itself to be a copy goes on under it"),
    Column("came_from", Text, nullable=False, doc="the notebook it was until then; its row in `device` stays"),
    Column("at", Text, nullable=False),
)

event = Table(
    "event",
    metadata,
    Column("nr", Integer, primary_key=True),
    Column("at", Text, nullable=False),
    Column("what", Text, nullable=False, index=True, doc="key of a sentence in the texts: cabin.event.<what>"),
    Column("who", Text, nullable=False, doc="a person, a notebook, or `cabin`"),
    Column("fields", Text, nullable=False, doc="JSON: what fills the sentence"),
)
