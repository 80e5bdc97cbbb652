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
    return Told(INTERNAL, f"Something went wrong inside strandgauge ({type(error).__name__}).", remedy)


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
    message : what is wrong, one sentence, in plain words.
    where : the file, line, patch or side of the card concerned.
    remedy : what to do about it; what the catalogue has for the code when left out.
    """

    code: ClassVar[str] = "error"
    exit_code: ClassVar[int] = 1

    def __init__(self, message: str, *, where: str | None = None, remedy: str | None = None) -> None:
        super().__init__(message)
        # One line is made of the message and the remedy: each is a sentence.
        self.message = message if message.endswith((".", "!", "?")) else f"{message}."
        self.place = where
        self.photo: str | None = None
        """Name of the photo concerned, where a place in it is named."""
        self.remedy = say(f"remedy.{self.code}") if remedy is None else remedy

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
    """The photo gives no reading: its file, its card, its light or its strand.

    Parameters
    ----------
    message : a sentence of its own; else the catalogue's for the code, which is given the facts.
    where : the place, as the catalogue names it; as it stands where there is a message.
    facts : codes and numbers; ``fault`` tells apart the ways in which one code comes about.
    """

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
            where = where and say(f"place.{where}", **facts)
            remedy = say(f"remedy.{self.code}", **facts)
        super().__init__(message, where=where, remedy=remedy)

    @property
    def note(self) -> Note:
        """The refusal as a note."""
        return Note(self.code, "refusal", self.facts)


class PhotoFileError(PhotoError):
    """The photo's file cannot be opened."""


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


# --- the file -------------------------------------------------------------------------------------------


class UnreadableFileError(PhotoFileError):
    """The file is missing, empty, damaged, cut short or not a picture."""

    code = "unreadable-file"
    exit_code = 10


class FileTooLargeError(PhotoFileError):
    """The file or the picture inside it is larger than any phone photo."""

    code = "file-too-large"
    exit_code = 11


# --- the card in the photo ------------------------------------------------------------------------------


class NoCardError(CardUnseenError):
    """No marker of a known card was found."""

    code = "no-card"
    exit_code = 20


class CardCutOffError(CardUnseenError):
    """Part of the card lies outside the picture or under something."""

    code = "card-cut-off"
    exit_code = 21


class CardFoldedError(CardError):
    """The card is bent or folded: its marks do not lie in one plane."""

    code = "card-folded"
    exit_code = 22


class WrongCardVersionError(CardError):
    """A card of another version than the definition in use."""

    code = "wrong-card-version"
    exit_code = 23


class CardMismatchError(CardError):
    """The colours found do not fit the card's definition, whatever the light."""

    code = "card-mismatch"
    exit_code = 24


# --- light and sharpness --------------------------------------------------------------------------------


class OverexposedError(LightError):
    """Patches or hair are clipped to white in at least one channel."""

    code = "overexposed"
    exit_code = 30


class UnderexposedError(LightError):
    """The picture is too dark for the dark steps to be told apart."""

    code = "too-dark"
    exit_code = 31


class GlareError(LightError):
    """A lamp mirrors on the card."""

    code = "glare"
    exit_code = 32


class BlurError(LightError, CardUnseenError):
    """The picture is out of focus or shaken."""

    code = "blur"
    exit_code = 33


class UnevenLightError(LightError):
    """The light changes too much across the card."""

    code = "uneven-light"
    exit_code = 34


class MixedLightError(LightError):
    """Two kinds of light fall on different parts of the card."""

    code = "mixed-light"
    exit_code = 35


# --- the strand -----------------------------------------------------------------------------------------


class NoStrandError(StrandError):
    """Nothing that looks like hair lies in the window."""

    code = "no-strand"
    exit_code = 40


class NotHairError(StrandError):
    """What lies in the window has no fibres to be seen."""

    code = "not-hair"
    exit_code = 45


class StrandTooThinError(StrandError):
    """Too little hair to hide the paper below it."""

    code = "strand-too-thin"
    exit_code = 41


class StrandOffWindowError(StrandError):
    """The strand lies largely outside the window, or across it."""

    code = "strand-off-window"
    exit_code = 42


class DifferentStrandsError(StrandError):
    """Photos that were to be read as one show different hair."""

    code = "different-strands"
    exit_code = 43


class SamePhotoError(StrandError):
    """One photo and a copy of it were given where two of one strand were wanted."""

    code = "same-photo"
    exit_code = 44


# --- files the user brings ------------------------------------------------------------------------------


class BadCardDefinitionError(FileError):
    """A card definition cannot be used; ``where`` names file and line."""

    code = "bad-card-definition"
    exit_code = 50


class BadProfileError(FileError):
    """A print profile cannot be used; ``where`` names file and line."""

    code = "bad-profile"
    exit_code = 51


class BadCalibrationError(FileError):
    """A ladder or another calibration file cannot be used."""

    code = "bad-calibration"
    exit_code = 52


class CannotWriteError(FileError):
    """A result cannot be written where it was asked for."""

    code = "cannot-write"
    exit_code = 60


# --- the outlook ----------------------------------------------------------------------------------------


class OutsideModelError(OutlookError):
    """A colour that no mix of the model's pigments gives."""

    code = "outside-model"
    exit_code = 62


class BadColourError(OutlookError):
    """A colour typed in that is none."""

    code = "bad-colour"
    exit_code = 63


class UnknownTargetError(OutlookError):
    """No wanted shade of that name."""

    code = "unknown-target"
    exit_code = 64


class UnknownDyeError(OutlookError):
    """No dye of that name on the shelf."""

    code = "unknown-dye"
    exit_code = 65


class BadMixError(OutlookError):
    """A mix that cannot be weighed out."""

    code = "bad-mix"
    exit_code = 66


class BadHistoryError(OutlookError):
    """A history that cannot be used."""

    code = "bad-history"
    exit_code = 85


class BadReadingError(FileError):
    """A file that is not a reading saved by this program."""

    code = "bad-reading"
    exit_code = 67


class CannotLearnError(LearningError):
    """Colours from which no dye can be learned."""

    code = "cannot-learn"
    exit_code = 68


# --- readings side by side ------------------------------------------------------------------------------


class NotComparableError(LooksError):
    """Readings that cannot be put side by side."""

    code = "not-comparable"
    exit_code = 84


# --- the logbook ----------------------------------------------------------------------------------------


class UnknownEntryError(LogbookError):
    """No such client, visit, strand or check in the logbook."""

    code = "unknown-entry"
    exit_code = 74


class BadEntryError(LogbookError):
    """Something that cannot stand in the logbook: an alias taken, empty or too long, an impossible time."""

    code = "bad-entry"
    exit_code = 75


class UnusableLogbookError(LogbookError):
    """A file that is no logbook, is damaged, or was written by a newer version."""

    code = "unusable-logbook"
    exit_code = 76


class LogbookNotWrittenError(LogbookError):
    """The logbook could not be reached or written: busy, a full disk, no permission."""

    code = "logbook-not-written"
    exit_code = 77


# --- a strand over time ---------------------------------------------------------------------------------


class BadTimesError(LooksError):
    """The times of the looks are missing or cannot be."""

    code = "bad-times"
    exit_code = 71


# --- many strands ---------------------------------------------------------------------------------------


class WorkersUnavailableError(BatchError):
    """What a batch was asked to use is not there: worker processes, a cluster, an optional package."""

    code = "workers-unavailable"
    exit_code = 69


class NoPhotosError(BatchError):
    """A folder in which there is nothing to read."""

    code = "no-photos"
    exit_code = 86


class BadManifestError(BatchError, FileError):
    """A manifest that cannot be used; ``where`` names file and line."""

    code = "bad-manifest"
    exit_code = 72


class BatchFolderError(BatchError):
    """A result folder that holds other results already, other settings', or is in use."""

    code = "batch-folder"
    exit_code = 73


# --- the server -----------------------------------------------------------------------------------------


class CannotServeError(ServerError):
    """The address cannot be listened on: the port is taken, or there is no network."""

    code = "cannot-serve"
    exit_code = 80


class PhotoTooHardError(PhotoFileError):
    """Reading the photo took more time or memory than a photo may."""

    code = "photo-too-hard"
    exit_code = 81


class ServerBusyError(ServerError):
    """More photos at once than the server can read."""

    code = "server-busy"
    exit_code = 82


class UnknownLookError(ServerError):
    """A look that the server does not remember."""

    code = "unknown-look"
    exit_code = 83


# --- what the user teaches ------------------------------------------------------------------------------


class UnknownCalibrationError(LearningError):
    """Nothing learned has that name, or it cannot be a name."""

    code = "unknown-calibration"
    exit_code = 61


class CannotLearnLevelsError(LearningError):
    """Swatches from which no ladder can be made."""

    code = "cannot-learn-levels"
    exit_code = 78


class CannotLearnCardError(LearningError):
    """Photos from which a print's true colours cannot be learned well enough."""

    code = "cannot-learn-card"
    exit_code = 79
