"""What can go wrong at the cabin, told in sentences somebody can act on.

    CabinError
    ├── LedgerExists      a ledger is to be made where there is one
    ├── LedgerMissing     there is no ledger in the folder
    ├── LedgerIsNewer     a later program has written the ledger
    ├── LedgerAddress     what should say where the ledger lies does not
    ├── SettingsUnreadable the cabin's settings cannot be read
    ├── LedgerUnreachable the ledger's database does not answer
    ├── LedgerBusy        somebody else has been writing for too long
    ├── WorkersRefused    several workers where that cannot be
    ├── KeyMissing        a key file of the cabin is gone
    ├── NotTheSite        a second site record was to be written
    ├── ValueNotKept      a value cannot be written down
    ├── SignInRefused     wrong password, no such account, or one that is switched off
    ├── SignInLocked      too many wrong passwords; `until` says how long
    │   └── PlaceLocked   too many wrong passwords from one address, whatever the accounts
    ├── AccountExists     a person has an account for this role already
    ├── LastAdministrator nobody would be left who looks after accounts
    ├── DoneAlready       a form was sent twice, and what it made is shown once
    ├── NoSuchRole        a word that is no role
    ├── NoSuchPerson      there is no such person, account or tablet
    ├── NoSuchWord        a code is to stand for a word that the tables do not have
    ├── PlaceUnsourced    words about local law without source or date
    ├── NoSites           a unit's folder without a site in it
    ├── UnitNotASite      a command for one site was given the folder of several
    ├── UnitIsACabin      a folder that is to hold several sites is one site's cabin
    ├── CodeRefused       an enrolment code that is wrong, used or too old
    ├── TooManyCodes      too many wrong codes in a row
    ├── PhotoOffset       a picture's bytes do not follow on those that are there; `have` says where to go on
    ├── PhotoTooLarge     a picture that is larger than one may be, or than was said
    ├── PhotoWrong        what came whole is not the picture of that name
    ├── PhotoStoreAway    the pictures' store does not answer; `cause` is its word
    ├── LifeTaken         a tablet wants to go on under a notebook that is somebody's
    ├── TooManyLives      too many tablets went on as new ones
    ├── NotEnrolled       a token that is unknown or belongs to another notebook
    ├── TokenWithdrawn    a token that was withdrawn at the cabin
    ├── SettingsWrong     the cabin's settings do not say what they should
    ├── BackupError       see server.keeping.errors
    └── CarryRefused      a carry-file, of which nothing was taken in:
        ├── CarryNone          it is no carry-file
        ├── CarryNewer         a later program made it
        ├── CarryCut           it ends before its end
        ├── CarryDamaged       it is not, byte for byte, what was written
        ├── CarryNotSigned     the tablet it says it is from has not signed it
        ├── CarryForeign       it is for another cabin, of another site, or no tablet's at all
        ├── CarryNotEnrolled   its tablet was never let in
        ├── CarryWithdrawn     its tablet is let in no more, and nobody has decided to load it all the same
        ├── CarryKeyUnknown    this cabin was never told the key it is signed with
        └── CarryNoAnswer      a tablet that is let in no more gets no answer

Every error carries its parts in `fields`, the key of its sentence in `key`, and the HTTP status it answers with.
"""

from __future__ import annotations

from http import HTTPStatus

from fieldapp.assets import texts


class CabinError(Exception):
    """Base of the cabin's errors."""

    key = "cabin.error"
    status = HTTPStatus.CONFLICT
    for_programs: tuple[str, ...] = ()
    """Names of the fields that a program is told beside the sentence."""

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


class LedgerAddress(CabinError):
    """The URL itself is not repeated: a password may stand in it."""

    key = "cabin.ledger_address"


class SettingsUnreadable(CabinError):
    """Nothing was opened."""

    key = "cabin.settings_unreadable"


class LedgerDamaged(CabinError):
    """A change that it had is gone; somebody has to look."""

    key = "cabin.ledger_damaged"
    status = HTTPStatus.INTERNAL_SERVER_ERROR


class LedgerUnreachable(CabinError):
    """Reading may be tried again; a batch that was not answered for is sent again."""

    key = "cabin.ledger_unreachable"
    status = HTTPStatus.SERVICE_UNAVAILABLE


class LedgerBusy(CabinError):
    """Nothing was kept."""

    key = "cabin.ledger_busy"
    status = HTTPStatus.SERVICE_UNAVAILABLE


class WorkersRefused(CabinError):
    """`key` says why: the ledger is a file, or the system cannot share a port."""

    def __init__(self, key: str, **fields: object) -> None:
        super().__init__(**fields)
        self.key = key


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


class PlaceLocked(SignInLocked):
    """Slows down whoever tries a password on everybody."""

    key = "cabin.place_locked"


class AccountExists(CabinError):
    """One account a person and role."""

    key = "cabin.account_exists"


class LastAdministrator(CabinError):
    """Somebody has to be able to let people in again."""

    key = "cabin.last_administrator"


class DoneAlready(CabinError):
    """A second sending of one form makes nothing a second time."""

    key = "cabin.done_already"


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


class NoSites(CabinError):
    """There is nothing to serve yet."""

    key = "cabin.no_sites"


class UnitNotASite(CabinError):
    """Which site is meant has to be said."""

    key = "cabin.unit_not_a_site"


class UnitIsACabin(CabinError):
    """Nothing was changed."""

    key = "cabin.unit_is_a_cabin"


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


class SettingsWrong(CabinError):
    """Nothing is started on settings that were half understood."""

    key = "cabin.settings_wrong"


class PhotoOffset(CabinError):
    """Nothing of it was appended."""

    key = "cabin.photo_offset"
    for_programs = ("have",)


class PhotoTooLarge(CabinError):
    """`most` bytes are taken of one picture."""

    key = "cabin.photo_too_large"
    status = HTTPStatus.REQUEST_ENTITY_TOO_LARGE


class PhotoWrong(CabinError):
    """It was thrown away; it can be sent again from its first byte."""

    key = "cabin.photo_wrong"
    status = HTTPStatus.UNPROCESSABLE_ENTITY


class PhotoStoreAway(CabinError):
    """What came is kept beside the ledger, and goes on when the store is back."""

    key = "cabin.photo_store_away"
    status = HTTPStatus.SERVICE_UNAVAILABLE


class CarryRefused(CabinError):
    """Nothing of the file was taken in."""

    key = "cabin.carry_refused"


class CarryNone(CarryRefused):
    """It does not begin as a carry-file."""

    key = "cabin.carry_none"


class CarryNewer(CarryRefused):
    """`theirs` and `own`: format numbers."""

    key = "cabin.carry_newer"


class CarryCut(CarryRefused):
    """It was not copied to its end."""

    key = "cabin.carry_cut"


class CarryDamaged(CarryRefused):
    """A byte of it was changed, or it was sealed to a key this cabin does not have."""

    key = "cabin.carry_damaged"


class CarryNotSigned(CarryRefused):
    """`notebook`: whose it says it is."""

    key = "cabin.carry_not_signed"


class CarryForeign(CarryRefused):
    """`what`: which of the reasons, in words."""

    key = "cabin.carry_foreign"


class CarryNotEnrolled(CarryRefused):
    """`notebook`: its id."""

    key = "cabin.carry_not_enrolled"


class CarryWithdrawn(CarryRefused):
    """`name`, `letter`, `at`: the tablet, and since when. A person decides."""

    key = "cabin.carry_withdrawn"


class CarryKeyUnknown(CarryRefused):
    """`name` and `code`: the tablet, and the key as the tablet shows it."""

    key = "cabin.carry_key_unknown"


class CarryNoAnswer(CarryRefused):
    """`name`: the tablet. What it brought stays."""

    key = "cabin.carry_no_answer"
