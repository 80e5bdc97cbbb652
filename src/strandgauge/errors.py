"""Every way a photo, a card or a file can fail, as one family of errors.

Each error says what is wrong (``message``), where (``where``, if it can be told) and what to do about it
(``remedy``). ``code`` is stable and machine-readable; ``exit_code`` is what the command line returns.
The command line is the only place that turns an error into text and an exit code.
"""

from __future__ import annotations

from typing import ClassVar


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

    def __str__(self) -> str:
        return f"{self.where}: {self.message}" if self.where else self.message


# --- the file -------------------------------------------------------------------------------------------


class UnreadableFileError(StrandgaugeError):
    """The file is missing, empty, damaged, cut short or not a picture."""

    code = "unreadable-file"
    exit_code = 10
    default_remedy = "Save or send the photo again as JPEG, PNG, TIFF, WebP or HEIC."


class FileTooLargeError(StrandgaugeError):
    """The file or the picture inside it is larger than any phone photo."""

    code = "file-too-large"
    exit_code = 11
    default_remedy = "Send the photo as the phone took it, below 100 megapixels and 200 MB."


# --- the card in the photo ------------------------------------------------------------------------------


class NoCardError(StrandgaugeError):
    """No marker of a known card was found."""

    code = "no-card"
    exit_code = 20
    default_remedy = (
        "Get the whole card into the picture, sharp and well lit, with its corner marks uncovered."
    )


class CardCutOffError(StrandgaugeError):
    """Part of the card lies outside the picture or under something."""

    code = "card-cut-off"
    exit_code = 21
    default_remedy = "Step back until all four corner marks are in the picture and nothing lies on them."


class CardFoldedError(StrandgaugeError):
    """The card is bent or folded: its marks do not lie in one plane."""

    code = "card-folded"
    exit_code = 22
    default_remedy = "Lay the card flat, or glue it to stiff board, and take the photo again."


class WrongCardVersionError(StrandgaugeError):
    """A card of another version than the definition in use."""

    code = "wrong-card-version"
    exit_code = 23
    default_remedy = (
        "Print the current card with 'strandgauge card', or name this card's definition with --card."
    )


class CardMismatchError(StrandgaugeError):
    """The colours found do not fit the card's definition, whatever the light."""

    code = "card-mismatch"
    exit_code = 24
    default_remedy = (
        "Check that this is the card named, printed in colour and not faded, with nothing lying on it."
    )


# --- light and sharpness --------------------------------------------------------------------------------


class OverexposedError(StrandgaugeError):
    """Patches or hair are clipped to white in at least one channel."""

    code = "overexposed"
    exit_code = 30
    default_remedy = "Tap the white of the card to set the exposure, or lower it, and take the photo again."


class UnderexposedError(StrandgaugeError):
    """The picture is too dark for the dark steps to be told apart."""

    code = "too-dark"
    exit_code = 31
    default_remedy = "Bring more light from all round (no flash) and take the photo again."


class GlareError(StrandgaugeError):
    """A lamp mirrors on the card."""

    code = "glare"
    exit_code = 32
    default_remedy = "Tilt or turn the card, or move the lamp, until no shine lies on it."


class BlurError(StrandgaugeError):
    """The picture is out of focus or shaken."""

    code = "blur"
    exit_code = 33
    default_remedy = "Tap the card to focus, hold still, wipe the lens."


class UnevenLightError(StrandgaugeError):
    """The light changes too much across the card."""

    code = "uneven-light"
    exit_code = 34
    default_remedy = "Move out of the shadow edge, or further from the lamp, so that the card is evenly lit."


class MixedLightError(StrandgaugeError):
    """Two kinds of light fall on different parts of the card."""

    code = "mixed-light"
    exit_code = 35
    default_remedy = "Use one kind of light: switch off the lamp, or turn away from the window."


# --- the strand -----------------------------------------------------------------------------------------


class NoStrandError(StrandgaugeError):
    """Nothing that looks like hair lies in the window."""

    code = "no-strand"
    exit_code = 40
    default_remedy = (
        "Lay the strand along the window, root end at the mark, spread to about a finger's width."
    )


class StrandTooThinError(StrandgaugeError):
    """Too little hair to hide the paper below it."""

    code = "strand-too-thin"
    exit_code = 41
    default_remedy = "Take a thicker strand, or lay it narrower, so that no paper shows through."


class StrandOffWindowError(StrandgaugeError):
    """The strand lies largely outside the window, or across it."""

    code = "strand-off-window"
    exit_code = 42
    default_remedy = "Lay the strand lengthwise inside the window, root end at the mark."


# --- files the user brings ------------------------------------------------------------------------------


class BadCardDefinitionError(StrandgaugeError):
    """A card definition cannot be used; ``where`` names file and line."""

    code = "bad-card-definition"
    exit_code = 50
    default_remedy = "Correct the line named; docs/card-format.md describes every key."


class BadProfileError(StrandgaugeError):
    """A print profile cannot be used; ``where`` names file and line."""

    code = "bad-profile"
    exit_code = 51
    default_remedy = "Export the measurement again as CGATS text with one row for each patch of the card."


class BadCalibrationError(StrandgaugeError):
    """A ladder or another calibration file cannot be used."""

    code = "bad-calibration"
    exit_code = 52
    default_remedy = (
        "Correct the line named, or leave the option out to use the file that ships with strandgauge."
    )


class CannotWriteError(StrandgaugeError):
    """A result cannot be written where it was asked for."""

    code = "cannot-write"
    exit_code = 60
    default_remedy = "Name a folder that exists, with space left, in which you may write."


# --- the outlook ----------------------------------------------------------------------------------------


class OutsideModelError(StrandgaugeError):
    """A colour that no mix of the model's pigments gives."""

    code = "outside-model"
    exit_code = 62
    default_remedy = "Check the reading or the colour typed in: hair does not usually look like that."


class BadColourError(StrandgaugeError):
    """A colour typed in that is none."""

    code = "bad-colour"
    exit_code = 63
    default_remedy = "Write L,a,b such as 66,21,5 or #rrggbb such as #d8a0a0."


class UnknownTargetError(StrandgaugeError):
    """No wanted shade of that name."""

    code = "unknown-target"
    exit_code = 64
    default_remedy = "See 'strandgauge targets'."


class UnknownDyeError(StrandgaugeError):
    """No dye of that name on the shelf."""

    code = "unknown-dye"
    exit_code = 65
    default_remedy = "See 'strandgauge dyes'."


class BadMixError(StrandgaugeError):
    """A mix that cannot be weighed out."""

    code = "bad-mix"
    exit_code = 66
    default_remedy = "Write each part as NAME=PARTS, such as --dye violet=1 --dye clear=9."


class BadReadingError(StrandgaugeError):
    """A file that is not a reading saved by this program."""

    code = "bad-reading"
    exit_code = 67
    default_remedy = "Save one with 'strandgauge read PHOTO --json FILE'."


class CannotLearnError(StrandgaugeError):
    """Colours from which no dye can be learned."""

    code = "cannot-learn"
    exit_code = 68
    default_remedy = (
        "Dye pale, even hair so that the difference is plain, and photograph both in the same light."
    )


# --- readings side by side ------------------------------------------------------------------------------


class NotComparableError(StrandgaugeError):
    """Readings that cannot be put side by side."""

    code = "not-comparable"
    exit_code = 84
    default_remedy = "Read all photos again with the same --ladder, and give two or more."


# --- the logbook ----------------------------------------------------------------------------------------


class UnknownEntryError(StrandgaugeError):
    """No such client, visit, strand or check in the logbook."""

    code = "unknown-entry"
    exit_code = 74
    default_remedy = "See 'strandgauge log'."


class BadEntryError(StrandgaugeError):
    """Something that cannot stand in the logbook: an alias taken, empty or too long, an impossible time."""

    code = "bad-entry"
    exit_code = 75
    default_remedy = "Write it another way; docs/logbook.md tells what can stand in the logbook."


class UnusableLogbookError(StrandgaugeError):
    """A file that is no logbook, is damaged, or was written by a newer version."""

    code = "unusable-logbook"
    exit_code = 76
    default_remedy = "Name another file with --logbook, or put back a copy; docs/logbook.md tells how."


class LogbookNotWrittenError(StrandgaugeError):
    """The logbook could not be reached or written: busy, a full disk, no permission."""

    code = "logbook-not-written"
    exit_code = 77
    default_remedy = "Nothing was lost or half written; make room or give permission, then do it again."


# --- a strand over time ---------------------------------------------------------------------------------


class BadTimesError(StrandgaugeError):
    """The times of the looks are missing or cannot be."""

    code = "bad-times"
    exit_code = 71
    default_remedy = "Give the minutes since the lightener went on with --at, such as --at 5,22,41."


# --- many strands ---------------------------------------------------------------------------------------


class WorkersUnavailableError(StrandgaugeError):
    """What a batch was asked to use is not there: worker processes, a cluster, an optional package."""

    code = "workers-unavailable"
    exit_code = 69
    default_remedy = "Leave the option out, or install what is missing."


class BadManifestError(StrandgaugeError):
    """A manifest that cannot be used; ``where`` names file and line."""

    code = "bad-manifest"
    exit_code = 72
    default_remedy = "Correct the line named; docs/batch.md describes every column."


class BatchFolderError(StrandgaugeError):
    """A result folder that holds other results already, other settings', or is in use."""

    code = "batch-folder"
    exit_code = 73
    default_remedy = "Go on with --resume and the same options, or name a new folder with --out."


# --- the server -----------------------------------------------------------------------------------------


class CannotServeError(StrandgaugeError):
    """The address cannot be listened on: the port is taken, or there is no network."""

    code = "cannot-serve"
    exit_code = 80
    default_remedy = "Choose another port, such as --port 8500."


class PhotoTooHardError(StrandgaugeError):
    """Reading the photo took more time or memory than a photo may."""

    code = "photo-too-hard"
    exit_code = 81
    default_remedy = "Take the photo again with the phone's own camera, and send it as it is."


class ServerBusyError(StrandgaugeError):
    """More photos at once than the server can read."""

    code = "server-busy"
    exit_code = 82
    default_remedy = "Wait a moment and send the photo again."


class UnknownLookError(StrandgaugeError):
    """A look that the server does not remember."""

    code = "unknown-look"
    exit_code = 83
    default_remedy = "Take the photo again, with its strand named so that it is kept."


# --- what the user teaches ------------------------------------------------------------------------------


class UnknownCalibrationError(StrandgaugeError):
    """Nothing learned has that name, or it cannot be a name."""

    code = "unknown-calibration"
    exit_code = 61
    default_remedy = "See 'strandgauge learn list'."


class CannotLearnLevelsError(StrandgaugeError):
    """Swatches from which no ladder can be made."""

    code = "cannot-learn-levels"
    exit_code = 78
    default_remedy = "Photograph the swatches named again, each alone in the window, in soft even light."


class CannotLearnCardError(StrandgaugeError):
    """Photos from which a print's true colours cannot be learned well enough."""

    code = "cannot-learn-card"
    exit_code = 79
    default_remedy = (
        "Lay both cards close together, flat, in soft light from all round, and take two photos, the trusted chart "
        "once on either side."
    )
