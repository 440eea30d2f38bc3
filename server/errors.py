"""What can go wrong at the cabin, told in sentences somebody can act on.

    CabinError
    ├── LedgerExists      a ledger is to be made where there is one
    ├── LedgerMissing     there is no ledger in the folder
    ├── LedgerIsNewer     a later program has written the ledger
    ├── KeyMissing        a key file of the cabin is gone
    ├── NotTheSite        a second site record was to be written
    ├── ValueNotKept      a value cannot be written down
    ├── SignInRefused     wrong password, no such account, or one that is switched off
    ├── SignInLocked      too many wrong passwords; `until` says how long
    ├── AccountExists     a person has an account for this role already
    ├── NoSuchRole        a word that is no role
    ├── NoSuchPerson      there is no such person, account or tablet
    ├── NoSuchWord        a code is to stand for a word that the tables do not have
    ├── PlaceUnsourced    words about local law without source or date
    ├── CodeRefused       an enrolment code that is wrong, used or too old
    ├── TooManyCodes      too many wrong codes in a row
    ├── LifeTaken         a tablet wants to go on under a notebook that is somebody's
    ├── TooManyLives      too many tablets went on as new ones
    ├── NotEnrolled       a token that is unknown or belongs to another notebook
    └── TokenWithdrawn    a token that was withdrawn at the cabin

Every error carries its parts in `fields`, the key of its sentence in `key`, and the HTTP status it answers with.
"""

from __future__ import annotations

from http import HTTPStatus

from fieldapp.assets import texts


class CabinError(Exception):
    """Base of the cabin's errors."""

    key = "cabin.error"
    status = HTTPStatus.CONFLICT

    def __init__(self, **fields: object) -> None:
        super().__init__(self.key)
        self.fields = fields

    def __str__(self) -> str:
        return texts()[self.key].format(**self.fields)


class LedgerExists(CabinError):
    """A ledger is never made over another."""

    key = "cabin.ledger_exists"


class LedgerMissing(CabinError):
    """The folder holds no ledger yet."""

    key = "cabin.ledger_missing"


class LedgerIsNewer(CabinError):
    """Nothing is touched."""

    key = "cabin.ledger_is_newer"


class KeyMissing(CabinError):
    """The cabin does not start without it: another key would shut every tablet out unseen."""

    key = "cabin.key_missing"


class NotTheSite(CabinError):
    """A ledger is one site's."""

    key = "cabin.not_the_site"


class ValueNotKept(CabinError):
    """Nothing of the change was kept."""

    key = "cabin.value_not_kept"
    status = HTTPStatus.UNPROCESSABLE_ENTITY


class SignInRefused(CabinError):
    """Which of the reasons it was is not told to who asks."""

    key = "cabin.sign_in_refused"
    status = HTTPStatus.UNAUTHORIZED


class SignInLocked(CabinError):
    """Also a right password is refused until then."""

    key = "cabin.sign_in_locked"
    status = HTTPStatus.TOO_MANY_REQUESTS


class AccountExists(CabinError):
    """One account a person and role."""

    key = "cabin.account_exists"


class NoSuchRole(CabinError):
    """Roles are a closed list."""

    key = "cabin.no_such_role"


class NoSuchPerson(CabinError):
    """Nobody and nothing of that name or id."""

    key = "cabin.no_such"
    status = HTTPStatus.NOT_FOUND


class NoSuchWord(CabinError):
    """A short code is to stand for a word that is in none of the lists that take one."""

    key = "cabin.no_such_word"


class PlaceUnsourced(CabinError):
    """Words about local law without where they come from, or without when somebody checked them."""

    key = "cabin.place_unsourced"


class CodeRefused(CabinError):
    """Wrong, used and too old are not told apart to who asks."""

    key = "cabin.code_refused"
    status = HTTPStatus.FORBIDDEN


class TooManyCodes(CabinError):
    """Guessing is slowed down for everybody."""

    key = "cabin.too_many_codes"
    status = HTTPStatus.TOO_MANY_REQUESTS


class LifeTaken(CabinError):
    """A notebook that is known is never given away."""

    key = "cabin.life_taken"


class TooManyLives(CabinError):
    """Letters are few."""

    key = "cabin.too_many_lives"
    status = HTTPStatus.TOO_MANY_REQUESTS


class NotEnrolled(CabinError):
    """The tablet has to be enrolled."""

    key = "cabin.not_enrolled"
    status = HTTPStatus.UNAUTHORIZED


class TokenWithdrawn(CabinError):
    """The tablet was enrolled once and is no longer let in."""

    key = "cabin.token_withdrawn"
    status = HTTPStatus.UNAUTHORIZED
