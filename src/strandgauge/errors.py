"""Every way a photo, a card or a file can fail, as one family of errors.

Each error says what is wrong (``message``), where (``where``, if it can be told) and what to do about it
(``remedy``). ``code`` is stable and machine-readable; ``exit_code`` is what the command line returns.
The command line is the only place that turns an error into text and an exit code.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

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
    remedy : what to do about it; the class's own advice when left out.
    """

    code: ClassVar[str] = "error"
    exit_code: ClassVar[int] = 1
    default_remedy: ClassVar[str] = "Take the photo again."

    def __init__(self, message: str, *, where: str | None = None, remedy: str | None = None) -> None:
        super().__init__(message)
        # One line is made of the message and the remedy: each is a sentence.
        self.message = message if message.endswith((".", "!", "?")) else f"{message}."
        self.where = where
        self.remedy = remedy if remedy is not None else self.default_remedy

    @property
    def told(self) -> Told:
        """The error as it is told."""
        return Told(self.code, self.message, self.remedy, self.where)

    def __str__(self) -> str:
        return f"{self.where}: {self.message}" if self.where else self.message


# --- families, to catch by -------------------------------------------------------------------------------


class PhotoError(StrandgaugeError):
    """The photo gives no reading: its file, its card, its light or its strand."""


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
    default_remedy = "Save or send the photo again as JPEG, PNG, TIFF, WebP or HEIC."


class FileTooLargeError(PhotoFileError):
    """The file or the picture inside it is larger than any phone photo."""

    code = "file-too-large"
    exit_code = 11
    default_remedy = "Send the photo as the phone took it, below 100 megapixels and 200 MB."


# --- the card in the photo ------------------------------------------------------------------------------


class NoCardError(CardUnseenError):
    """No marker of a known card was found."""

    code = "no-card"
    exit_code = 20
    default_remedy = (
        "Get the whole card into the picture, sharp and well lit, with its corner marks uncovered."
    )


class CardCutOffError(CardUnseenError):
    """Part of the card lies outside the picture or under something."""

    code = "card-cut-off"
    exit_code = 21
    default_remedy = "Step back until all four corner marks are in the picture and nothing lies on them."


class CardFoldedError(CardError):
    """The card is bent or folded: its marks do not lie in one plane."""

    code = "card-folded"
    exit_code = 22
    default_remedy = "Lay the card flat, or glue it to stiff board, and take the photo again."


class WrongCardVersionError(CardError):
    """A card of another version than the definition in use."""

    code = "wrong-card-version"
    exit_code = 23
    default_remedy = (
        "Print the current card with 'strandgauge card', or name this card's definition with --card."
    )


class CardMismatchError(CardError):
    """The colours found do not fit the card's definition, whatever the light."""

    code = "card-mismatch"
    exit_code = 24
    default_remedy = (
        "Check that this is the card named, printed in colour and not faded, with nothing lying on it."
    )


# --- light and sharpness --------------------------------------------------------------------------------


class OverexposedError(LightError):
    """Patches or hair are clipped to white in at least one channel."""

    code = "overexposed"
    exit_code = 30
    default_remedy = "Tap the white of the card to set the exposure, or lower it, and take the photo again."


class UnderexposedError(LightError):
    """The picture is too dark for the dark steps to be told apart."""

    code = "too-dark"
    exit_code = 31
    default_remedy = "Bring more light from all round (no flash) and take the photo again."


class GlareError(LightError):
    """A lamp mirrors on the card."""

    code = "glare"
    exit_code = 32
    default_remedy = "Tilt or turn the card, or move the lamp, until no shine lies on it."


class BlurError(LightError, CardUnseenError):
    """The picture is out of focus or shaken."""

    code = "blur"
    exit_code = 33
    default_remedy = "Tap the card to focus, hold still, wipe the lens."


class UnevenLightError(LightError):
    """The light changes too much across the card."""

    code = "uneven-light"
    exit_code = 34
    default_remedy = "Move out of the shadow edge, or further from the lamp, so that the card is evenly lit."


class MixedLightError(LightError):
    """Two kinds of light fall on different parts of the card."""

    code = "mixed-light"
    exit_code = 35
    default_remedy = "Use one kind of light: switch off the lamp, or turn away from the window."


# --- the strand -----------------------------------------------------------------------------------------


class NoStrandError(StrandError):
    """Nothing that looks like hair lies in the window."""

    code = "no-strand"
    exit_code = 40
    default_remedy = (
        "Lay the strand along the window, root end at the mark, spread to about a finger's width."
    )


class StrandTooThinError(StrandError):
    """Too little hair to hide the paper below it."""

    code = "strand-too-thin"
    exit_code = 41
    default_remedy = "Take a thicker strand, or lay it narrower, so that no paper shows through."


class StrandOffWindowError(StrandError):
    """The strand lies largely outside the window, or across it."""

    code = "strand-off-window"
    exit_code = 42
    default_remedy = "Lay the strand lengthwise inside the window, root end at the mark."


# --- files the user brings ------------------------------------------------------------------------------


class BadCardDefinitionError(FileError):
    """A card definition cannot be used; ``where`` names file and line."""

    code = "bad-card-definition"
    exit_code = 50
    default_remedy = "Correct the line named; docs/card-format.md describes every key."


class BadProfileError(FileError):
    """A print profile cannot be used; ``where`` names file and line."""

    code = "bad-profile"
    exit_code = 51
    default_remedy = "Export the measurement again as CGATS text with one row for each patch of the card."


class BadCalibrationError(FileError):
    """A ladder or another calibration file cannot be used."""

    code = "bad-calibration"
    exit_code = 52
    default_remedy = (
        "Correct the line named, or leave the option out to use the file that ships with strandgauge."
    )


class CannotWriteError(FileError):
    """A result cannot be written where it was asked for."""

    code = "cannot-write"
    exit_code = 60
    default_remedy = "Name a folder that exists, with space left, in which you may write."


# --- the outlook ----------------------------------------------------------------------------------------


class OutsideModelError(OutlookError):
    """A colour that no mix of the model's pigments gives."""

    code = "outside-model"
    exit_code = 62
    default_remedy = "Check the reading or the colour typed in: hair does not usually look like that."


class BadColourError(OutlookError):
    """A colour typed in that is none."""

    code = "bad-colour"
    exit_code = 63
    default_remedy = "Write L,a,b such as 66,21,5 or #rrggbb such as #d8a0a0."


class UnknownTargetError(OutlookError):
    """No wanted shade of that name."""

    code = "unknown-target"
    exit_code = 64
    default_remedy = "See 'strandgauge targets'."


class UnknownDyeError(OutlookError):
    """No dye of that name on the shelf."""

    code = "unknown-dye"
    exit_code = 65
    default_remedy = "See 'strandgauge dyes'."


class BadMixError(OutlookError):
    """A mix that cannot be weighed out."""

    code = "bad-mix"
    exit_code = 66
    default_remedy = "Write each part as NAME=PARTS, such as --dye violet=1 --dye clear=9."


class BadReadingError(FileError):
    """A file that is not a reading saved by this program."""

    code = "bad-reading"
    exit_code = 67
    default_remedy = "Save one with 'strandgauge read PHOTO --json FILE'."


class CannotLearnError(LearningError):
    """Colours from which no dye can be learned."""

    code = "cannot-learn"
    exit_code = 68
    default_remedy = (
        "Dye pale, even hair so that the difference is plain, and photograph both in the same light."
    )


# --- readings side by side ------------------------------------------------------------------------------


class NotComparableError(LooksError):
    """Readings that cannot be put side by side."""

    code = "not-comparable"
    exit_code = 84
    default_remedy = "Read all photos again with the same --ladder, and give two or more."


# --- the logbook ----------------------------------------------------------------------------------------


class UnknownEntryError(LogbookError):
    """No such client, visit, strand or check in the logbook."""

    code = "unknown-entry"
    exit_code = 74
    default_remedy = "See 'strandgauge log'."


class BadEntryError(LogbookError):
    """Something that cannot stand in the logbook: an alias taken, empty or too long, an impossible time."""

    code = "bad-entry"
    exit_code = 75
    default_remedy = "Write it another way; docs/logbook.md tells what can stand in the logbook."


class UnusableLogbookError(LogbookError):
    """A file that is no logbook, is damaged, or was written by a newer version."""

    code = "unusable-logbook"
    exit_code = 76
    default_remedy = "Name another file with --logbook, or put back a copy; docs/logbook.md tells how."


class LogbookNotWrittenError(LogbookError):
    """The logbook could not be reached or written: busy, a full disk, no permission."""

    code = "logbook-not-written"
    exit_code = 77
    default_remedy = "Nothing was lost or half written; make room or give permission, then do it again."


# --- a strand over time ---------------------------------------------------------------------------------


class BadTimesError(LooksError):
    """The times of the looks are missing or cannot be."""

    code = "bad-times"
    exit_code = 71
    default_remedy = "Give the minutes since the lightener went on with --at, such as --at 5,22,41."


# --- many strands ---------------------------------------------------------------------------------------


class WorkersUnavailableError(BatchError):
    """What a batch was asked to use is not there: worker processes, a cluster, an optional package."""

    code = "workers-unavailable"
    exit_code = 69
    default_remedy = "Leave the option out, or install what is missing."


class BadManifestError(BatchError, FileError):
    """A manifest that cannot be used; ``where`` names file and line."""

    code = "bad-manifest"
    exit_code = 72
    default_remedy = "Correct the line named; docs/batch.md describes every column."


class BatchFolderError(BatchError):
    """A result folder that holds other results already, other settings', or is in use."""

    code = "batch-folder"
    exit_code = 73
    default_remedy = "Go on with --resume and the same options, or name a new folder with --out."


# --- the server -----------------------------------------------------------------------------------------


class CannotServeError(ServerError):
    """The address cannot be listened on: the port is taken, or there is no network."""

    code = "cannot-serve"
    exit_code = 80
    default_remedy = "Choose another port, such as --port 8500."


class PhotoTooHardError(PhotoFileError):
    """Reading the photo took more time or memory than a photo may."""

    code = "photo-too-hard"
    exit_code = 81
    default_remedy = "Take the photo again with the phone's own camera, and send it as it is."


class ServerBusyError(ServerError):
    """More photos at once than the server can read."""

    code = "server-busy"
    exit_code = 82
    default_remedy = "Wait a moment and send the photo again."


class UnknownLookError(ServerError):
    """A look that the server does not remember."""

    code = "unknown-look"
    exit_code = 83
    default_remedy = "Take the photo again, with its strand named so that it is kept."


# --- what the user teaches ------------------------------------------------------------------------------


class UnknownCalibrationError(LearningError):
    """Nothing learned has that name, or it cannot be a name."""

    code = "unknown-calibration"
    exit_code = 61
    default_remedy = "See 'strandgauge learn list'."


class CannotLearnLevelsError(LearningError):
    """Swatches from which no ladder can be made."""

    code = "cannot-learn-levels"
    exit_code = 78
    default_remedy = "Photograph the swatches named again, each alone in the window, in soft even light."


class CannotLearnCardError(LearningError):
    """Photos from which a print's true colours cannot be learned well enough."""

    code = "cannot-learn-card"
    exit_code = 79
    default_remedy = (
        "Lay both cards close together, flat, in soft light from all round, and take two photos, the trusted chart "
        "once on either side."
    )
