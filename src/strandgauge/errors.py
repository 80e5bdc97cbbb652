"""Every way a photo, a card or a file can fail, as one family of errors.

Each error says what is wrong (``message``), where (``where``, if it can be told) and what to do about it
(``remedy``, from the catalogue). ``code`` is stable and machine-readable; ``exit_code`` is what the command line
returns.
The command line is the only place that turns an error into text and an exit code.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from strandgauge.codes.catalogue import say
from strandgauge.codes.facts import Fact, Note

INTERNAL = "internal-error"
"""Code of what this package did not foresee."""
EXIT_INTERNAL = 70
"""``EX_SOFTWARE`` of BSD's sysexits."""
EXIT_INTERRUPTED = 130
EXIT_BROKEN_PIPE = 141
"""128 + the number of the signal, as shells report it."""
OWN_EXITS = {
    INTERNAL: EXIT_INTERNAL,
    "out-of-memory": EXIT_INTERNAL,
    "interrupted": EXIT_INTERRUPTED,
    "broken-pipe": EXIT_BROKEN_PIPE,
}
"""Exit codes of what ends a run without being an error of the family."""


@dataclass(frozen=True, slots=True)
class Told:
    """An error as it is told, on a command line, by the server and in a batch alike."""

    code: str
    message: str
    """What is wrong, one sentence."""
    remedy: str = ""
    """What to do about it, one sentence."""
    where: str | None = None

    @property
    def exit_code(self) -> int:
        """What the command line returns; 1 for a code that no error has."""
        return OWN_EXITS.get(self.code) or exit_code_of(self.code)

    @property
    def line(self) -> str:
        """What is wrong and what to do, in one line."""
        message = f"{self.where}: {self.message}" if self.where else self.message
        return f"{message} {self.remedy}".strip()


def unforeseen(error: BaseException, remedy: str) -> Told:
    """Return how an error is told that this package did not raise on purpose."""
    return Told(INTERNAL, say("unforeseen.inside", error=type(error).__name__), remedy)


def exit_code_of(code: str) -> int:
    """Return the exit code of an error's code; 1 for one that no error class has."""
    exits = (each.exit_code for each in error_classes() if each.code == code)
    return next(exits, StrandgaugeError.exit_code)


def error_classes() -> tuple[type[StrandgaugeError], ...]:
    """Return every error that is raised, no family of errors among them, in the order of their exit codes."""
    found: dict[type[StrandgaugeError], None] = {}
    waiting = [StrandgaugeError]
    while waiting:
        children = waiting.pop().__subclasses__()
        found |= dict.fromkeys(child for child in children if "code" in vars(child))
        waiting += children
    return tuple(sorted(found, key=lambda error_class: error_class.exit_code))


class StrandgaugeError(Exception):
    """Base of every error this package raises on purpose.

    Parameters
    ----------
    message : what is wrong, one sentence; what the catalogue has for the code, told by the facts, when left out.
    where : the file, line, patch or side of the card concerned.
    remedy : what to do about it; what the catalogue has for the code when left out.
    facts : codes and numbers; ``fault`` tells apart the ways in which one code comes about.
    """

    code: ClassVar[str] = "error"
    exit_code: ClassVar[int] = 1
    places_named: ClassVar[bool] = False
    """Whether ``where`` is a code of the catalogue's places, not a name."""

    def __init__(
        self,
        message: str | None = None,
        *,
        where: str | None = None,
        remedy: str | None = None,
        **facts: Fact,
    ) -> None:
        self.facts = tuple(facts.items()) if message is None else (("said", message),)
        if message is None:
            message = say(f"refusal.{self.code}", **facts)
            where = say(f"place.{where}", **facts) if where and self.places_named else where
        # One line is made of the message and the remedy: each is a sentence.
        self.message = message if message.endswith((".", "!", "?")) else f"{message}."
        super().__init__(self.message)
        self.place = where
        self.photo: str | None = None
        """Name of the photo concerned, where a place in it is named."""
        self.remedy = say(f"remedy.{self.code}", **facts) if remedy is None else remedy

    def __init_subclass__(cls, *, code: str | None = None, exit_code: int = 1) -> None:
        if code is not None:
            cls.code, cls.exit_code = code, exit_code

    @property
    def note(self) -> Note:
        """The refusal as a note."""
        return Note(self.code, "refusal", self.facts)

    @property
    def where(self) -> str | None:
        """The place concerned: a photo, a place in it, or a file and line."""
        return ", ".join(part for part in (self.photo, self.place) if part) or None

    @property
    def told(self) -> Told:
        """The error as it is told."""
        return Told(self.code, self.message, self.remedy, self.where)

    def __str__(self) -> str:
        return f"{self.where}: {self.message}" if self.where else self.message


# --- families, to catch by -------------------------------------------------------------------------------


class PhotoError(StrandgaugeError):
    """The photo gives no reading: its file, its card, its light or its strand."""

    places_named = True


class PhotoFileError(PhotoError):
    """The photo's file cannot be opened."""

    places_named = False


class CardError(PhotoError):
    """The card in the photo cannot be used."""


class CardUnseenError(CardError):
    """The card, or enough of it, cannot be made out; a larger picture may show it."""


class LightError(PhotoError):
    """Light or sharpness cannot be trusted."""


class StrandError(PhotoError):
    """There is no strand that could be measured."""


class FileError(StrandgaugeError):
    """A file that the user brings or asks for cannot be read or written."""


class OutlookError(StrandgaugeError):
    """A colour, shade, dye or mix that says nothing."""


class LooksError(StrandgaugeError):
    """Readings that cannot be put together."""


class LearningError(StrandgaugeError):
    """What the user teaches cannot be learned, or is not there."""


class BatchError(StrandgaugeError):
    """A batch cannot be run as it was asked for."""


class LogbookError(StrandgaugeError):
    """The logbook, or what should stand in it, cannot be used."""


class ServerError(StrandgaugeError):
    """The server cannot answer."""


# --- each in its family -------------------------------------------------------------------------------


class UnreadableFileError(PhotoFileError, code="unreadable-file", exit_code=10):
    """The file is missing, empty, damaged, cut short or not a picture."""


class FileTooLargeError(PhotoFileError, code="file-too-large", exit_code=11):
    """The file or the picture inside it is larger than any phone photo."""


class NoCardError(CardUnseenError, code="no-card", exit_code=20):
    """No marker of a known card was found."""


class CardCutOffError(CardUnseenError, code="card-cut-off", exit_code=21):
    """Part of the card lies outside the picture or under something."""


class CardFoldedError(CardError, code="card-folded", exit_code=22):
    """The card is bent or folded: its marks do not lie in one plane."""


class WrongCardVersionError(CardError, code="wrong-card-version", exit_code=23):
    """A card of another version than the definition in use."""


class CardMismatchError(CardError, code="card-mismatch", exit_code=24):
    """The colours found do not fit the card's definition, whatever the light."""


class OverexposedError(LightError, code="overexposed", exit_code=30):
    """Patches or hair are clipped to white in at least one channel."""


class UnderexposedError(LightError, code="too-dark", exit_code=31):
    """The picture is too dark for the dark steps to be told apart."""


class GlareError(LightError, code="glare", exit_code=32):
    """A lamp mirrors on the card."""


class BlurError(LightError, CardUnseenError, code="blur", exit_code=33):
    """The picture is out of focus or shaken."""


class UnevenLightError(LightError, code="uneven-light", exit_code=34):
    """The light changes too much across the card."""


class MixedLightError(LightError, code="mixed-light", exit_code=35):
    """Two kinds of light fall on different parts of the card."""


class NoStrandError(StrandError, code="no-strand", exit_code=40):
    """Nothing that looks like hair lies in the window."""


class NotHairError(StrandError, code="not-hair", exit_code=45):
    """What lies in the window, or on the strand, is not made of fibres as hair is."""


class TwoStrandsError(StrandError, code="two-strands", exit_code=46):
    """Two strands lie side by side in the window, paper between them."""


class TooSmallError(StrandError, code="too-small", exit_code=47):
    """The strand is shown too small for a reading, or for its fibres to be made out."""


class StrandTooThinError(StrandError, code="strand-too-thin", exit_code=41):
    """Too little hair to hide the paper below it."""


class StrandOffWindowError(StrandError, code="strand-off-window", exit_code=42):
    """The strand lies largely outside the window, or across it."""


class DifferentStrandsError(StrandError, code="different-strands", exit_code=43):
    """Photos that were to be read as one show different hair."""


class SamePhotoError(StrandError, code="same-photo", exit_code=44):
    """One photo and a copy of it were given where two of one strand were wanted."""


class BadCardDefinitionError(FileError, code="bad-card-definition", exit_code=50):
    """A card definition cannot be used; ``where`` names file and line."""


class BadProfileError(FileError, code="bad-profile", exit_code=51):
    """A print profile cannot be used; ``where`` names file and line."""


class BadCalibrationError(FileError, code="bad-calibration", exit_code=52):
    """A ladder or another calibration file cannot be used."""


class BadLanguageError(FileError, code="bad-language", exit_code=53):
    """A language that there is no catalogue for, or a catalogue that cannot be used."""


class CannotWriteError(FileError, code="cannot-write", exit_code=60):
    """A result cannot be written where it was asked for."""


class OutsideModelError(OutlookError, code="outside-model", exit_code=62):
    """A colour that no mix of the model's pigments gives."""


class BadColourError(OutlookError, code="bad-colour", exit_code=63):
    """A colour typed in that is none."""


class UnknownTargetError(OutlookError, code="unknown-target", exit_code=64):
    """No wanted shade of that name."""


class UnknownDyeError(OutlookError, code="unknown-dye", exit_code=65):
    """No dye of that name on the shelf."""


class BadMixError(OutlookError, code="bad-mix", exit_code=66):
    """A mix that cannot be weighed out."""


class BadHistoryError(OutlookError, code="bad-history", exit_code=85):
    """A history that cannot be used."""


class BadReadingError(FileError, code="bad-reading", exit_code=67):
    """A file that is not a reading saved by this program."""


class CannotLearnError(LearningError, code="cannot-learn", exit_code=68):
    """Colours from which no dye can be learned."""


class NotComparableError(LooksError, code="not-comparable", exit_code=84):
    """Readings that cannot be put side by side."""


class UnknownEntryError(LogbookError, code="unknown-entry", exit_code=74):
    """No such client, visit, strand or check in the logbook."""


class BadEntryError(LogbookError, code="bad-entry", exit_code=75):
    """Something that cannot stand in the logbook: an alias taken, empty or too long, an impossible time."""


class UnusableLogbookError(LogbookError, code="unusable-logbook", exit_code=76):
    """A file that is no logbook, is damaged, or was written by a newer version."""


class LogbookNotWrittenError(LogbookError, code="logbook-not-written", exit_code=77):
    """The logbook could not be reached or written: busy, a full disk, no permission."""


class BadTimesError(LooksError, code="bad-times", exit_code=71):
    """The times of the looks are missing or cannot be."""


class WorkersUnavailableError(BatchError, code="workers-unavailable", exit_code=69):
    """What a batch was asked to use is not there: worker processes, a cluster, an optional package."""


class NoPhotosError(BatchError, code="no-photos", exit_code=86):
    """A folder in which there is nothing to read."""


class BadManifestError(BatchError, FileError, code="bad-manifest", exit_code=72):
    """A manifest that cannot be used; ``where`` names file and line."""


class BatchFolderError(BatchError, code="batch-folder", exit_code=73):
    """A result folder that holds other results already, other settings', or is in use."""


class CannotServeError(ServerError, code="cannot-serve", exit_code=80):
    """The address cannot be listened on: the port is taken, or there is no network."""


class PhotoTooHardError(PhotoFileError, code="photo-too-hard", exit_code=81):
    """Reading the photo took more time or memory than a photo may."""


class ServerBusyError(ServerError, code="server-busy", exit_code=82):
    """More photos at once than the server can read."""


class UnknownLookError(ServerError, code="unknown-look", exit_code=83):
    """A look that the server does not remember."""


class UnknownCalibrationError(LearningError, code="unknown-calibration", exit_code=61):
    """Nothing learned has that name, or it cannot be a name."""


class CannotLearnLevelsError(LearningError, code="cannot-learn-levels", exit_code=78):
    """Swatches from which no ladder can be made."""


class CannotLearnCardError(LearningError, code="cannot-learn-card", exit_code=79):
    """Photos from which a print's true colours cannot be learned well enough."""
