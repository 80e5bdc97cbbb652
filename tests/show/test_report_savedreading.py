"""A reading survives being saved; a file that is none is refused with the value that is wrong."""

from __future__ import annotations

import copy
import json

import pytest

from readings import STAIN, reading, zone
from strandgauge.errors import BadReadingError
from strandgauge.show.json.reading import reading_document
from strandgauge.show.json.savedreading import load_saved_reading, reading_from_document


def test_a_saved_reading_comes_back_whole(tmp_path):
    made = reading(overall=zone(stain=STAIN), wet=True)
    file = tmp_path / "reading.json"
    file.write_text(json.dumps(reading_document(made)))
    assert load_saved_reading(file) == made


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        (("schema",), None, "does not say its schema"),
        (("schema",), "strandgauge.reading/9", "strandgauge.reading/9"),
        (("zones",), [], "root, mids and ends"),
        (("zones", 1, "name"), "ends", "'name' of its zone 'mids'"),
        (("zones", 0, "level"), 15, "a number from 1 to 14"),
        (("zones", 2, "lab"), [1, 2, "x"], "'lab' of its zone 'ends'"),
        (("zones", 2, "lab_sd"), [1, -2, 1], "'lab_sd' of its zone 'ends'"),
        (("overall", "level_sd"), float("nan"), "'level_sd'"),
        (("overall", "stain"), 3, "'stain'"),
        (("wet",), "yes", "'wet'"),
        (("notes",), {}, "'notes'"),
        (("card_fit",), None, "'card_fit'"),
    ],
)
def test_a_document_with_a_wrong_value_is_refused_by_name(path, value, said):
    document = copy.deepcopy(reading_document(reading()))
    place = document
    for part in path[:-1]:
        place = place[part]
    if value is None and path == ("schema",):
        del place["schema"]
    else:
        place[path[-1]] = value
    with pytest.raises(BadReadingError, match="wish") as caught:
        reading_from_document(document, "wish.json")
    assert said in str(caught.value)
