"""What can go wrong between tablet and cabin, told in sentences a recorder can act on.

    SyncError
    ├── NotReachable         nothing answers at the address
    ├── ConnectionCut        it answered and then did not; what was answered for is kept at both ends
    ├── CertificateChanged   another certificate than the one that was pinned: nothing was sent
    ├── OtherCabin           another certificate at an address that was typed for this tablet's cabin: nothing was sent
    ├── WrongCabin           the code belongs to another cabin's certificate: nothing was sent
    ├── NotACode             a text that cannot be a code
    ├── CodeRefused          the code is wrong, used or too old
    ├── FalseCabin           what answered does not know the code: nothing of it was believed
    ├── OtherSite            the cabin belongs to another site than this tablet's records
    ├── NotEnrolled          this tablet is not, or no longer, known to the cabin
    ├── TokenWithdrawn       the cabin no longer lets this tablet in
    ├── PasswordRefused      a personal key was asked for with a password that does not fit
    ├── PictureRefused       a photograph that came whole is not the one its name says
    ├── CabinIsNewer         it no longer speaks any format this program knows
    ├── CabinIsOlder         it speaks none yet that this program still knows
    ├── Cancelled            the recorder has ended the exchange
    ├── Refused              any other refusal, in the cabin's own words
    ├── NotUnderstood        an answer that is none
    └── CarryRefused         a carry-file, of which nothing was taken in:
        ├── CarryNone        it is no carry-file
        ├── CarryNewer       a later program made it
        ├── CarryCut         it ends before its end
        ├── CarryDamaged     it is not, byte for byte, what was written
        ├── CarryForeign     it is from another cabin, for another tablet or site, or no answer at all
        ├── CarryNotSigned   the cabin this tablet knows has not signed it
        └── CarryOld         it is from before the cabin was put back from a backup

Every error carries its parts in `fields`; its text is the sentence at `key` in the texts. `report` says what an
exchange had done before.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldapp.assets import texts

if TYPE_CHECKING:
    from fieldapp.sync.exchange import Report


class SyncError(Exception):
    """Base of the errors between tablet and cabin. Nothing on the tablet is ever lost by one."""

    key = "sync.error"

    def __init__(self, **fields: object) -> None:
        super().__init__(self.key)
        self.fields = fields
        self.report: Report | None = None

    def __str__(self) -> str:
        return texts()[self.key].format(**self.fields)


class NotReachable(SyncError):
    """`address`; `cause` is the system's word."""

    key = "sync.not_reachable"


class ConnectionCut(SyncError):
    """`address`; `cause` is the system's word."""

    key = "sync.cut"


class CertificateChanged(SyncError):
    """`pinned` and `met`, both fingerprints as people compare them."""

    key = "sync.certificate_changed"


class OtherCabin(SyncError):
    """`address`, and `met`: the fingerprint of what answered there."""

    key = "sync.other_cabin"


class WrongCabin(SyncError):
    """`met`: the fingerprint of what answered."""

    key = "sync.wrong_cabin"


class NotACode(SyncError):
    """`code` as typed."""

    key = "sync.not_a_code"


class CodeRefused(SyncError):
    """Nothing was sent but the proof, which is worth nothing to anybody else."""

    key = "sync.code_refused"


class FalseCabin(SyncError):
    """Its proof does not fit."""

    key = "sync.false_cabin"


class OtherSite(SyncError):
    """`own` and `theirs`: site codes."""

    key = "sync.other_site"


class NotEnrolled(SyncError):
    """The tablet has to be enrolled."""

    key = "sync.not_enrolled"


class TokenWithdrawn(SyncError):
    """Somebody at the cabin has ended it."""

    key = "sync.token_withdrawn"


class PasswordRefused(SyncError):
    """`message`: the cabin's words."""

    key = "sync.password_refused"


class PictureRefused(SyncError):
    """`message`: the cabin's words. It keeps nothing of it."""

    key = "sync.picture_refused"


class CabinIsNewer(SyncError):
    """`theirs` and `own`: format numbers."""

    key = "sync.cabin_is_newer"


class CabinIsOlder(SyncError):
    """`theirs` and `own`: format numbers."""

    key = "sync.cabin_is_older"


class Cancelled(SyncError):
    """What was exchanged stays."""

    key = "sync.cancelled"


class Refused(SyncError):
    """`status` and the cabin's `message`."""

    key = "sync.refused"


class NotUnderstood(SyncError):
    """`what` was wrong with the answer."""

    key = "sync.not_understood"


class CarryRefused(SyncError):
    """Nothing of the file was taken in."""

    key = "sync.carry_refused"


class CarryNone(CarryRefused):
    """It does not begin as a carry-file."""

    key = "sync.carry_none"


class CarryNewer(CarryRefused):
    """`theirs` and `own`: format numbers."""

    key = "sync.carry_newer"


class CarryCut(CarryRefused):
    """It was not copied to its end."""

    key = "sync.carry_cut"


class CarryDamaged(CarryRefused):
    """A byte of it was changed."""

    key = "sync.carry_damaged"


class CarryForeign(CarryRefused):
    """`what`: which of the reasons, in words."""

    key = "sync.carry_foreign"


class CarryNotSigned(CarryRefused):
    """Whoever made it is not the cabin."""

    key = "sync.carry_not_signed"


class CarryOld(CarryRefused):
    """It would take the tablet back to an earlier life of the cabin's ledger."""

    key = "sync.carry_old"


BY_CABINS_KEY: dict[str, type[SyncError]] = {
    "cabin.not_enrolled": NotEnrolled,
    "cabin.token_withdrawn": TokenWithdrawn,
    "cabin.code_refused": CodeRefused,
    "cabin.sign_in_refused": PasswordRefused,
    "cabin.sign_in_locked": PasswordRefused,
    "cabin.photo_wrong": PictureRefused,
}
"""The cabin's refusals that the tablet has words of its own for; see `errors` in the API's error shape."""
