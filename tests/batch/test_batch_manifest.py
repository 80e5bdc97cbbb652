"""The manifest as spreadsheets save it, and every way in which it can be wrong."""

from __future__ import annotations

import csv
import io
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refused import refused
from strandgauge.batches.manifest import read_manifest
from strandgauge.dye.targets import find_target, load_targets
from strandgauge.errors import BadManifestError, UnknownTargetError

FILES = ("a.jpg", "b c.jpg", "visit/é.jpg")


def read(tmp_path: Path, content: str | bytes, files=FILES):
    path = tmp_path / "tests.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_manifest(path, tmp_path / "photos", files, load_targets()).rows


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_what_spreadsheets_save_is_read(tmp_path, separator, encoding):
    rows = [
        ["File", "Remarks; or, others", "STUDENT", "Class", "time", "Wet", "target"],
        ["a.jpg", "any, text; here", "Nora", "spring", "2026-03-05 14:30", "yes", "rose"],
        [],
        ["b c.jpg", "", "Ömer", "spring", "05.03.2026 14:45", "no", "66,21,5"],
        ["visit/é.jpg", "", "", "", "", "", ""],
    ]
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=separator).writerows(rows)
    first, second, third = read(tmp_path, text.getvalue().encode(encoding))
    assert (first.client, first.group, first.wet, first.target) == ("Nora", "spring", True, "rose")
    assert first.taken == datetime(2026, 3, 5, 14, 30)
    assert (second.client, second.wet, second.target) == ("Ömer", False, "66,21,5")
    assert second.taken == datetime(2026, 3, 5, 14, 45)
    assert (third.file, third.client, third.taken, third.wet, third.target) == (FILES[2], *4 * [None])
    assert [row.line for row in (first, second, third)] == [2, 4, 5]


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("photos/a.jpg", "a.jpg"),  # beside the manifest
        ("./b c.jpg", "b c.jpg"),
        ("visit\\é.jpg", "visit/é.jpg"),
        ("visit/e\u0301.jpg", "visit/é.jpg"),  # another spelling of the same letter
        ("A.JPG", "a.jpg"),
        ("not there.jpg", "not there.jpg"),
    ],
)
def test_a_file_is_found_as_people_write_it(tmp_path, written, meant):
    (row,) = read(tmp_path, f"file\n{written}\n")
    assert row.file == meant


def test_an_absolute_path_is_understood(tmp_path):
    (row,) = read(tmp_path, f"file\n{tmp_path / 'photos' / 'a.jpg'}\n")
    assert row.file == "a.jpg"


@pytest.mark.parametrize(
    ("content", "line", "said"),
    [
        ("", 1, "empty"),
        ("name,client\na.jpg,Nora\n", 1, "no column is called 'file'"),
        ("file,client,student\n", 1, "same column"),
        ("file,client\na.jpg,Nora\n\n,Lea\n", 4, "no file is named"),
        ("file\na.jpg\nphotos/a.jpg\n", 3, "line 2 already"),
        ("file\n/etc/hosts\n", 2, "outside"),
        ("file\n../../x.jpg\n", 2, "outside"),
        ("file,wet\na.jpg,perhaps\n", 2, "neither yes nor no"),
        ('file,client\na.jpg,"Nora\nb c.jpg,Lea\n', 2, "not proper CSV"),
    ],
)
def test_each_fault_names_its_line(tmp_path, content, line, said):
    with pytest.raises(BadManifestError, match=said) as caught:
        read(tmp_path, content)
    assert caught.value.where.endswith(f"tests.csv:{line}")


@pytest.mark.parametrize(
    ("content", "line", "facts"),
    [
        ("file,time\na.jpg,03/05/2026 14:30\n", 2, {"fault": "time", "text": "03/05/2026 14:30"}),
        ("file,time\na.jpg,2026-03-05\n", 2, {"fault": "time", "text": "2026-03-05"}),
        (b"file,client\na.jpg,Nora\nb c.jpg,\xd6mer\n", 3, {"fault": "encoding"}),
    ],
)
def test_a_time_or_an_encoding_that_cannot_be_told_is_named(tmp_path, content, line, facts):
    with refused(BadManifestError, **facts) as caught:
        read(tmp_path, content)
    assert caught.value.where.endswith(f"tests.csv:{line}")


def test_a_shade_that_there_is_not_is_told_as_anywhere_else(tmp_path):
    with pytest.raises(UnknownTargetError) as plain:
        find_target("no such shade", load_targets())
    with pytest.raises(BadManifestError) as caught:
        read(tmp_path, "file,target\na.jpg,\nb c.jpg,no such shade\n")
    assert caught.value.where.endswith("tests.csv:3")
    assert (caught.value.message, caught.value.remedy) == (plain.value.message, plain.value.remedy)


def test_a_manifest_that_is_not_there_is_told(tmp_path):
    with pytest.raises(BadManifestError) as caught:
        read_manifest(tmp_path / "none.csv", tmp_path, (), ())
    assert caught.value.where.endswith("none.csv")


TEXT = st.text(st.characters(exclude_categories=["Cs", "Cc"]) | st.sampled_from('",;\t\n'), max_size=12).map(
    str.strip
)


@settings(max_examples=60)
@given(
    st.lists(st.tuples(TEXT, TEXT), min_size=1, max_size=5),
    st.sampled_from(",;\t"),
    st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    st.sampled_from(["\r\n", "\n"]),
)
def test_any_alias_comes_through_as_it_was_written(tmp_path_factory, pairs, separator, quoting, end):
    folder = tmp_path_factory.mktemp("manifest")
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=separator, quoting=quoting, lineterminator=end)
    writer.writerow(["file", "client", "group"])
    writer.writerows([f"{number}.jpg", *pair] for number, pair in enumerate(pairs))
    rows = read(folder, text.getvalue(), [f"{number}.jpg" for number in range(len(pairs))])
    assert [(row.client or "", row.group or "") for row in rows] == pairs
