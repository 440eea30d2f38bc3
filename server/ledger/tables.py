"""The ledger's tables (SQLAlchemy Core). Only columns and keys; what they mean in use lies in the modules beside it.

`change` and `unread` hold what came, verbatim, and are never altered. `record`, `disagreement`, `problem` and `link`
are worked out from `change` and can be rebuilt. The rest is the cabin's own: people, tablets, what was noticed.
"""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData()

# -- what came ------------------------------------------------------------------------------------------------------

change = Table(
    "change",
    metadata,
    Column("seq", Integer, primary_key=True, comment="the ledger's own count, handed out under the writer's lock"),
    Column("id", Text, nullable=False, unique=True),
    Column("notebook", Text, nullable=False),
    Column("n", Integer, nullable=False),
    Column("record", Text, nullable=False, index=True),
    Column("kind", Text, nullable=False),
    Column("site", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("closed", Boolean, nullable=False, comment="sealed places only: never handed to other tablets"),
    Column("received_at", Text, nullable=False),
    Column("source", Text, nullable=False, comment="who brought it: a notebook's id, or a file's name"),
    # Not unique: a notebook that forked has two changes of one number, and both are kept.
    Index("change_of_notebook", "notebook", "n"),
)

unread = Table(
    "unread",
    metadata,
    Column("nr", Integer, primary_key=True),
    Column("id", Text, nullable=False, comment="the id it came with, which may not be its hash"),
    Column("digest", Text, nullable=False, comment="SHA-256 of `body`"),
    Column("answer", Text, nullable=False, comment="kept_unread or set_aside"),
    Column("why", Text, nullable=False),
    Column("notebook", Text),
    Column("n", Integer),
    Column("body", LargeBinary, nullable=False, comment="UTF-8; halves of pairs written as they came"),
    Column("received_at", Text, nullable=False),
    Column("source", Text, nullable=False),
    UniqueConstraint("id", "digest"),
    Index("unread_of_notebook", "notebook", "n"),
)

notebook = Table(
    "notebook",
    metadata,
    Column("id", Text, primary_key=True),
    Column("reached", Integer, nullable=False, comment="every number up to here has come"),
    Column("highest", Integer, nullable=False),
    Column("gap_noted", Integer, comment="the `reached` at which its gap was last noted"),
)

# -- what is worked out of it ---------------------------------------------------------------------------------------

record = Table(
    "record",
    metadata,
    Column("id", Text, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("site", Text, nullable=False),
    Column("life", Text, nullable=False),
    Column("label", Text, comment="label, number or name"),
    Column("context", Text, comment="the id it names itself; a docket in a bag takes the bag's"),
    Column("bag", Text),
    Column("docket", Text, comment="of a hold: the docket it follows"),
    Column("answer", Text, comment="where its own human readings leave it; null where the question is not its own"),
    Column("assessed", Boolean, nullable=False, comment="its answer depends on who may assess"),
    Column("due", Boolean, nullable=False, comment="changed since the rules last looked at it"),
    # The long one last: lists read what stands before it without touching it.
    Column("state", Text, nullable=False, comment="the fold, as folding.state_text writes it"),
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
    Column("sort", Text, nullable=False, comment="one of folding.LINKS, or about"),
    Column("other", Text, nullable=False, comment="a record that may not have come yet"),
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
    Column("level", Text, nullable=False, index=True),
    Column("path", Text, nullable=False),
    Column("fields", Text, nullable=False, comment="JSON: what fills the rule's sentence"),
)

# -- the cabin's own ------------------------------------------------------------------------------------------------

meta = Table("meta", metadata, Column("key", Text, primary_key=True), Column("value", Text, nullable=False))

account = Table(
    "account",
    metadata,
    Column("id", Text, primary_key=True),
    Column("person", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("role", Text, nullable=False),
    Column("key", Text, nullable=False, comment="id of the key granted in the person's record"),
    Column("password", Text, nullable=False, comment="argon2id"),
    Column("private", Text, nullable=False, comment="PKCS8 PEM, encrypted under the password"),
    Column("active", Boolean, nullable=False),
    Column("wrong", Integer, nullable=False, comment="wrong passwords in a row"),
    Column("locked_until", Text),
    UniqueConstraint("person", "role"),
)

enrolment = Table(
    "enrolment",
    metadata,
    Column("id", Text, primary_key=True),
    Column("key", Text, nullable=False, comment="scrypt of the typed secret, hex"),
    Column("letter", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("expires_at", Text, nullable=False),
    Column("used_by", Text, comment="the notebook that used it"),
)

device = Table(
    "device",
    metadata,
    Column("notebook", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("letter", Text, nullable=False, unique=True),
    Column("token", Text, nullable=False, unique=True, comment="SHA-256 of the token, hex"),
    Column("enrolled_at", Text, nullable=False),
    Column("seen_at", Text),
    Column("withdrawn_at", Text),
)

life = Table(
    "life",
    metadata,
    Column("notebook", Text, primary_key=True, comment="a tablet that found itself to be a copy goes on under it"),
    Column("came_from", Text, nullable=False, comment="the notebook it was until then; its row in `device` stays"),
    Column("at", Text, nullable=False),
)

event = Table(
    "event",
    metadata,
    Column("nr", Integer, primary_key=True),
    Column("at", Text, nullable=False),
    Column("what", Text, nullable=False, index=True, comment="key of a sentence in the texts: cabin.event.<what>"),
    Column("who", Text, nullable=False, comment="a person, a notebook, or `cabin`"),
    Column("fields", Text, nullable=False, comment="JSON: what fills the sentence"),
)
