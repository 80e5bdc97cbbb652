"""What the user taught: ladders, card prints and dyes in a folder of their own, as plain TOML.

Only the command line and the phone page look in here; the functions of the package take what they are given. The
folder holds ``levels/NAME.toml``, ``cards/NAME.toml``, ``dyes/NAME.toml``, and ``in-use.toml``, which names the
ladder and the card that are used where no option names others. Dyes are all on the shelf.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

from strandgauge.errors import BadCalibrationError, StrandgaugeError, UnknownCalibrationError
from strandgauge.files.calibration import read_calibration
from strandgauge.files.limits import LONGEST_NAME
from strandgauge.files.toml import toml_text
from strandgauge.files.write import cannot_write, make_folder, write_whole

if TYPE_CHECKING:
    from strandgauge.card.model import CardDefinition
    from strandgauge.hair.levels import Ladder

Kind = Literal["levels", "card", "dye"]

KINDS: tuple[Kind, ...] = ("levels", "card", "dye")
IN_USE_SCHEMA = "strandgauge.in-use/1"
HOME_VARIABLE = "STRANDGAUGE_HOME"
_FOLDERS: dict[Kind, str] = {"levels": "levels", "card": "cards", "dye": "dyes"}
_NO_NAME = re.compile(r'\.|.*[/\\:*?"<>|]|.*\.$|(con|prn|aux|nul|(com|lpt)\d)\s*(\.|$)', re.IGNORECASE)
"""Hidden, a path, or what is a device on some systems."""


@dataclass(frozen=True, slots=True)
class Learned:
    """Something that was learned and saved."""

    kind: Kind
    name: str
    path: Path
    in_use: bool


def home() -> Path:
    """Return the user's calibration folder, which need not be there yet."""
    named = os.environ.get(HOME_VARIABLE)
    if named:
        return Path(named)
    from platformdirs import user_config_dir

    return Path(user_config_dir("strandgauge", appauthor=False)) / "calibration"


def check_name(name: str) -> str:
    """Return a name without blanks around it, after making sure that it can be a file's and stays in the folder.

    Raises
    ------
    UnknownCalibrationError : it is empty, too long, begins with a dot, or holds what no file's name may hold.
    """
    tidy = name.strip()
    if not 0 < len(tidy) <= LONGEST_NAME or not tidy.isprintable() or _NO_NAME.match(tidy):
        raise UnknownCalibrationError(fault="no-name", name=name[:LONGEST_NAME], longest=LONGEST_NAME)
    return tidy


def saved() -> tuple[Learned, ...]:
    """Return everything that was saved, ladders first, each kind by name; a broken file too.

    Raises
    ------
    BadCalibrationError : ``in-use.toml`` cannot be read; the line is named.
    """
    chosen = _in_use()
    return tuple(one for kind in KINDS for one in _saved(kind, chosen))


def find(name: str, kind: Kind | None = None) -> Learned:
    """Return what was saved under a name, whatever its capitals.

    Raises
    ------
    UnknownCalibrationError : nothing has that name, or several have and no kind was told.
    """
    wanted = check_name(name)
    everything = [one for each in KINDS if kind in (None, each) for one in _saved(each)]
    matching = [one for one in everything if _same(wanted, one.name)]
    if len(matching) > 1:
        kinds = ", ".join(one.kind for one in matching)
        raise UnknownCalibrationError(fault="which", wanted=wanted, kinds=kinds)
    if not matching:
        names = ", ".join(f"'{one.name}'" for one in everything)
        if names:
            raise UnknownCalibrationError(fault="none-such", wanted=wanted, names=names)
        raise UnknownCalibrationError(fault="nothing-yet", wanted=wanted)
    found = matching[0]
    return (
        found if found.kind == "dye" else replace(found, in_use=_same(_in_use().get(found.kind), found.name))
    )


def save(kind: Kind, name: str, text: str) -> Learned:
    """Save something learned, in place of what had that name before.

    Raises
    ------
    UnknownCalibrationError : it cannot be a name.
    CannotWriteError : the folder cannot be made or written to.
    """
    tidy = check_name(name)
    folder = home() / _FOLDERS[kind]
    make_folder(folder)
    path = next((one.path for one in _saved(kind) if _same(tidy, one.name)), folder / f"{tidy}.toml")
    write_whole(path, text.encode())
    return Learned(kind, path.stem, path, kind == "dye")


def keep(kind: Kind, name: str, text: str, out: Path | None, *, use: bool = False) -> tuple[Path, bool]:
    """Write something learned to the file ``out``, or save it in the user's folder where none is named.

    Return where it is, and whether it is used from now on, as ``use`` asks of what lies in that folder.

    Raises
    ------
    UnknownCalibrationError, CannotWriteError : as `save` does.
    """
    if out is not None:
        write_whole(out, text.encode())
        return out, False
    saved = save(kind, name, text)
    if use:
        put_in_use(saved)
    return saved.path, use


def remove(learned: Learned) -> None:
    """Delete something learned; where it was in use, what ships with strandgauge is used again.

    Raises
    ------
    CannotWriteError : it cannot be deleted.
    """
    if learned.kind != "dye":
        chosen = _readable_in_use()
        if _same(chosen.get(learned.kind), learned.name):
            del chosen[learned.kind]
            _write_in_use(chosen)
    try:
        learned.path.unlink(missing_ok=True)
    except OSError as error:
        raise cannot_write(learned.path, error) from error


def put_in_use(learned: Learned) -> None:
    """Use a ladder or a card from now on, after making sure that it can be used.

    Raises
    ------
    StrandgaugeError : its file is broken, or the choice cannot be written.
    """
    if learned.kind == "dye":
        return  # dyes are all on the shelf
    if learned.kind == "levels":
        from strandgauge.hair.levels import load_ladder

        load_ladder(learned.path)
    else:
        _own_print(learned.path)
    _write_in_use({**_readable_in_use(), learned.kind: learned.name})


def use_shipped(kinds: Iterable[Kind] = ("levels", "card")) -> None:
    """Go back to the ladder and the card that ship with strandgauge.

    Raises
    ------
    CannotWriteError : the choice cannot be written.
    """
    chosen = _readable_in_use()
    if _choice().exists():
        going = tuple(kinds)
        _write_in_use({kind: name for kind, name in chosen.items() if kind not in going})


def current_ladder() -> Ladder:
    """Return the ladder in use: the user's own, or the one that ships with strandgauge.

    Raises
    ------
    BadCalibrationError : the user's own cannot be used; file and line are named.
    """
    from strandgauge.hair.levels import load_ladder

    return load_ladder(_chosen("levels"))


def current_card() -> CardDefinition:
    """Return the card in use: the user's own print, or the nominal card that ships with strandgauge.

    Raises
    ------
    StrandgaugeError : the user's own cannot be used; file and line are named.
    """
    own = _chosen("card")
    if own is None:
        from strandgauge.reading.pipeline import default_card

        return default_card()
    return _own_print(own)


def current_dyes() -> tuple[Path, ...]:
    """Return the files of the dyes that were learned; they come to the shelf after those that ship."""
    return tuple(one.path for one in _saved("dye"))


def _own_print(path: Path) -> CardDefinition:
    """Return a card that was learned, its print profile named after the file."""
    from strandgauge.card.definition import load_card

    return replace(load_card(path), profile_name=f"own print '{path.stem}'")


def _saved(kind: Kind, chosen: Mapping[Kind, str] = MappingProxyType({})) -> list[Learned]:
    folder = home() / _FOLDERS[kind]
    try:
        files = sorted((p for p in folder.glob("*.toml") if p.is_file()), key=lambda p: p.stem.casefold())
    except OSError:
        return []
    return [Learned(kind, p.stem, p, kind == "dye" or _same(chosen.get(kind), p.stem)) for p in files]


def _same(one: str | None, other: str) -> bool:
    return one is not None and one.casefold() == other.casefold()


def _choice() -> Path:
    return home() / "in-use.toml"


def _chosen(kind: Kind) -> Path | None:
    """Return the file of what is named as in use."""
    if (name := _in_use().get(kind)) is None:
        return None
    for one in _saved(kind):
        if _same(name, one.name):
            return one.path
    error = read_calibration(_choice(), IN_USE_SCHEMA).error(
        f"there is no '{name}' among what was learned", kind
    )
    error.remedy = "Go back to what ships with strandgauge: 'strandgauge learn use --shipped'."
    raise error


def _in_use() -> dict[Kind, str]:
    if not _choice().exists():
        return {}
    try:
        table = read_calibration(_choice(), IN_USE_SCHEMA)
        return {kind: table.text(kind) for kind in KINDS if table.get(kind) is not None}
    except BadCalibrationError as error:
        error.remedy = "Correct the line named, or start afresh with 'strandgauge learn use --shipped'."
        raise


def _readable_in_use() -> dict[Kind, str]:
    """Return what is in use, or nothing where the file is broken and about to be written anew."""
    try:
        return _in_use()
    except StrandgaugeError:
        return {}


def _write_in_use(chosen: dict[Kind, str]) -> None:
    about = "What strandgauge uses where no option names another ladder or card."
    write_whole(
        _choice(),
        toml_text(
            {"schema": IN_USE_SCHEMA, **{str(kind): name for kind, name in chosen.items()}}, about
        ).encode(),
    )
